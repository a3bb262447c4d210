"""An independent listener: says threes or twos of the program's phrases from their sound alone.

PyPI: numpy, scipy, soundfile; versions in requirements.txt.
Usage: python listen_to_phrases.py PATH_OF_THE_PROGRAM [LEVEL_DB] [PHRASES_OF_EACH_KIND]
           [--families A,B,…] [--first-seed N] [--high-pass HZ] [--small-speakers]
Makes phrases of every family, threes and twos, and prints for each family and for each third of the range of tempi the
share in which this listener agrees with the label, with a line for every phrase in which it does not. Of a phrase it
knows the WAV, when each pulse sounds and the count of entry; nothing of how the phrase was made. With --high-pass it
hears nothing below so many hertz, as through small loudspeakers.

It hears figures and not only strength: for each of several streams (onsets low, high and broad, level, change of
chroma, brightness, pitch and its rises), one value a pulse, it asks whether a mean for each position modulo 3
explains the stream better than one for each position modulo 2, by the Bayesian information criterion, and better
than a constant. The first count, which belongs to both, is left out. Evidence is clipped and summed over streams.
Nothing is fitted.
"""
import argparse, collections, json, subprocess, tempfile
from pathlib import Path

import numpy as np, soundfile
from scipy.signal import butter, sosfilt

FAMILIES = ["plain", "bass-chords", "bass-strums", "chords", "arpeggio", "line", "loudness", "length", "strike",
            "rasgueado", "stopped", "touch", "figures"]
MOST_EVIDENCE = 25.0
TEMPO = (110, 240)


def deck(families):
    return 'format = 1\nid = "heard"\ntitle = "One family each"\n' + "".join(f"""
[[exercise]]
id = "{family}"
title = "{family}"
asks = "name-feel"
line = "Listen."
families = ["{family}"]
feels = ["threes", "twos"]
tempo = [{TEMPO[0]}, {TEMPO[1]}]
cycles = [4, 6]
level = {{ easiest = 6, criterion = 5, hardest = 2 }}
""" for family in families)


def decibels(samples):
    return 10 * np.log10(1e-9 + np.mean(samples ** 2)) if len(samples) else -90.0


def part(samples, rate, since, until):
    return samples[max(0, int(since * rate)):int(until * rate)]


def onsets(samples, rate, pulses):
    rises = [decibels(part(samples, rate, t, t + .08)) - decibels(part(samples, rate, t - .06, t)) for t in pulses]
    return np.array(rises)


def levels(samples, rate, pulses):
    return np.array([decibels(part(samples, rate, t, t + .12)) for t in pulses])


def spectra(samples, rate, pulses):
    """Chroma (unit vectors), brightness in hertz, and the strongest pitch in semitones, for each pulse."""
    gap = float(np.median(np.diff(pulses)))
    n = 1 << 16
    hertz = np.fft.rfftfreq(n, 1 / rate)
    tonal = (hertz > 150) & (hertz < 2500)
    sung = (hertz > 180) & (hertz < 1400)
    classes = np.round(12 * np.log2(hertz[tonal] / 440) + 69).astype(int) % 12
    chroma, bright, pitch = [], [], []
    for t in pulses:
        window = part(samples, rate, t + .02, t + min(gap, .3))
        power = np.abs(np.fft.rfft(window * np.hanning(len(window)), n))
        folded = np.zeros(12)
        np.add.at(folded, classes, power[tonal] ** 2)
        chroma.append(folded / np.linalg.norm(folded))
        bright.append((power[tonal] * hertz[tonal]).sum() / power[tonal].sum())
        pitch.append(12 * np.log2(hertz[sung][np.argmax(power[sung])] / 440))
    return np.array(chroma), np.array(bright), np.array(pitch)


def streams(samples, rate, pulses):
    low = sosfilt(butter(4, 160, "lowpass", fs=rate, output="sos"), samples)
    high = sosfilt(butter(4, 2500, "highpass", fs=rate, output="sos"), samples)
    chroma, bright, pitch = spectra(samples, rate, pulses)
    return [
        onsets(low, rate, pulses), onsets(high, rate, pulses), onsets(samples, rate, pulses),
        levels(low, rate, pulses), levels(samples, rate, pulses),
        np.r_[0, 1 - (chroma[1:] * chroma[:-1]).sum(1)], bright,
        pitch, np.r_[0, np.maximum(0, np.diff(pitch))],
    ]


def evidence(stream, position):
    """Positive for threes, negative for twos, 0 when a constant explains the stream as well."""
    heard = position != 0
    stream, position, n = stream[heard], position[heard], int(heard.sum())
    if stream.std() < 1e-6:
        return 0.0

    def criterion(period):
        groups = [stream[position % period == place] for place in range(period)]
        rest = sum(((group - group.mean()) ** 2).sum() for group in groups)
        return n * np.log(rest / n + 1e-9) + period * np.log(n)

    threes, twos, constant = criterion(3), criterion(2), criterion(1)
    return 0.0 if min(threes, twos) > constant else float(np.clip(twos - threes, -MOST_EVIDENCE, MOST_EVIDENCE))


def hear(wav, known, high_pass=None):
    samples, rate = soundfile.read(wav)
    mono = samples.mean(axis=1)
    if high_pass:
        mono = sosfilt(butter(8, high_pass, "highpass", fs=rate, output="sos"), mono)
    pulses = np.array(known["pulses"])
    position = (np.arange(len(pulses)) + known["start_count"] - 1) % known["cycle"]
    return sum(evidence(stream, position) for stream in streams(mono, rate, pulses))


def third(tempo):
    slowest, fastest = TEMPO
    return ("slow", "middle", "fast")[min(2, int(3 * (tempo - slowest) / (fastest - slowest)))]


def main():
    parser = argparse.ArgumentParser(usage=__doc__)
    parser.add_argument("program")
    parser.add_argument("level", nargs="?", default="5")
    parser.add_argument("each", nargs="?", type=int, default=20)
    parser.add_argument("--families", default=",".join(FAMILIES))
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--high-pass", type=float)
    parser.add_argument("--small-speakers", action="store_true")
    asked = parser.parse_args()
    families = asked.families.split(",")
    agreed = collections.defaultdict(list)
    with tempfile.TemporaryDirectory() as folder:
        text, wav, known_as = (Path(folder) / name for name in ("deck.toml", "phrase.wav", "phrase.json"))
        text.write_text(deck(families))
        for number, family in enumerate(families):
            for feel in ("threes", "twos"):
                for n in range(asked.each):
                    # A number of its own for every phrase: one number draws the same tempo in every family.
                    seed = asked.first_seed + n + 1000 * number + (500 if feel == "twos" else 0)
                    command = [asked.program, "phrase", family, "--deck", text, "--feel", feel, "--level", asked.level,
                               "--seed", str(seed), "--wav", wav, "--json", known_as]
                    subprocess.run(command + ["--small-speakers"] * asked.small_speakers, check=True)
                    known = json.loads(known_as.read_text())
                    heard = hear(wav, known, asked.high_pass)
                    right = (heard > 0) == (feel == "threes") and heard != 0
                    for name in (family, third(known["tempo_ppm"]), "all"):
                        agreed[name].append(right)
                    if not right:
                        print(f"{family} {feel} seed {seed} at {known['tempo_ppm']}: heard {heard:+.1f}")
    for name, answers in agreed.items():
        print(f"{name}: agrees in {np.mean(answers):.3f} of {len(answers)}")


if __name__ == "__main__":
    main()
