//! From the size of a cue to accent units, and back.
//!
//! The values are design inferences from the literature on single cues (Povel and Okkerman 1981 on
//! loudness against gaps, Dawe, Platt and Racine 1993 on harmony, Hove and others 2014 on the bass,
//! Thomassen 1982 on turns): no study ranks all cues on one scale. One decibel of loudness is 0.17
//! units, and every other cue is scaled so that its level in decibels means the same units.

/// Units of one decibel of loudness where it is heard in full: 6 dB are 1.0.
const PER_DECIBEL: f64 = 0.17;
/// Units that a cue has at one decibel of level. Slightly under what a decibel of loudness has, so that a loudness
/// accent of that many decibels reaches it in spite of the random variation of every stroke.
pub const PER_LEVEL: f64 = 0.15;

/// A loudness over the neighbours below this many decibels is no accent: every stroke varies so much.
const LOUDNESS_HEARD_FROM: f64 = 1.6;
/// From here on every decibel counts in full.
const LOUDNESS_FULL_FROM: f64 = 6.0;
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
/// Units of a note twice as long as its neighbours.
const LENGTH_DOUBLED: f64 = 0.9;
/// The most by which a note is longer than its neighbours: beyond that it is a rest.
const LENGTH_MOST: f64 = 2.6;
/// Units of a note held twice as long as its neighbours while the next comes no later.
const HELD_DOUBLED: f64 = 0.3;
/// The most by which a note is held longer: a string that is stopped sooner is hardly a note.
const HELD_MOST: f64 = 8.0;
const FIGURE_FULL: f64 = 0.9;
const STOPPED_FULL: f64 = 0.9;
const TURN_BASE: f64 = 0.2;
const TURN_PER_SEMITONE: f64 = 0.065;

/// Units that `level_db` decibels of level ask for.
pub fn of_level(level_db: f64) -> f64 {
    level_db * PER_LEVEL
}

/// Units of a stroke `over_db` decibels louder than its neighbours. What is hardly more than every
/// stroke varies by is hardly an accent.
pub fn loudness(over_db: f64) -> f64 {
    let steeper = LOUDNESS_FULL_FROM / (LOUDNESS_FULL_FROM - LOUDNESS_HEARD_FROM);
    let heard = (over_db - LOUDNESS_HEARD_FROM).max(0.0) * steeper;
    heard.min(over_db.max(0.0)).min(LOUDNESS_MOST) * PER_DECIBEL
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

/// Units of a note whose time to the next is `ratio` times that of its neighbours. A long note marks
/// its own beginning (Povel and Okkerman 1981 on gaps that are clearly longer).
pub fn length(ratio: f64) -> f64 {
    LENGTH_DOUBLED * ratio.clamp(1.0, LENGTH_MOST).log2()
}

/// The ratio of lengths that makes `units`.
pub fn length_ratio_for(units: f64) -> f64 {
    (units / LENGTH_DOUBLED).exp2().clamp(1.0, LENGTH_MOST)
}

/// Units of a note held for `ratio` times the share of its time for which its neighbours are.
pub fn held(ratio: f64) -> f64 {
    HELD_DOUBLED * ratio.clamp(1.0, HELD_MOST).log2()
}

/// The ratio of holding that makes `units`.
pub fn held_ratio_for(units: f64) -> f64 {
    (units / HELD_DOUBLED).exp2().clamp(1.0, HELD_MOST)
}

/// Units of the beginning of a figure where so great a `share` (0 to 1) of what a line does is that
/// figure coming again.
pub fn figure(share: f64) -> f64 {
    FIGURE_FULL * share.clamp(0.0, 1.0)
}

/// The share of repetition that makes `units`.
pub fn figure_share_for(units: f64) -> f64 {
    (units / FIGURE_FULL).clamp(0.0, 1.0)
}

/// Units of a ringing stroke after one whose stopped strings stand `over_rest_db` decibels over
/// those that ring in it.
pub fn stopped(over_rest_db: f64) -> f64 {
    STOPPED_FULL * blend(over_rest_db)
}

/// Decibels over the ringing strings with which stopped ones make `units` for the next stroke.
pub fn stopped_over_rest_for(units: f64) -> f64 {
    unblend(units / STOPPED_FULL)
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
        close(loudness(20.0), 1.53);
        close(bass(14.0, 12.0), 0.9);
        close(knock(0.0), 0.7);
        close(turn(2.0), 0.33);
        assert!((turn(7.0) - 0.655).abs() < 1e-9);
        close(length(2.0), 0.9);
        close(held(2.0), 0.3);
        close(held(100.0), 0.9);
    }

    #[test]
    fn sizes_come_back() {
        for tenths in 2..9 {
            let units = f64::from(tenths) / 10.0;
            close(bass(14.0, bass_over_rest_for(units, 14.0)), units);
            close(bass(bass_drop_for(units), 12.0), units);
            close(knock(knock_over_rest_for(units)), units);
            close(length(length_ratio_for(units)), units);
            close(held(held_ratio_for(units)), units);
            close(figure(figure_share_for(units)), units);
            close(stopped(stopped_over_rest_for(units)), units);
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
