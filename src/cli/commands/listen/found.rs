//! Pulses that nobody gave: they are found in a sound, and what is heard at them is only as sure as they
//! are probable.

use std::path::Path;

use super::read;
use crate::cli::commands::write::warn;
use crate::cli::failure::Failure;
use crate::listen::{
    Analysis, Answers, InTime, Notes, PulsePath, Pulses, Sound, counted_from_firsts, pulse_paths,
};
use crate::rhythm::Cycle;

/// What is heard at the best pulses of all that were found, and the tempi that may be meant, with how well
/// they fit.
pub(super) struct Found {
    pub(super) analysis: Analysis,
    pub(super) tempi: Vec<(f64, f64)>,
    /// Where in it pulses were found.
    pub(super) in_time: Vec<InTime>,
}

impl Found {
    /// What is heard at pulses that were given.
    pub(super) fn given(analysis: Analysis) -> Self {
        Self {
            analysis,
            tempi: Vec::new(),
            in_time: Vec::new(),
        }
    }
}

/// What `heard_at` the best pulses in a sound tells; nothing where nothing comes again.
pub(super) fn in_sound(
    sound: &Sound,
    cycle: Cycle,
    heard_at: impl FnOnce(&Pulses) -> Analysis,
) -> Found {
    let paths = pulse_paths(sound, &[]);
    let analysis = match paths.first() {
        Some(best) => {
            let counted = counted_from_firsts(sound, best, cycle);
            let pulses = best.pulses.in_cycles(&counted, cycle);
            heard_at(&pulses).at_proposed(|_| best.steady * best.probable)
        }
        None => Analysis::nothing(cycle),
    };
    let tempo = |path: &PulsePath| (60.0 / path.gap, path.fits);
    Found {
        analysis,
        tempi: paths.iter().map(tempo).collect(),
        in_time: paths.first().map_or_else(Vec::new, PulsePath::in_time),
    }
}

/// The same of notes that were played freely, by the sound of their file, which begins so many seconds in.
pub(super) fn in_notes(
    path: &Path,
    (notes, begins): (&Notes, f64),
    (cycle, answers): (Cycle, Answers),
) -> Result<Found, Failure> {
    let name = path.display();
    warn(&format!(
        "{name}: its notes do not lie on its own pulses, so that pulses were looked for; you can say where \
         they lie by --pulses, or by --tempo and --start"
    ));
    let Some(sound) = read::sound_of(path)? else {
        return Ok(Found::given(Analysis::nothing(cycle)));
    };
    Ok(in_sound(&sound, cycle, |pulses| {
        let notes = notes.counted_at(&pulses.moved(begins));
        Analysis::of_notes(&notes, cycle, answers)
    }))
}
