//! Where in a recording a tempo is kept, in figures and in words.

use super::analysis::clock;

/// From when until when a tempo is kept.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InTime {
    /// Its first pulse, in seconds.
    pub from: f64,
    /// The end of its last, in seconds.
    pub until: f64,
    /// Pulses a minute.
    pub ppm: f64,
}

/// So many seconds without pulses at the beginning or the end are worth no word (a round figure).
const NO_WORD: f64 = 5.0;

/// Where in a sound of so many seconds pulses are, in words that go on "pulses are found"; nothing where they are
/// all over it at one tempo.
pub fn where_in_time(parts: &[InTime], seconds: f64) -> String {
    let told = |part: &InTime| {
        let (from, until) = (clock(part.from), clock(part.until));
        format!("from {from} to {until} ({:.0} a minute)", part.ppm)
    };
    match parts {
        [] => String::new(),
        [part] if part.from < NO_WORD && part.until > seconds - NO_WORD => String::new(),
        [part] => format!(" {}", told(part)),
        [before @ .., last] => {
            let before: Vec<String> = before.iter().map(told).collect();
            format!(" {} and {}", before.join(", "), told(last))
        }
    }
}

/// Pulses a minute in these, in words: from the slowest to the fastest, where they differ; nothing of none.
pub fn tempi_in_words(parts: &[InTime]) -> Option<String> {
    let all = parts.iter().map(|part| part.ppm.round());
    let (least, most) = (all.clone().reduce(f64::min)?, all.reduce(f64::max)?);
    Some(match least < most {
        true => format!("{least:.0} to {most:.0}"),
        false => format!("{least:.0}"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tempi_are_told_from_the_slowest_to_the_fastest() {
        let at = |ppm| InTime {
            from: 0.0,
            until: 20.0,
            ppm,
        };
        let words =
            |ppms: &[f64]| tempi_in_words(&ppms.iter().map(|ppm| at(*ppm)).collect::<Vec<_>>());
        assert_eq!(words(&[]), None);
        assert_eq!(words(&[196.2, 159.8]).as_deref(), Some("160 to 196"));
        assert_eq!(words(&[160.2, 159.8]).as_deref(), Some("160"));
    }

    #[test]
    fn what_is_all_over_a_piece_is_worth_no_word() {
        let part = |from, until| InTime {
            from,
            until,
            ppm: 143.2,
        };
        assert_eq!(where_in_time(&[], 60.0), "");
        assert_eq!(where_in_time(&[part(1.0, 58.0)], 60.0), "");
        let late = [part(25.0, 58.0)];
        assert_eq!(
            where_in_time(&late, 60.0),
            " from 0:25 to 0:58 (143 a minute)"
        );
        let three = [part(0.0, 20.0), part(20.0, 40.0), part(40.0, 60.0)];
        assert_eq!(
            where_in_time(&three, 60.0),
            " from 0:00 to 0:20 (143 a minute), from 0:20 to 0:40 (143 a minute) \
             and from 0:40 to 1:00 (143 a minute)"
        );
    }
}
