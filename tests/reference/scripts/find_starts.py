"""An independent listener: says on which pulse the cycle begins in the program's looped phrases, from their sound alone.

PyPI: numpy, scipy, soundfile; versions in requirements.txt.
Usage: python find_starts.py PATH_OF_THE_PROGRAM [--level DB] [--each PHRASES_OF_A_FAMILY] [--families A,B,…] [--quiet]
Makes phrases of each family that ask for the start of the cycle, as they are asked, and prints for each family the share
in which this listener finds it (chance is 1 of 6), with a line for every phrase in which it does not. Of a phrase it
knows the WAV, when each pulse sounds, and how many pulses a cycle has; not on which count it comes in.

A phrase goes round as a loop, so that it has no beginning: what rings on after the last pulse is laid onto the first,
as it sounds when it goes round, and the pulses are turned by a number drawn from the seed before anything is heard.

It hears stream by stream (onsets low, high and broad, level low and broad, change of chroma, brightness, pitch and its
rises; one value a pulse): how much one position of the cycle stands out against the other five, by the difference of
the means over the spread within positions. What stands out upwards counts, except for pitch, where the low counts.
Streams are clipped and summed. Nothing is fitted.
"""
import argparse, collections, json, subprocess, tempfile
from pathlib import Path

import numpy as np, soundfile

from listen_to_phrases import FAMILIES, streams

MOST_EVIDENCE = 6.0
# Which way each stream of listen_to_phrases.py points to a beginning.
SIGNS = np.array([1, 1, 1, 1, 1, 1, -1, -1, 1])


def deck(families):
    return 'format = 1\nid = "starts"\ntitle = "One family each"\n' + "".join(f"""
[[exercise]]
id = "{family}"
title = "{family}"
asks = "find-start"
by = "count"
line = "Listen."
families = ["{family}"]
feels = ["threes", "twos"]
tempo = [120, 200]
cycles = [4, 6]
entry = ["any", "pickup"]
level = {{ easiest = 6, criterion = 5, hardest = 2 }}
""" for family in families)


def as_loop(samples, rate, pulses):
    """One round as it sounds when it goes round, between two others, and the pulses of the middle one."""
    gap = (pulses[-1] - pulses[0]) / (len(pulses) - 1)
    n = int(round(len(pulses) * gap * rate))
    rounds = np.zeros(4 * n + len(samples))
    for k in range(4):
        rounds[k * n:k * n + len(samples)] += samples
    return rounds[n:4 * n], pulses - pulses[0] + n / rate


def evidence(stream, position, cycle):
    """For each position, by how much it stands out against the others, in standard errors."""
    out = np.zeros(cycle)
    groups = [stream[position == place] for place in range(cycle)]
    spread = np.sqrt(np.mean([group.var(ddof=1) for group in groups]))
    if stream.std() < 1e-6:
        return out
    for place in range(cycle):
        others = np.array([group.mean() for other, group in enumerate(groups) if other != place])
        # Spread within positions, and between the five others: the start is unlike all of them.
        error = np.hypot(spread, others.std(ddof=1)) + .05 * stream.std()
        out[place] = (groups[place].mean() - others.mean()) / error
    return np.clip(out, -MOST_EVIDENCE, MOST_EVIDENCE)


def hear(wav, known, turn):
    """The pulse, counted from the first of the file, on which a cycle begins."""
    samples, rate = soundfile.read(wav)
    looped, pulses = as_loop(samples.mean(axis=1), rate, np.array(known["pulses"]))
    cycle, n = known["cycle"], len(pulses)
    gap = (pulses[-1] - pulses[0]) / (n - 1)
    turned = pulses[0] + (np.arange(n) + turn) * gap
    rows = np.array(streams(looped, rate, turned))
    # The streams of changes have no value for their first pulse; round a loop it is like any other.
    more = np.array(streams(looped, rate, turned[0] + (np.arange(n) - 1) * gap))
    rows[:, 0] = more[:, 1]
    position = np.arange(n) % cycle
    each = np.array([sign * evidence(row, position, cycle) for sign, row in zip(SIGNS, rows)])
    total = np.maximum(each, 0).sum(axis=0)
    return int((np.argmax(total) + turn) % cycle), each


def main():
    parser = argparse.ArgumentParser(usage=__doc__.split("Usage: python ")[1].split("\n")[0])
    parser.add_argument("program")
    parser.add_argument("--level", default="5")
    parser.add_argument("--each", type=int, default=40)
    parser.add_argument("--families", default=",".join(FAMILIES))
    parser.add_argument("--quiet", action="store_true")
    asked = parser.parse_args()
    families = asked.families.split(",")
    found = collections.defaultdict(list)
    with tempfile.TemporaryDirectory() as folder:
        path, wav, text = (Path(folder) / name for name in ("deck.toml", "phrase.wav", "phrase.json"))
        path.write_text(deck(families))
        for family in families:
            for seed in range(1, asked.each + 1):
                made = subprocess.run([asked.program, "phrase", family, "--deck", path, "--level", asked.level, "--seed",
                                       str(seed), "--wav", wav, "--json", text], capture_output=True, text=True)
                if made.returncode:
                    print(f"{family} seed {seed}: {made.stderr.strip().splitlines()[0]}")
                    continue
                known = json.loads(text.read_text())
                truth = (1 - known["start_count"]) % known["cycle"]
                turn = int(np.random.default_rng(seed).integers(known["cycle"]))
                heard, each = hear(wav, known, turn)
                found[family].append(heard == truth)
                if heard != truth and not asked.quiet:
                    at = (truth - turn) % known["cycle"]
                    shown = " ".join(f"{value:+.1f}" for value in each[:, at])
                    print(f"{family} {known['feel']} seed {seed}: heard {heard}, is {truth}; streams there {shown}")
    for family, answers in found.items():
        print(f"{family}: finds {np.mean(answers):.3f} of {len(answers)}")
    everything = sum(found.values(), [])
    print(f"all: finds {np.mean(everything):.3f} of {len(everything)}")


if __name__ == "__main__":
    main()
