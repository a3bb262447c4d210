"""Measures notes of two real guitars and real hand claps, as ranges that the program's own sounds are held against.

PyPI: numpy, scipy, soundfile; versions in requirements.txt.
Usage: python measure_real_sounds.py GUITARSOUNDS DRUMKITS
GUITARSOUNDS is the unpacked source archive of PyPI's guitarsounds 1.2.0 (its wheel has no sounds); DRUMKITS the folder
into which `dpkg -x` unpacked Debian's package hydrogen-drumkits. Writes ../fixtures/real_sounds.json. Nothing of a
sound goes into it but the numbers defined below; tests/it/real_sounds.rs measures the program by the same definitions.

Of a string, with its onset at the first block of 1 ms whose RMS is within 10 dB of the strongest block's:
- partials: peaks of a Blackman-windowed spectrum of one second from 0.1 s after the onset. The first is the strongest
  within 6 % of its nominal pitch; each other the strongest within 0.3 f0 of n times the one before it over its number,
  and kept if 20 dB above the median there. Up to the twelfth.
- inharmonicity: B of f_n = n f0 sqrt(1 + B n^2) (Fletcher 1964), by least squares of (f_n / n)^2 over n^2, of partials
  from the third on, as the body pulls at the lowest.
- level of a partial: the magnitude at its frequency under a Hann window.
- decay in dB/s: the slope of a line through its level in windows of 0.1 s, every 0.025 s, that begin 0.1 to 1.0 s after
  the onset; no longer than it stays 10 dB above what was there before the onset, and within 40 dB. Of partials 1 to 4,
  5 to 8 and 9 to 12 the median, as many a partial beats.
- brightness: the centroid of the partials, their mean number weighted by amplitude, in the first 0.05 s and in the 0.1 s
  that begin 0.5 s after the onset. Of the partials alone, as the recordings hold noise.
Of a clap, with its envelope the RMS under a Hann window of 2 ms:
- length: from the first to the last moment at which the envelope is within 20 dB of its peak.
- spread: from the moment at which a tenth of its energy has come to that at which nine tenths have.
- brightness: the centroid of the power spectrum from 100 Hz to 12 kHz in the 0.05 s after the first such moment.
"""
import json, sys
from pathlib import Path

import numpy as np, soundfile
from scipy.signal import windows

OUT = Path(__file__).parent.parent / "fixtures" / "real_sounds.json"
# The number in a file's name is the string's, from the highest.
PITCHES = {"E6": 40, "A5": 45, "D4": 50, "G3": 55, "B2": 59, "E1": 64}
GUITARS = ["Wood", "Carbon"]
# Five loudnesses of "Gimme A Hand" and the clap of "The Black Pearl" are one recording (they correlate above 0.97), so
# that one of them stands for all. Claps of the other kits are made by machines.
ALONE = [f"Millo_MultiLayered2/clap_0{n}.flac" for n in (1, 2, 3, 4)]
GROUPS = ["Gimme A Hand 1.0/HandClap-Hard.wav", "Millo-Drums_v.1/clap_Dry_c.flac"]
KITS = "usr/share/hydrogen/data/drumkits"


def mono(path):
    samples, rate = soundfile.read(path, always_2d=True)
    return samples.mean(axis=1), rate


def power_spectrum(part, window, n_fft):
    return np.abs(np.fft.rfft(part * window, n_fft)) ** 2


def centroid(part, rate, low, high):
    power = power_spectrum(part, windows.hann(len(part), sym=False), len(part))
    hz = np.fft.rfftfreq(len(part), 1 / rate)
    inside = (hz >= low) & (hz <= high)
    return float((power * hz)[inside].sum() / power[inside].sum())


def string_onset(samples, rate):
    n_block = rate // 1000
    blocks = samples[: len(samples) // n_block * n_block].reshape(-1, n_block)
    power = (blocks**2).mean(axis=1)
    return int(np.argmax(power >= 0.1 * power.max())) * n_block


def partials(part, rate, nominal):
    """(n, hertz) of each that stands out."""
    n_fft = 1 << 18
    db = 10 * np.log10(power_spectrum(part, windows.blackman(len(part), sym=False), n_fft) + 1e-30)
    bin_hz = rate / n_fft

    def peak(low, high):
        low, high = int(low / bin_hz), int(high / bin_hz)
        top = low + int(np.argmax(db[low : high + 1]))
        left, mid, right = db[top - 1 : top + 2]
        return bin_hz * (top + 0.5 * (left - right) / (left - 2 * mid + right)), mid - np.median(db[low : high + 1])

    found = [(1, peak(nominal / 1.06, nominal * 1.06)[0])]
    f0 = found[0][1]
    for n in range(2, 13):
        last_n, last_hz = found[-1]
        near = n * last_hz / last_n
        hz, above = peak(near - 0.3 * f0, near + 0.3 * f0)
        if above >= 20:
            found.append((n, hz))
    return found


def inharmonicity(found):
    n2, f2 = zip(*[(n * n, (hz / n) ** 2) for n, hz in found if n >= 3])
    slope, start = np.polyfit(np.array(n2, float), f2, 1)
    return slope / start


def level(samples, at, n_frames, hz, rate):
    part = samples[at : at + n_frames] * windows.hann(n_frames, sym=False)
    wave = np.exp(-2j * np.pi * hz / rate * np.arange(n_frames))
    return 20 * np.log10(abs(np.dot(part, wave)) / n_frames + 1e-12)


def decay(samples, onset, hz, rate):
    """dB/s, or None where too little of it stands out."""
    n_frames = rate // 10
    before = [level(samples, onset - n_frames * k, n_frames, hz, rate) for k in range(2, 9) if onset >= n_frames * k]
    noise = max(before, default=-300)
    times = np.arange(0.1, 1.001, 0.025)
    levels = np.array([level(samples, onset + round(t * rate), n_frames, hz, rate) for t in times])
    low = (levels < noise + 10) | (levels < levels[0] - 40)
    n_good = int(np.argmax(low)) if low.any() else len(levels)
    if n_good < 8:
        return None
    return float(-np.polyfit(times[:n_good], levels[:n_good], 1)[0])


def brightness(samples, at, n_frames, found, rate):
    amplitudes = [10 ** (level(samples, at, n_frames, hz, rate) / 20) for _, hz in found]
    return sum(n * a for (n, _), a in zip(found, amplitudes)) / sum(amplitudes)


def string(path, pitch):
    samples, rate = mono(path)
    onset = string_onset(samples, rate)
    start = onset + rate // 10
    found = partials(samples[start : start + rate], rate, 440 * 2 ** ((pitch - 69) / 12))
    decays = {n: decay(samples, onset, hz, rate) for n, hz in found}

    def median(low, high):
        return float(np.median([d for n, d in decays.items() if low <= n <= high and d is not None]))

    return {
        "inharmonicity": inharmonicity(found),
        "decay_1_to_4": median(1, 4),
        "decay_5_to_8": median(5, 8),
        "decay_9_to_12": median(9, 12),
        "brightness_first": brightness(samples, onset, rate // 20, found, rate),
        "brightness_later": brightness(samples, onset + rate // 2, rate // 10, found, rate),
    }


def clap(path):
    samples, rate = mono(path)
    window = windows.hann(rate // 500, sym=False)
    power = np.convolve(samples**2, window / window.sum(), "same")
    near = np.flatnonzero(power >= 0.01 * power.max())
    energy = np.cumsum(samples**2)
    tenth, most = np.searchsorted(energy, [0.1 * energy[-1], 0.9 * energy[-1]])
    first = int(near[0])
    return {
        "length": float(near[-1] - near[0]) / rate,
        "spread": float(most - tenth) / rate,
        "brightness": centroid(samples[first : first + rate // 20], rate, 100, 12000),
    }


def ranges(measured):
    """For each name the least and the greatest of what was measured, and of how many."""
    found = {}
    for name in measured[0]:
        values = [each[name] for each in measured]
        found[name] = {"least": float(f"{min(values):.5g}"), "most": float(f"{max(values):.5g}"), "n": len(values)}
    return found


def main():
    guitars, kits = Path(sys.argv[1]), Path(sys.argv[2]) / KITS
    notes = [(f"example_sounds/{g}_Guitar/{g}_{s}.wav", pitch) for g in GUITARS for s, pitch in PITCHES.items()]
    out = {
        "by": "measure_real_sounds.py, which defines what was measured; decays in dB/s, times in s, clap brightness in Hz",
        "sources": [
            {
                "package": "guitarsounds 1.2.0, PyPI, source archive",
                "license": "MIT, (c) 2021 Olivier Chabot, Ecole de Lutherie Bruant",
                "files": [name for name, _ in notes],
            },
            {
                "package": "hydrogen-drumkits 2017.09.19~dfsg-1, Debian",
                "license": "GPL-2; (c) Emiliano Grilli (Millo kits), Glen MacArthur (Gimme A Hand)",
                "files": ALONE + GROUPS,
            },
        ],
        "strings": ranges([string(guitars / name, pitch) for name, pitch in notes]),
        "claps": {
            "alone": ranges([clap(kits / name) for name in ALONE]),
            "groups": ranges([clap(kits / name) for name in GROUPS]),
        },
    }
    OUT.write_text(json.dumps(out, indent=1) + "\n")


if __name__ == "__main__":
    main()
