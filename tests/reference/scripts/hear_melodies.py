"""How often the program tells threes from twos in melodies made by rule that have habits of their own.

Debian: fluidsynth and fluid-soundfont-gm (a General MIDI bank). PyPI: mido, numpy, scipy, soundfile; versions in
requirements.txt. Usage: python hear_melodies.py PATH_OF_THE_PROGRAM [MELODIES_A_ROW]
No tune of anybody's: a melody draws three to six figures of a cycle of six, split as metrical theory has it and one time in
twelve against its kind (Lerdahl and Jackendoff 1983), and goes on with these; every fourth cycle may close on long notes. Pitches
go by steps and return to the middle (von Hippel and Huron 2000), the first of groups are rather of the chord. Runs have
nothing but accents: three of ten, one of seven or no notes missing anywhere, whatever the grouping. Shares are round figures of
our own. Sound is a sampled nylon guitar, harp or piano with a room, noise, 8 ms of jitter and half a decibel of chance; accents are 3 dB.
"""
import json, random, subprocess, sys, tempfile
from pathlib import Path

import mido, numpy as np, soundfile
from scipy.signal import fftconvolve

BANK = "/usr/share/sounds/sf2/FluidR3_GM.sf2"
INSTRUMENTS = [24, 46, 0]
SCALE = [0, 2, 4, 5, 7, 9, 11]
RATE, BEFORE = 44_100, 0.25
OF_THREE = {(1, 1, 1): 0.42, (2, 1): 0.28, (3,): 0.20, (1, 2): 0.04}
OF_TWO = [
    {(2,): 0.55, (1, 1): 0.40},
    {(2,): 0.48, (1, 1): 0.26, (): 0.26},
    {(2,): 0.60, (1, 1): 0.26, (): 0.11},
]


def drawn(dice, table, evenly):
    return dice.choices(list(table), [share**evenly for share in table.values()])[0]


def figure(dice, in_threes, evenly):
    """The pulses of a cycle on which a note begins."""
    groups = [(0, OF_THREE), (3, OF_THREE)] if in_threes else [(2 * k, table) for k, table in enumerate(OF_TWO)]
    begins = []
    for at, table in groups:
        lengths = drawn(dice, table, evenly)
        if in_threes and at == 3 and dice.random() < 0.05:
            continue
        if not lengths and at == 2 and dice.random() < 0.5:
            begins.append(3)
        for length in lengths:
            begins.append(at)
            at += length
    return begins


def pitch(degree):
    return min(90, max(48, 50 + 12 * (degree // 7) + SCALE[degree % 7]))


def with_habits(dice, group, n_cycles):
    """Notes as (pulse, length in pulses, pitch)."""
    evenly, n_figures, figures = dice.choice([0.6, 0.8, 1.0]), dice.randint(3, 6), []
    while len(figures) < n_figures:
        begins = figure(dice, (group == 3) != (dice.random() < 0.08), evenly)
        if begins and begins[0] == 0:
            figures.append((begins, [dice.choice([-4, -3, -2, -1, -1, -1, 1, 1, 1, 2, 2, 3]) for _ in begins]))
    close = dice.choice([[0], [0, 3], [0, 2, 3]] if group == 3 else [[0], [0, 4], [0, 2]])
    first, degree, chord, notes = dice.randint(0, 3), dice.randint(6, 12), 0, []
    for cycle in range(n_cycles):
        closes = (cycle + first) % 4 == 3 and dice.random() < 0.6
        begins, steps = (close, [0, 0, 0]) if closes else dice.choice(figures)
        as_before = dice.random() < 0.5
        for nth, at in enumerate(begins):
            if dice.random() < (0.6 if at == 0 else 0.2 if at % group == 0 else 0.0):
                chord = dice.choice([0, 0, 3, 4, 4, 5])
            degree += steps[nth] if as_before and nth else dice.choice([-3, -2, -1, -1, -1, 1, 1, 1, 2, 3])
            degree += 2 * (degree < 4) - 2 * (degree > 13)
            if (degree - chord) % 7 not in (0, 2, 4) and dice.random() < (0.6 if at % group == 0 else 0.25):
                degree += dice.choice([-1, 1])
            end = begins[nth + 1] if nth + 1 < len(begins) else 6
            notes.append((6 * cycle + at, end - at, pitch(degree)))
    return notes


def runs(dice, _group, n_cycles):
    share, degree = dice.choice([0.7, 0.85, 1.0]), dice.randint(5, 12)
    begins = [at for at in range(6 * n_cycles) if at % 6 == 0 or dice.random() < share]
    notes = []
    for at, end in zip(begins, begins[1:] + [6 * n_cycles]):
        degree = min(14, max(3, degree + dice.choice([-3, -2, -1, -1, 1, 1, 2, 3])))
        notes.append((at, end - at, pitch(degree)))
    return notes


def written(path, notes, ppm, group=0, accent=0.0, program=0, dice=None):
    """A MIDI file of notes; with dice as they are played, else as they are written."""
    pulse = 480
    per_second = ppm / 60 * pulse
    events = []
    for at, length, key in notes:
        velocity, begins = 80.0, at * pulse
        if dice:
            # Loudness goes with the square of velocity.
            accented = accent if at % group == 0 else 0.0
            velocity *= 10 ** ((accented + dice.gauss(0, 0.5)) / 40)
            begins += (BEFORE + dice.gauss(0, 0.008)) * per_second
        events.append((max(0, int(begins)), 1, key, min(127, int(velocity))))
        events.append((max(1, int(begins + 0.92 * length * pulse)), 0, key, 0))
    track, now = mido.MidiTrack(), 0
    track.append(mido.MetaMessage("set_tempo", tempo=int(120e6 / ppm)))
    track.append(mido.Message("program_change", program=program))
    for tick, on, key, velocity in sorted(events, key=lambda event: event[:2]):
        track.append(mido.Message("note_on" if on else "note_off", note=key, velocity=velocity, time=tick - now))
        now = tick
    mido.MidiFile(ticks_per_beat=2 * pulse, tracks=[track]).save(path)


def sounded(midi, wav, seconds, seed):
    """Plays a MIDI file in a room with a little noise, up to the end of its last cycle."""
    quiet = ["-ni", "-q", "-r", str(RATE), "-g", "0.8", "-R", "0", "-C", "0", "-F", wav, BANK, midi]
    subprocess.run(["fluidsynth", *map(str, quiet)], check=True, capture_output=True)
    dry = soundfile.read(wav)[0].mean(1)
    noise = np.random.default_rng(seed)
    length = int(0.35 * RATE)
    room = 0.02 * noise.standard_normal(length) * np.exp(-np.arange(length) / RATE / 0.08)
    room[0] = 1
    wet = fftconvolve(dry, room)
    wet = wet / (1.2 * np.abs(wet).max()) + 0.0015 * noise.standard_normal(len(wet))
    soundfile.write(wav, wet[: int(seconds * RATE)], RATE)


def heard(program, *arguments):
    told = subprocess.run([program, "listen", "--json", *map(str, arguments)], capture_output=True, text=True)
    return [json.loads(line) for line in told.stdout.splitlines()]


def near(real, found, within=0.07):
    """F of beginnings."""
    hits = at = 0
    for time in real:
        while at < len(found) and found[at] < time - within:
            at += 1
        if at < len(found) and found[at] <= time + within:
            hits, at = hits + 1, at + 1
    return 2 * hits / max(1, len(real) + len(found))


def name(group):
    return "threes" if group == 3 else "twos"


def row(title, groups, forced, told, *more):
    right = np.mean([said == name(group) for said, group in zip(forced, groups)])
    spoken = [said == name(group) for said, group in zip(told, groups) if said != "unclear"]
    line = f"{title}: forced {right:.3f}, speaks {len(spoken) / len(groups):.2f}, right then {np.mean(spoken):.3f}"
    print(line, *more, flush=True)


def leans(answers):
    return [answer["whole"]["lean"] for answer in answers]


def main(program, n="200"):
    n = int(n)
    with tempfile.TemporaryDirectory() as folder:
        midi, wav, listed = (Path(folder) / name for name in ("a.mid", "a.wav", "a.csv"))
        groups = [3, 2] * (n // 2)
        for n_cycles in (1, 2, 4, 8):
            dice, files = random.Random(n_cycles), []
            for nth, group in enumerate(groups):
                files.append(Path(folder) / f"{nth}.mid")
                written(files[-1], with_habits(dice, group, n_cycles), 240)
            both = [leans(heard(program, *forced, "--pulse-note", "1/8", *files)) for forced in (["--forced"], [])]
            row(f"notes, {n_cycles} cycles", groups, *both)
        for made, accents in ((with_habits, (0.0, 3.0)), (runs, (3.0,))):
            for n_cycles in (4, 8):
                for accent in accents:
                    dice, forced, told, beginnings = random.Random(n_cycles), [], [], []
                    for nth, group in enumerate(groups):
                        ppm, program_change = dice.choice([200, 240, 280, 320, 360]), dice.choice(INSTRUMENTS)
                        written(midi, made(dice, group, n_cycles), ppm, group, accent, program_change, dice)
                        gap = 60 / ppm
                        pulses = [BEFORE + gap * at for at in range(6 * n_cycles)]
                        sounded(midi, wav, BEFORE + 6 * n_cycles * gap, nth)
                        listed.write_text("".join(f"{time:.4f}\n" for time in pulses))
                        forced += leans(heard(program, "--forced", "--pulses", listed, wav))
                        told += leans(heard(program, "--pulses", listed, wav))
                        free = heard(program, "--forced", wav)[0]
                        every = 3 if free["whole"]["lean"] == "threes" else 2
                        beginnings.append(near(pulses[::group], free["pulses"][::every]))
                    title = f"sound, {made.__name__.replace('_', ' ')}, {n_cycles} cycles, accents of {accent:.0f} dB"
                    row(title, groups, forced, told, f"- no pulse given: beginnings F {np.mean(beginnings):.3f}")


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    main(*sys.argv[1:])
