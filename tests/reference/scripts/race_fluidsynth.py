"""Renders the same phrase by the program and by FluidSynth, one after the other, and compares the time of both.

Debian: fluidsynth and timgm6mb-soundfont (a General MIDI bank). PyPI: nothing.
Usage: python race_fluidsynth.py PATH_OF_THE_PROGRAM [ROUNDS]
Both run as a process of one core (taskset, of util-linux), so that the start of the process is in both times; the
phrase is long, 10 cycles of twelve at 100 pulses a minute, 72 s of strums, low notes, knocks and the bell.
"""
import subprocess, sys, tempfile, time
from pathlib import Path

BANK = "/usr/share/sounds/sf2/TimGM6mb.sf2"
DECK = """format = 1
id = "race"
title = "A long phrase"

[[exercise]]
id = "long"
title = "Long"
asks = "name-feel"
line = "Listen."
pattern = "twelve"
families = ["bass-strums"]
feels = ["both", "threes"]
tempo = [100, 100]
cycles = [10, 10]
bell = "every"
level = { easiest = 8, criterion = 6, hardest = 2 }
"""


def seconds(command):
    begun = time.perf_counter()
    subprocess.run(["taskset", "-c", "0", *map(str, command)], check=True, capture_output=True)
    return time.perf_counter() - begun


def main(program, rounds="9"):
    with tempfile.TemporaryDirectory() as folder:
        deck, midi, ours, theirs = (Path(folder) / name for name in ("deck.toml", "a.mid", "a.wav", "b.wav"))
        deck.write_text(DECK)
        phrase = [program, "phrase", "long", "--deck", deck, "--feel", "both", "--seed", 1]
        subprocess.run([*map(str, phrase), "--midi", str(midi)], check=True)
        times = {"ours": [], "FluidSynth": []}
        for _ in range(int(rounds)):
            times["ours"].append(seconds([*phrase, "--wav", ours]))
            times["FluidSynth"].append(
                seconds(["fluidsynth", "-ni", "-q", "-g", "0.5", "-r", 48000, "-F", theirs, BANK, midi]))
    length = 10 * 12 * 60 / 100
    for name, found in times.items():
        middle = sorted(found)[len(found) // 2]
        print(f"{name}: {middle:.3f} s in the middle of {len(found)}, {length / middle:.0f} times real time")


if __name__ == "__main__":
    main(*sys.argv[1:])
