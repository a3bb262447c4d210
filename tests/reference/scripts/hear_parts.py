"""How well the program finds where a tempo is kept: after a free beginning, before a free end, and where one follows another.

Debian: fluidsynth and fluid-soundfont-gm (a General MIDI bank). PyPI: mido, numpy, scipy, soundfile; versions in
requirements.txt. Usage: python hear_parts.py PATH_OF_THE_PROGRAM [PIECES_A_ROW] [SEED]
Pieces are phrases of the program one after the other, by their MIDI files, played by a sampled nylon guitar. In time their
pulses drift by 3 in 100 (by 5 in pieces of one tempo); freely, each gap goes on from the one before by chance, about
as 0.65 to 1.5 of what is usual, with pauses every 5 to 11 pulses. A second tempo is .55 to 1.8 of the first. Shares are round figures of
our own. Printed are, of each kind, the mean F of pulses over the parts in time (within 70 ms), the share of pieces of which
every part has more than .9, the share of pulses laid outside of them, and that of parts of which cycles are counted from
where they begin, of those whose pulses are found.
"""
import json, math, random, subprocess, sys, tempfile
from pathlib import Path

import mido, numpy as np, soundfile

from hear_melodies import BANK, heard, near
from listen_to_phrases import deck

FAMILIES = ["plain", "bass-chords", "bass-strums", "chords", "arpeggio", "line", "rasgueado", "figures", "length"]
RATIOS = [0.55, 0.7, 0.8, 0.88, 1.14, 1.25, 1.4, 1.8]
RATE, BEFORE = 22_050, 0.3


def notes_of(program, folder, dice, family, feel):
    """Notes of one phrase: begin and end in pulses, pitch, velocity."""
    midi = folder / "phrase.mid"
    asked = [family, "--deck", folder / "deck.toml", "--seed", dice.randrange(10**6), "--feel", feel, "--level", 5]
    midi.unlink(missing_ok=True)
    subprocess.run([program, "phrase", *map(str, asked), "--midi", midi], check=True, capture_output=True)
    file, sounding, now, notes = mido.MidiFile(midi), {}, 0, []
    pulse = file.ticks_per_beat / 2
    for event in mido.merge_tracks(file.tracks):
        now += event.time
        if event.type not in ("note_on", "note_off"):
            continue
        begun = sounding.setdefault((event.channel, event.note), [])
        if event.type == "note_on" and event.velocity:
            begun.append((now / pulse, event.velocity))
        elif begun:
            begins, velocity = begun.pop(0)
            notes.append((begins, now / pulse, event.note, velocity))
    return notes


def phrases(program, folder, dice, n_pulses):
    """Phrases of one family one after the other, over so many pulses or more."""
    family, feel, at, notes = dice.choice(FAMILIES), dice.choice(["threes", "twos"]), 0, []
    while at < n_pulses:
        fresh = notes_of(program, folder, dice, family, feel)
        notes += [(at + begins, at + ends, key, velocity) for begins, ends, key, velocity in fresh]
        at += 6 * math.ceil(max(ends for _, ends, _, _ in fresh) / 6 - 1e-6)
        feel = dice.choice(["threes", "twos"]) if dice.random() < 0.3 else feel
    return notes


def in_time(dice, n_pulses, gap, begins, drift=0.03):
    turns = np.linspace(0, dice.uniform(2, 8), n_pulses + 8) + dice.uniform(0, 6)
    return begins + np.r_[0, np.cumsum(gap * (1 + drift * np.sin(turns)))]


def freely(dice, seconds, gap, begins):
    times, off, left = [begins], 0.0, dice.randint(5, 11)
    while times[-1] < begins + seconds:
        off = 0.75 * off + dice.gauss(0, 0.22)
        left -= 1
        pause = dice.uniform(0.5, 2.2) if left <= 0 else 0.0
        left = dice.randint(5, 11) if left <= 0 else left
        times.append(times[-1] + gap * math.exp(off) + pause)
    return np.array(times)


def laid(notes, times):
    """Notes in seconds, those that end within these pulses."""
    at = lambda pulse: float(np.interp(pulse, np.arange(len(times)), times))
    return [(at(a), at(b), key, velocity) for a, b, key, velocity in notes if b <= len(times) - 1]


def piece(program, folder, dice, kind):
    """Notes in seconds, and the pulses of each part in time."""
    gap, now, notes, parts = 60 / dice.uniform(110, 240), BEFORE, [], []

    def free():
        nonlocal now, notes
        times = freely(dice, dice.uniform(10, 30), gap * dice.uniform(0.9, 1.6), now)
        notes += laid(phrases(program, folder, dice, len(times) + 12), times)
        now = times[-1] + dice.uniform(0.3, 1.5)

    def steady(gap, seconds, drift=0.03):
        nonlocal now, notes
        n_pulses = int(seconds / gap) // 6 * 6
        times = in_time(dice, n_pulses, gap, now, drift)
        notes += laid(phrases(program, folder, dice, n_pulses), times)
        parts.append(times[:n_pulses])
        now = times[n_pulses]

    if kind == "one tempo":
        steady(gap, dice.uniform(40, 80), 0.05)
    elif kind == "two tempi":
        ratio = dice.choice(RATIOS)
        other = gap * ratio if 0.13 < gap * ratio < 0.65 else gap / ratio
        steady(gap, dice.uniform(25, 45))
        steady(other, dice.uniform(25, 45))
    else:
        if kind == "free beginning":
            free()
        steady(gap, dice.uniform(30, 60))
        if kind == "free end":
            free()
    return notes, parts


def sounded(folder, dice, notes, wav):
    track, now, events = mido.MidiTrack(), 0, []
    track.append(mido.Message("program_change", program=24))
    for begins, ends, key, velocity in notes:
        begins = max(0.0, begins + dice.gauss(0, 0.008))
        events += [(begins, 1, key, velocity), (max(ends, begins + 0.05), 0, key, 0)]
    for time, on, key, velocity in sorted(events):
        tick = max(now, round(time * 1920))
        track.append(mido.Message("note_on" if on else "note_off", note=key, velocity=velocity, time=tick - now))
        now = tick
    midi = folder / "piece.mid"
    mido.MidiFile(ticks_per_beat=960, tracks=[track]).save(midi)
    quiet = ["-ni", "-q", "-r", RATE, "-g", "0.6", "-F", wav, BANK, midi]
    subprocess.run(["fluidsynth", *map(str, quiet)], check=True, capture_output=True)
    samples = soundfile.read(wav)[0].mean(1)
    samples *= 0.6 / np.abs(samples).max()
    soundfile.write(wav, samples + np.random.default_rng(1).normal(0, 0.0006, len(samples)), RATE)


def judged(parts, told):
    """F of each part, the share of pulses outside of all, and of each part that was found whether cycles begin right."""
    found = np.array(told["pulses"])
    starts = np.array([cycle["start"] for cycle in told["cycles"]])
    beginnings, right, inside = [], [], 0
    for part in parts:
        within = lambda times, before: times[(times >= part[0] - before) & (times <= part[-1] + before)]
        beginnings.append(near(list(part), list(within(found, 0.1))))
        inside += len(within(found, 0.5))
        of_part = within(starts, 0.1)
        counts = np.array([np.abs(part - start).argmin() for start in of_part])
        if len(counts) > 1 and np.mean(np.diff(counts) == 6) >= 0.7:
            right.append(np.mean(counts % 6 == 0) > 0.8)
    return beginnings, 1 - inside / max(1, len(found)), right


def main(program, n="30", seed="7"):
    dice = random.Random(int(seed))
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        (folder / "deck.toml").write_text(deck(FAMILIES))
        for kind in ("one tempo", "two tempi", "free beginning", "free end"):
            beginnings, outside, right = [], [], []
            for _ in range(int(n)):
                notes, parts = piece(program, folder, dice, kind)
                sounded(folder, dice, notes, folder / "piece.wav")
                told = heard(program, folder / "piece.wav")[0]
                of_piece, laid_outside, begun = judged(parts, told)
                beginnings.append(of_piece)
                outside.append(laid_outside)
                right += begun
            mean = np.mean([np.mean(of_piece) for of_piece in beginnings])
            whole = np.mean([min(of_piece) > 0.9 for of_piece in beginnings])
            print(
                f"{kind}: F {mean:.3f}, all parts found {whole:.2f}, pulses outside {np.mean(outside):.3f}, "
                f"cycles begin right {np.mean(right):.2f} of {len(right)} parts",
                flush=True,
            )


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    main(*sys.argv[1:])
