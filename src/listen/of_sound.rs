//! What a sound says at each pulse.

use std::ops::Range;

use super::of_notes::changes;
use super::pulses::Pulses;
use super::sound::Sound;
use super::spectrum::Spectrum;
use super::stream::{Heard, Part, SHARE_LENGTHS, Shares, Stream, Tells, of_line};
use super::units::{index, quantile, real};

/// Seconds before a pulse that its rise is held against, and after it in which it rises.
const BEFORE: f64 = 0.06;
const AFTER: f64 = 0.08;
/// So many seconds before its pulse a stroke may begin: what is held against it ends there. The beginning
/// of a stroke would else count now before and now after, by where frames happen to begin, and even
/// strokes would seem to come again by twos or threes. A frame is 8 ms long.
const EARLY: f64 = 0.01;
/// Seconds after a pulse over which its level is taken.
const LEVEL: f64 = 0.12;
/// Seconds after a pulse from which a knock has died away and strings still ring, and until when.
const RINGING: (f64, f64) = (0.1, 0.22);
/// Seconds about a pulse in which an onset is its own.
const ABOUT: f64 = 0.045;
/// Seconds before a pulse and after it in which a knock is its own, and the share of the power of the loud
/// ones that is none (a round figure, 30 dB).
const KNOCK: (f64, f64) = (0.02, 0.05);
const KNOCK_NOTHING: f64 = 1e-3;
/// The basses of a guitar, in hertz, from some way below its lowest string up to where its chords lie, the
/// samples of their spectra, over how many seconds they are heard at most, and the share of all that sounds
/// that is no bass (round figures, the last 20 dB).
const BASS: (f64, f64) = (60.0, 190.0);
const N_BASS: usize = 1024;
const BASS_SECONDS: f64 = 0.15;
const BASS_NOTHING: f64 = 1e-2;
/// How likely what runs into a pulse lands on it.
const LANDS: f64 = 0.8;
/// The difference of loudness that can just be told, in decibels (Slade and others 2022), and of
/// brightness in octaves (a starting value).
const LOUDNESS: f64 = 1.0;
const BRIGHT: f64 = 0.1;
/// The same for a change of pitch classes, as a share (a starting value).
const HARMONY: f64 = 0.25;
/// The same for pitch in semitones, read from sound.
const PITCH: f64 = 1.0;
/// Samples of the spectra that pitch is read from.
const N_TONAL: usize = 2048;
/// Pitches that may lead, as MIDI numbers them, and the lowest of a chord.
const LEADS: std::ops::RangeInclusive<u8> = 52..=88;
const TONAL_HERTZ: (f64, f64) = (150.0, 2000.0);

/// How much evidence counts: the streams of a sound largely say the same, so that two fifths of their
/// sum are left, and more of the bass and of the two that hear how strokes begin. Bass, what rings and
/// what is bright fall silent with the strokes, so that they say once more what figures say: only what is
/// clearer than that counts. Set on the program's own phrases, so that those that fit either are mostly
/// called unclear, and on melodies made by rule that have habits of their own.
const SHARES: Shares = Shares {
    parts: [0.6, 0.4, 0.4, 0.9],
    rests: 1.0,
    figures: 1.0,
    even: 0.0,
};

/// Which band of a frame's powers.
#[derive(Clone, Copy)]
enum Band {
    Whole = 0,
    Low = 1,
}

impl Sound {
    /// The streams of the sound at these pulses.
    pub(super) fn heard(&self, pulses: &Pulses) -> Heard {
        let times = pulses.times();
        let onsets = self.onsets(times);
        let (begins, runs_in) = self.begins(pulses, &onsets);
        let (chroma, pitches) = self.tonal(pulses);
        let lead = pitches.iter().zip(&begins);
        let lead: Vec<Option<f64>> = lead
            .map(|(p, begins)| p.filter(|_| *begins > 0.5))
            .collect();
        let strength = |part, values| Stream::new(part, Tells::Strength, LOUDNESS, values);
        // What is heard of all bands at once is told of strokes alone: that nothing is struck is told by
        // figures, and would else count with each of them.
        let struck = |part, values| strength(part, of_strokes(values, &begins));
        let bright = self.brights(pulses);
        let [low, whole] = [Band::Low, Band::Whole].map(|band| self.levels(times, band));
        let beside = low.iter().zip(&whole).map(|(low, whole)| low - whole);
        let low_beside = beside.collect();
        let mut streams = vec![
            strength(Part::Low, self.rises(times, Band::Low)).hearing_rests(),
            strength(Part::Low, self.basses(pulses)).hearing_rests(),
            strength(Part::Low, self.rings(pulses, Band::Low)).hearing_rests(),
            strength(Part::High, self.rings(pulses, Band::Whole)).hearing_rests(),
            strength(Part::Percussive, self.knocks(times)),
            struck(Part::Middle, self.rises(times, Band::Whole)),
            struck(Part::Middle, whole.into_iter().map(Some).collect()),
            struck(Part::Middle, onsets.iter().map(|x| Some(*x)).collect()),
            struck(Part::Percussive, self.fluxes(times)),
            Stream::new(Part::High, Tells::Figure, BRIGHT, bright).hearing_rests(),
            Stream::new(Part::High, Tells::Strength, 0.5, lengths(&begins)).counting(SHARE_LENGTHS),
            changes(Part::Middle, HARMONY, &chroma),
        ];
        streams.extend(of_line(Part::High, &lead, PITCH));
        Heard {
            shares: SHARES,
            streams,
            begins,
            runs_in,
            low_beside,
            lead,
        }
    }

    /// The largest rise about each time, in decibels a band.
    fn onsets(&self, times: &[f64]) -> Vec<f64> {
        let largest = |time: &f64| {
            let frames = self.between(time - ABOUT, time + ABOUT);
            frames
                .iter()
                .fold(0.0, |most: f64, frame| most.max(f64::from(frame.rise)))
        };
        times.iter().map(largest).collect()
    }

    /// How likely something begins on each pulse: its onset against those half-way between pulses,
    /// where less is expected, and those of the stronger pulses; and how likely something begins
    /// half-way before each.
    fn begins(&self, pulses: &Pulses, onsets: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let times = pulses.times();
        let between = |(at, time): (usize, &f64)| time + 0.5 * pulses.gap(at);
        let between: Vec<f64> = times.iter().enumerate().map(between).collect();
        let between = self.onsets(&between);
        let rest = quantile(&between, 0.5);
        let full = quantile(onsets, 0.75).max(rest + 0.5);
        // Weak onsets are many times what lies between, strong ones several times the weak.
        let half = rest + 0.15 * (full - rest);
        let steep = 6.0 / (half - rest);
        let likely = |onset: &f64| 1.0 / (1.0 + (-(onset - half) * steep).exp());
        let runs_in: Vec<f64> = [0.0]
            .into_iter()
            .chain(between.iter().map(likely))
            .collect();
        // What runs into a pulse lands on it, though its last stroke hardly rises over those before.
        let begins = onsets.iter().map(likely).zip(&runs_in);
        let begins = begins.map(|(begins, runs)| begins.max(LANDS * runs));
        (begins.collect(), runs_in)
    }

    fn decibels(&self, from: f64, until: f64, band: Band) -> f64 {
        10.0 * (1e-8 + self.power(from, until, band as usize)).log10()
    }

    fn rises(&self, times: &[f64], band: Band) -> Vec<Option<f64>> {
        let rise = |time: &f64| {
            let begins = time - EARLY;
            let after = self.decibels(begins, time + AFTER, band);
            after - self.decibels(begins - BEFORE, begins, band)
        };
        times.iter().map(|time| Some(rise(time))).collect()
    }

    fn levels(&self, times: &[f64], band: Band) -> Vec<f64> {
        let level = |time: &f64| self.decibels(time - EARLY, time + LEVEL, band);
        times.iter().map(level).collect()
    }

    /// How loud the noise of a knock is about each time, in decibels.
    fn knocks(&self, times: &[f64]) -> Vec<Option<f64>> {
        let loudest = |time: &f64| {
            let frames = self.between(time - KNOCK.0, time + KNOCK.1);
            let noise = frames.iter().map(|frame| f64::from(frame.noise));
            noise.fold(0.0, f64::max).powi(2)
        };
        let powers: Vec<f64> = times.iter().map(loudest).collect();
        in_decibels(&powers, KNOCK_NOTHING * quantile(&powers, 0.9))
    }

    /// How hard a bass is struck on each pulse, in decibels: by how much the magnitudes of its bins rise over
    /// those before the pulse and beside them, so that another string is heard though the last still rings.
    fn basses(&self, pulses: &Pulses) -> Vec<Option<f64>> {
        let mut spectrum = Spectrum::new(N_BASS);
        let bin = |hertz: f64| index(hertz * real(N_BASS) / self.thin_rate);
        let bins = bin(BASS.0)..bin(BASS.1) + 1;
        let mut magnitudes = |from: f64, seconds: f64| -> Vec<f64> {
            let sample = |time: f64| index(time * self.thin_rate).min(self.thin.len());
            let (from, until) = (sample(from), sample(from + seconds));
            let powers = spectrum.powers(&self.thin[from..until]);
            let magnitude = |power: &f32| f64::from(*power).sqrt() / seconds;
            powers.iter().map(magnitude).collect()
        };
        // The power by which the bass rises, and that of all that sounds then.
        let mut struck = |(at, time): (usize, &f64)| -> (f64, f64) {
            let longest = BASS_SECONDS.min(real(N_BASS) / self.thin_rate);
            let seconds = longest.min(0.95 * pulses.gap(at));
            let before = magnitudes(time - EARLY - seconds, seconds);
            let after = magnitudes(time - 0.5 * EARLY, seconds);
            let rise = |bin: usize| {
                let beside = before[bin - 1..bin + 2].iter().copied();
                (after[bin] - beside.fold(0.0, f64::max)).max(0.0)
            };
            let risen: f64 = bins.clone().map(|bin| rise(bin).powi(2)).sum();
            (
                risen,
                after.iter().map(|magnitude| magnitude * magnitude).sum(),
            )
        };
        let struck = pulses.times().iter().enumerate().map(&mut struck);
        let (rises, wholes): (Vec<f64>, Vec<f64>) = struck.unzip();
        in_decibels(&rises, BASS_NOTHING * quantile(&wholes, 0.5))
    }

    /// How hard each time is struck, in decibels: the most spectral flux about it.
    fn fluxes(&self, times: &[f64]) -> Vec<Option<f64>> {
        let most = |time: &f64| {
            let frames = self.between(time - ABOUT, time + ABOUT);
            let most = frames.iter().map(|frame| f64::from(frame.flux));
            20.0 * most.fold(1e-6, f64::max).log10()
        };
        times.iter().map(|time| Some(most(time))).collect()
    }

    /// The level of what rings on: of strings, not of knocks.
    fn rings(&self, pulses: &Pulses, band: Band) -> Vec<Option<f64>> {
        let ring = |(at, time): (usize, &f64)| {
            let gap = pulses.gap(at);
            let (from, until) = (RINGING.0.min(0.5 * gap), RINGING.1.min(gap));
            Some(self.decibels(time + from, time + until, band))
        };
        pulses.times().iter().enumerate().map(ring).collect()
    }

    fn brights(&self, pulses: &Pulses) -> Vec<Option<f64>> {
        let bright = |(at, time): (usize, &f64)| {
            let frames = self.between(time + 0.02, time + pulses.gap(at).min(0.2));
            let sum: f64 = frames.iter().map(|frame| f64::from(frame.bright)).sum();
            (!frames.is_empty()).then(|| sum / real(frames.len()))
        };
        pulses.times().iter().enumerate().map(bright).collect()
    }

    /// Pitch classes and the leading pitch from each pulse to the next.
    fn tonal(&self, pulses: &Pulses) -> (Vec<Option<[f64; 12]>>, Vec<Option<f64>>) {
        let mut spectrum = Spectrum::new(N_TONAL);
        let tones = Tones::new(self.thin_rate / real(N_TONAL));
        let of = |(at, time): (usize, &f64)| {
            let until = time + pulses.gap(at).min(0.3);
            let sample = |seconds: f64| index(seconds * self.thin_rate);
            let (from, until) = (sample(time + 0.02), sample(until));
            let until = until.min(from.saturating_add(N_TONAL)).min(self.thin.len());
            let window = self
                .thin
                .get(from..until)
                .filter(|window| window.len() > 64)?;
            let powers = spectrum.powers(window);
            let loud = powers.iter().fold(0.0, |most: f32, p| most.max(*p));
            (loud > 1e-6).then(|| (tones.classes(powers), tones.leading(powers)))
        };
        let found = pulses.times().iter().enumerate().map(of);
        let found: Vec<Option<([f64; 12], f64)>> = found.collect();
        let chroma = found.iter().map(|found| found.map(|(chroma, _)| chroma));
        let pitches = found.iter().map(|found| found.map(|(_, pitch)| pitch));
        (chroma.collect(), pitches.collect())
    }
}

/// Powers in decibels over one so small that it is nothing.
fn in_decibels(powers: &[f64], nothing: f64) -> Vec<Option<f64>> {
    let decibels = |power: &f64| Some(10.0 * (power + nothing + 1e-12).log10());
    powers.iter().map(decibels).collect()
}

/// Where tones lie in a spectrum.
struct Tones {
    /// The bins of a chord, and the pitch class of each.
    classes: Vec<(usize, usize)>,
    /// By pitch that may lead, the bins of its first four harmonics.
    harmonics: Vec<[Range<usize>; 4]>,
}

/// How much each of the first four harmonics counts.
const HARMONICS: [f64; 4] = [1.0, 0.7, 0.5, 0.3];

impl Tones {
    /// Of spectra whose bins are so many hertz apart.
    fn new(per_bin: f64) -> Self {
        let class = |bin: usize| {
            let hertz = real(bin) * per_bin;
            let pitch = (69.0 + 12.0 * (hertz / 440.0).log2()).round();
            let heard = hertz > TONAL_HERTZ.0 && hertz < TONAL_HERTZ.1;
            heard.then(|| (bin, index(pitch) % 12))
        };
        let harmonics = |pitch: u8| {
            let hertz = 440.0 * 2_f64.powf((f64::from(pitch) - 69.0) / 12.0);
            [1.0, 2.0, 3.0, 4.0].map(|number| {
                let edges = [0.98, 1.02].map(|off| (hertz * number * off / per_bin).round());
                index(edges[0])..index(edges[1]) + 1
            })
        };
        Self {
            classes: (0..=N_TONAL / 2).filter_map(class).collect(),
            harmonics: LEADS.map(harmonics).collect(),
        }
    }

    /// Powers by pitch class, as shares of their sum.
    fn classes(&self, powers: &[f32]) -> [f64; 12] {
        let mut sums = [1e-9; 12];
        for (bin, class) in &self.classes {
            sums[*class] += f64::from(powers[*bin]);
        }
        let total: f64 = sums.iter().sum();
        sums.map(|sum| sum / total)
    }

    /// The pitch whose first four harmonics are strongest together, each next one weighted less.
    fn leading(&self, powers: &[f32]) -> f64 {
        let most = |bins: &Range<usize>| {
            let bins = bins.start.min(powers.len())..bins.end.min(powers.len());
            powers[bins].iter().fold(0.0, |most: f32, p| most.max(*p))
        };
        let strength = |harmonics: &[Range<usize>; 4]| -> f64 {
            let weighted = harmonics.iter().zip(HARMONICS);
            weighted
                .map(|(bins, weight)| weight * f64::from(most(bins)).sqrt())
                .sum()
        };
        let strengths = self.harmonics.iter().map(strength);
        let best = LEADS.zip(strengths).max_by(|a, b| a.1.total_cmp(&b.1));
        f64::from(best.map_or(*LEADS.start(), |(pitch, _)| pitch))
    }
}

/// The values of pulses on which something begins.
fn of_strokes(values: Vec<Option<f64>>, begins: &[f64]) -> Vec<Option<f64>> {
    let own = values.into_iter().zip(begins);
    own.map(|(value, begins)| value.filter(|_| *begins > 0.5))
        .collect()
}

/// Pulses from one beginning to the next, each weighted by how likely it is.
fn lengths(begins: &[f64]) -> Vec<Option<f64>> {
    let length = |(at, likely): (usize, &f64)| {
        let next = begins.iter().skip(at + 1).take(5);
        let length = 1.0 + real(next.take_while(|begins| **begins <= 0.5).count());
        Some(if *likely > 0.5 { length } else { 0.0 })
    };
    begins.iter().enumerate().map(length).collect()
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;
    use crate::listen::Ear;
    use crate::pcm::SampleRate;

    /// Seconds from one pulse to the next.
    const GAP: f64 = 0.3;
    const HZ: f64 = 44_100.0;

    /// Twelve pulses of a sound that is given by its samples, at their times in seconds.
    fn twelve(sample: impl Fn(f64) -> f64) -> (Sound, Pulses) {
        let n = index(12.5 * GAP * HZ);
        let samples: Vec<f32> = (0..n).map(|k| sample(real(k) / HZ) as f32).collect();
        let mut ear = Ear::new(SampleRate::new(44_100).expect("a rate"));
        ear.hear(&samples);
        let pulses = Pulses::new((0..12).map(|k| GAP * real(k) + 0.2).collect());
        (ear.finish(), pulses.expect("rising"))
    }

    /// A tone that begins with a pulse and rings for a second and a half.
    fn tone(hertz: f64, pulse: usize, time: f64) -> f64 {
        let since = time - 0.2 - GAP * real(pulse);
        let rings = (0.0..1.5).contains(&since);
        let begun = (since / 0.004).min(1.0);
        if rings {
            begun * (-since).exp() * (TAU * hertz * since).sin()
        } else {
            0.0
        }
    }

    /// White noise, the same each time (a multiplicative hash).
    fn noise(time: f64) -> f64 {
        let hash = (index(time * HZ) as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 40;
        real(usize::try_from(hash).expect("24 bits")) / f64::from(1_u32 << 23) - 1.0
    }

    /// How far the least of some pulses lies over the most of the others, the first of all left out.
    fn over(values: &[Option<f64>], is_one: impl Fn(usize) -> bool) -> f64 {
        let of = |wanted: bool| {
            let own = (1..12).filter(|at| is_one(*at) == wanted);
            own.filter_map(|at| values[at]).collect::<Vec<f64>>()
        };
        let least = of(true).into_iter().fold(f64::INFINITY, f64::min);
        let most = of(false).into_iter().fold(f64::NEG_INFINITY, f64::max);
        least - most
    }

    #[test]
    fn a_bass_is_heard_as_struck_though_the_last_one_rings() {
        let basses = [82.4, 110.0, 98.0, 123.5];
        let (sound, pulses) = twelve(|time| {
            let bass = (0..4).map(|k| 0.2 * tone(basses[k], 3 * k, time));
            let chords = (0..12).map(|k| 0.1 * tone(392.0 + 10.0 * real(k), k, time));
            bass.chain(chords).sum()
        });
        let struck = over(&sound.basses(&pulses), |at| at % 3 == 0);
        // The level of the low band hardly tells them.
        let levels = sound
            .levels(pulses.times(), Band::Low)
            .into_iter()
            .map(Some);
        let level = over(&levels.collect::<Vec<_>>(), |at| at % 3 == 0);
        assert!(struck > level + 6.0, "{struck} {level}");
    }

    #[test]
    fn a_knock_is_told_from_a_loud_string() {
        let (sound, pulses) = twelve(|time| {
            let of = |every: usize| (0..12).filter(move |k| k % every == 0);
            let strings =
                of(2).map(|k| (1..9).map(|h| tone(440.0 * real(h), k, time)).sum::<f64>());
            let knocks = of(3).map(|k| {
                let since = time - 0.2 - GAP * real(k);
                let sounds = (0.0..0.03).contains(&since);
                if sounds { 0.3 * noise(time) } else { 0.0 }
            });
            0.1 * strings.sum::<f64>() + knocks.sum::<f64>()
        });
        let knocked = over(&sound.knocks(pulses.times()), |at| at % 3 == 0);
        assert!(knocked > 3.0, "{knocked}");
    }
}
