//! From the size of a cue to accent units, and back.
//!
//! The values are design inferences from the literature on single cues (Povel and Okkerman 1981 on
//! loudness against gaps, Dawe, Platt and Racine 1993 on harmony, Hove and others 2014 on the bass,
//! Thomassen 1982 on turns): no study ranks all cues on one scale. One decibel of loudness is 0.17
//! units, and every other cue is scaled so that its level in decibels means the same units.

/// Units of one decibel of loudness.
pub const PER_DECIBEL: f64 = 0.17;
/// Units that a cue has at one decibel of level. Slightly under [`PER_DECIBEL`], so that a loudness
/// accent of that many decibels reaches it in spite of the random variation of every stroke.
pub const PER_LEVEL: f64 = 0.15;

/// A loudness over the neighbours below this many decibels is no accent: every stroke varies so much.
const LOUDNESS_HEARD_FROM: f64 = 1.6;
const LOUDNESS_MOST: f64 = 9.0;
const BASS_FULL: f64 = 0.9;
/// A tenth below the other notes is a full bass (semitones).
const BASS_FULL_DROP: f64 = 14.0;
const CHORD_FULL: f64 = 0.8;
const KNOCK_EQUAL: f64 = 0.7;
/// A sound so many decibels under the rest of its stroke is lost in it, one so many over is alone.
const BLEND: f64 = 12.0;
/// The most by which depth raises a low note over its full size.
const DEEPEST: f64 = 1.6;
const TURN_BASE: f64 = 0.2;
const TURN_PER_SEMITONE: f64 = 0.065;

/// Units that `level_db` decibels of level ask for.
pub fn of_level(level_db: f64) -> f64 {
    level_db * PER_LEVEL
}

/// Units of a stroke `over_db` decibels louder than its neighbours.
pub fn loudness(over_db: f64) -> f64 {
    if over_db < LOUDNESS_HEARD_FROM {
        0.0
    } else {
        over_db.min(LOUDNESS_MOST) * PER_DECIBEL
    }
}

/// Decibels over the neighbours that make `units`.
pub fn loudness_for(units: f64) -> f64 {
    (units / PER_DECIBEL).clamp(0.0, LOUDNESS_MOST)
}

/// Units of a low note `drop` semitones under the other notes of its hand and `over_rest_db`
/// decibels over what sounds with it.
pub fn bass(drop: f64, over_rest_db: f64) -> f64 {
    BASS_FULL * depth(drop) * blend(over_rest_db)
}

fn depth(drop: f64) -> f64 {
    (drop / BASS_FULL_DROP).clamp(0.0, DEEPEST)
}

/// Decibels over the rest of its stroke with which a low note of this `drop` makes `units`.
pub fn bass_over_rest_for(units: f64, drop: f64) -> f64 {
    unblend(units / (BASS_FULL * depth(drop).max(0.1)))
}

/// Semitones under the other notes at which a low note that sounds alone makes `units`.
pub fn bass_drop_for(units: f64) -> f64 {
    BASS_FULL_DROP * units / BASS_FULL
}

/// Units of a stroke of which the share `new` (0 to 1, of its power) was not in the stroke before.
pub fn chord(new: f64) -> f64 {
    if new <= 0.0 {
        return 0.0;
    }
    let over = 10.0 * (new / (1.0 - new).max(1e-6)).log10();
    CHORD_FULL * blend(over)
}

/// Decibels over the strings that do not change with which new chords make `units`.
pub fn chord_over_rest_for(units: f64) -> f64 {
    unblend(units / CHORD_FULL)
}

/// Units of a knock or clap `over_rest_db` decibels over what sounds with it.
pub fn knock(over_rest_db: f64) -> f64 {
    KNOCK_EQUAL * (1.0 + over_rest_db / BLEND).clamp(0.0, 2.0)
}

/// Decibels over the rest of its stroke with which a knock makes `units`.
pub fn knock_over_rest_for(units: f64) -> f64 {
    ((units / KNOCK_EQUAL - 1.0) * BLEND).clamp(-BLEND, BLEND)
}

/// Units of a top note reached by a rise of `semitones` and left downwards.
pub fn turn(semitones: f64) -> f64 {
    if semitones <= 0.0 {
        0.0
    } else {
        TURN_BASE + TURN_PER_SEMITONE * semitones.min(16.0)
    }
}

/// The rise in semitones with which a top note makes `units`.
pub fn turn_rise_for(units: f64) -> f64 {
    ((units - TURN_BASE) / TURN_PER_SEMITONE).clamp(1.0, 16.0)
}

fn blend(over_rest_db: f64) -> f64 {
    ((over_rest_db + BLEND) / (2.0 * BLEND)).clamp(0.0, 1.0)
}

fn unblend(share: f64) -> f64 {
    (share * 2.0 * BLEND - BLEND).clamp(-BLEND, BLEND)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn close(found: f64, expected: f64) {
        assert!((found - expected).abs() < 1e-9, "{found} is not {expected}");
    }

    #[test]
    fn the_table_of_starting_values() {
        // Our own table of cues at full size; design inferences, no source.
        close(loudness(6.0), 1.02);
        close(loudness(1.0), 0.0);
        close(bass(14.0, 12.0), 0.9);
        close(knock(0.0), 0.7);
        close(turn(2.0), 0.33);
        assert!((turn(7.0) - 0.655).abs() < 1e-9);
    }

    #[test]
    fn sizes_come_back() {
        for tenths in 2..9 {
            let units = f64::from(tenths) / 10.0;
            close(
                loudness(loudness_for(units).max(1.6)),
                units.max(1.6 * PER_DECIBEL),
            );
            close(bass(14.0, bass_over_rest_for(units, 14.0)), units);
            close(bass(bass_drop_for(units), 12.0), units);
            close(knock(knock_over_rest_for(units)), units);
        }
        for semitones in 1..=16 {
            close(
                turn_rise_for(turn(f64::from(semitones))),
                f64::from(semitones),
            );
        }
        let over = chord_over_rest_for(0.45);
        let share = 1.0 / (1.0 + 10_f64.powf(-over / 10.0));
        close(chord(share), 0.45);
    }
}
