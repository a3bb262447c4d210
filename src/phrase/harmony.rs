//! Pitches of the Phrygian language: degrees, chords, voicings.

use crate::world::Dice;

use super::Pitch;
use super::cells::CHANGES;

/// A chord on a degree of the Phrygian mode.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) enum Chord {
    /// Major, on the final.
    One,
    /// Major, on the lowered second.
    Two,
    /// Major, on the third.
    Three,
    /// Minor, on the fourth.
    Four,
    /// Minor, on the seventh.
    Seven,
}

impl Chord {
    /// Root, third and fifth in semitones over the final.
    fn tones(self) -> [u8; 3] {
        match self {
            Self::One => [0, 4, 7],
            Self::Two => [1, 5, 8],
            Self::Three => [3, 7, 10],
            Self::Four => [5, 8, 0],
            Self::Seven => [10, 1, 5],
        }
    }

    /// Whether the other chord shares no tone with it.
    pub(super) fn is_neighbour(self, other: Self) -> bool {
        self.neighbours().contains(&other)
    }

    /// The chords that share no tone with it, so that a change is heard in every string. They form
    /// the chain vii I II III iv, of which iv III II I is the Andalusian descent.
    fn neighbours(self) -> &'static [Self] {
        match self {
            Self::One => &[Self::Two, Self::Seven],
            Self::Two => &[Self::One, Self::Three],
            Self::Three => &[Self::Two, Self::Four],
            Self::Four => &[Self::Three],
            Self::Seven => &[Self::One],
        }
    }
}

/// Where the hand lies: the final of the mode as sounding pitch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Mode {
    /// The lowest final that the guitar has: E or A, raised by the capo.
    final_pitch: u8,
    /// The lowest note that the thumb may play.
    lowest: u8,
    /// The lowest pitch that the final may have in the middle register.
    middle: u8,
}

impl Mode {
    /// Por arriba (final E) or por medio (final A), with a capo on the open string up to fret 4.
    /// The thumb goes down to `lowest`, and the middle register lies `lift` semitones higher than
    /// usual.
    pub(super) fn draw(lowest: u8, lift: u8, dice: &mut Dice) -> Self {
        let open = *dice.pick(&[40, 45]).expect("two positions");
        Self {
            final_pitch: open + u8::try_from(dice.below(5)).expect("below five"),
            lowest,
            middle: MIDDLE + lift,
        }
    }

    /// `n` chords, each a neighbour of the one before, that close on the final: harmonic cells,
    /// joined from the close backwards.
    pub(super) fn changes(n: usize, dice: &mut Dice) -> Vec<Chord> {
        let mut chords: Vec<Chord> = Vec::new();
        while chords.len() < n {
            // What comes before a cell rests on the final, so the cell has to go on from there,
            // unless nothing comes before it.
            let left = n - chords.len();
            let fits = |cell: &&&[Chord]| {
                let goes_on =
                    |first: &Chord| *first == Chord::One || first.is_neighbour(Chord::One);
                cell.len() > left || cell.first().is_some_and(goes_on)
            };
            let fitting: Vec<&[Chord]> = CHANGES.iter().filter(fits).copied().collect();
            let cell = dice.pick(&fitting).copied().unwrap_or(&[Chord::One]);
            let kept = match chords.first() {
                Some(Chord::One) => cell.split_last().map_or(cell, |(_, before)| before),
                _ => cell,
            };
            chords.splice(0..0, kept.iter().copied());
        }
        chords.split_off(chords.len() - n)
    }

    /// `n` strings that sound the chord, from the one nearest above `lowest` upwards.
    pub(super) fn voicing(self, chord: Chord, n: usize, lowest: u8) -> Vec<Pitch> {
        (lowest..=100)
            .filter(|pitch| self.is_tone(chord, *pitch))
            .take(n)
            .map(Pitch)
            .collect()
    }

    /// The chord tone nearest to `wanted`, the lower one of two.
    pub(super) fn tone_near(self, chord: Chord, wanted: u8) -> Pitch {
        let distance = |pitch: &u8| pitch.abs_diff(wanted);
        let tones = (self.lowest..=88).filter(|pitch| self.is_tone(chord, *pitch));
        Pitch(tones.min_by_key(distance).unwrap_or(wanted))
    }

    /// The chord's root in the thumb's lowest octave.
    pub(super) fn root(self, chord: Chord) -> Pitch {
        let [root, ..] = chord.tones();
        let class = (self.final_pitch + root) % 12;
        Pitch(
            (self.lowest..self.lowest + 12)
                .find(|pitch| pitch % 12 == class)
                .unwrap_or(self.lowest),
        )
    }

    /// The strings that ring on under every chord: the final in two octaves. One pitch class only,
    /// so that every chord brings at least two new ones.
    pub(super) fn drone(self) -> [Pitch; 2] {
        let middle = self.middle_final();
        [Pitch(middle), Pitch(middle + 12)]
    }

    /// The pitch of degree `step` of the scale, 0 the final in the middle register.
    pub(super) fn scale(self, step: i32) -> Pitch {
        const STEPS: [i32; 7] = [0, 1, 3, 5, 7, 8, 10];
        let octave = step.div_euclid(7);
        let degree = usize::try_from(step.rem_euclid(7)).expect("a remainder");
        let pitch = i32::from(self.middle_final()) + 12 * octave + STEPS[degree];
        Pitch(u8::try_from(pitch.clamp(i32::from(LOWEST), 88)).expect("a clamped pitch"))
    }

    /// The final in the middle register.
    fn middle_final(self) -> u8 {
        let above = (self.final_pitch + 12 - self.middle % 12) % 12;
        self.middle + above
    }

    fn is_tone(self, chord: Chord, pitch: u8) -> bool {
        chord
            .tones()
            .iter()
            .any(|tone| (self.final_pitch + tone) % 12 == pitch % 12)
    }
}

/// The guitar's lowest string.
pub(super) const LOWEST: u8 = 40;
/// Where the middle register begins: G3.
const MIDDLE: u8 = 55;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_andalusian_descent_in_e_and_in_a() {
        // Am G F E and Dm C Bb A: common practice, spelling computed.
        let names = [
            "C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "Bb", "B",
        ];
        let spelled = |final_pitch| {
            let mode = Mode {
                final_pitch,
                lowest: LOWEST,
                middle: MIDDLE,
            };
            let descent = [Chord::Four, Chord::Three, Chord::Two, Chord::One];
            descent
                .map(|chord| names[usize::from(mode.root(chord).0 % 12)])
                .join(" ")
        };
        assert_eq!(spelled(40), "A G F E");
        assert_eq!(spelled(45), "D C Bb A");
        let e_major = Mode {
            final_pitch: 40,
            lowest: LOWEST,
            middle: MIDDLE,
        }
        .voicing(Chord::One, 3, 52);
        assert_eq!(e_major, [Pitch(52), Pitch(56), Pitch(59)]);
    }

    #[test]
    fn changes_are_as_many_as_asked_and_close_on_the_final() {
        for n in 1..=24 {
            for seed in 0..40 {
                let chords = Mode::changes(n, &mut crate::world::Seed(seed).dice());
                assert_eq!((chords.len(), chords.last()), (n, Some(&Chord::One)));
                assert!(
                    chords.windows(2).all(|pair| pair[0].is_neighbour(pair[1])),
                    "{chords:?}"
                );
            }
        }
    }

    #[test]
    fn neighbours_share_no_tone() {
        let all = [
            Chord::One,
            Chord::Two,
            Chord::Three,
            Chord::Four,
            Chord::Seven,
        ];
        for chord in all {
            for neighbour in chord.neighbours() {
                assert!(
                    chord
                        .tones()
                        .iter()
                        .all(|tone| !neighbour.tones().contains(tone))
                );
                assert!(neighbour.neighbours().contains(&chord));
            }
        }
    }
}
