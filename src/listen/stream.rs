//! What is heard at each pulse, one stream a cue: the common ground of recordings and of notes.

/// Whose a stream is. Voices are bands of sound, or the registers of notes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Part {
    /// Low notes.
    Low,
    /// What lies between: chords and lines.
    Middle,
    /// The highest line.
    High,
    /// Knocks, claps and the noise of strokes.
    Percussive,
}

impl Part {
    /// All of them, from low to high.
    pub const ALL: [Self; 4] = [Self::Low, Self::Middle, Self::High, Self::Percussive];

    /// Its name in files and on screens.
    pub fn name(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Middle => "middle",
            Self::High => "high",
            Self::Percussive => "percussive",
        }
    }
}

/// Whether more of it makes an accent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tells {
    /// More is stronger: its size on a pulse counts.
    Strength,
    /// It only comes again: pitch, brightness.
    Figure,
}

/// One value a pulse, or none.
#[derive(Clone, Debug)]
pub(super) struct Stream {
    pub(super) part: Part,
    pub(super) tells: Tells,
    /// The difference that can just be told, in the stream's own units.
    pub(super) unit: f64,
    /// Whether it hears rests as well as strokes, which figures tell already.
    pub(super) hears_rests: bool,
    /// How much its evidence counts where it says other than its part does.
    pub(super) share: Option<f64>,
    pub(super) values: Vec<Option<f64>>,
}

impl Stream {
    pub(super) fn new(part: Part, tells: Tells, unit: f64, values: Vec<Option<f64>>) -> Self {
        // What is no number was not heard.
        let finite = |value: Option<f64>| value.filter(|x| x.is_finite());
        Self {
            part,
            tells,
            unit,
            hears_rests: false,
            share: None,
            values: values.into_iter().map(finite).collect(),
        }
    }

    pub(super) fn hearing_rests(self) -> Self {
        Self {
            hears_rests: true,
            ..self
        }
    }

    pub(super) fn counting(self, share: f64) -> Self {
        Self {
            share: Some(share),
            ..self
        }
    }

    pub(super) fn at(&self, pulse: usize) -> Option<f64> {
        self.values.get(pulse).copied().flatten()
    }
}

/// How much it counts how long notes last, the plainest of their accents: by itself it tells most melodies (Povel and
/// Essens 1985; Temperley 2007), so that nothing is taken off.
pub(super) const SHARE_LENGTHS: f64 = 1.0;

/// How much evidence counts: streams of one part say much the same.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Shares {
    /// Of each stream without a share of its own, in the order of [`Part::ALL`].
    pub(super) parts: [f64; 4],
    /// So many nats of a stream that hears rests, too, do not count.
    pub(super) rests: f64,
    /// Of figures.
    pub(super) figures: f64,
    /// Of even runs, for which threes are the more usual.
    pub(super) even: f64,
}

/// Everything that is heard at the pulses.
#[derive(Clone, Debug, Default)]
pub(super) struct Heard {
    /// How much evidence of streams counts by their part, and that of figures.
    pub(super) shares: Shares,
    pub(super) streams: Vec<Stream>,
    /// How likely something begins on each pulse, 0 to 1.
    pub(super) begins: Vec<f64>,
    /// How likely something begins half-way from the pulse before; empty where that is not heard.
    pub(super) runs_in: Vec<f64>,
    /// How loud the low band is on each pulse beside all that sounds, in decibels; empty where that is not
    /// heard.
    pub(super) low_beside: Vec<f64>,
    /// The pitch that leads, in semitones as MIDI counts them, where one begins.
    pub(super) lead: Vec<Option<f64>>,
}

impl Heard {
    /// What is heard at so many pulses from one on.
    pub(super) fn starting_at(&self, skipped: usize, n_pulses: usize) -> Self {
        let stream = |stream: &Stream| Stream {
            values: some(&stream.values, skipped, n_pulses),
            ..*stream
        };
        Self {
            shares: self.shares,
            streams: self.streams.iter().map(stream).collect(),
            begins: some(&self.begins, skipped, n_pulses),
            runs_in: some(&self.runs_in, skipped, n_pulses),
            low_beside: some(&self.low_beside, skipped, n_pulses),
            lead: some(&self.lead, skipped, n_pulses),
        }
    }
}

fn some<T: Copy>(row: &[T], skipped: usize, n: usize) -> Vec<T> {
    row.iter().skip(skipped).take(n).copied().collect()
}

/// The streams of a line of pitches, each of which may be missing.
pub(super) fn of_line(part: Part, lead: &[Option<f64>], unit: f64) -> Vec<Stream> {
    let known: Vec<(usize, f64)> = lead
        .iter()
        .enumerate()
        .filter_map(|(at, pitch)| Some((at, (*pitch)?)))
        .collect();
    let mut leaps = vec![None; lead.len()];
    let mut news = vec![None; lead.len()];
    let mut turns = vec![None; lead.len()];
    for pair in known.windows(2) {
        let step = pair[1].1 - pair[0].1;
        leaps[pair[1].0] = Some(step.abs().min(12.0));
        news[pair[1].0] = Some(if step.abs() < 0.5 { 0.0 } else { 1.0 });
    }
    for triple in known.windows(3) {
        let (into, out) = (triple[1].1 - triple[0].1, triple[2].1 - triple[1].1);
        *turns[triple[1].0].get_or_insert(0.0) += turn(into, out).0;
        *turns[triple[2].0].get_or_insert(0.0) += turn(into, out).1;
    }
    vec![
        Stream::new(part, Tells::Figure, unit, lead.to_vec()),
        Stream::new(part, Tells::Figure, unit, leaps),
        Stream::new(part, Tells::Figure, 0.5, news),
        Stream::new(part, Tells::Strength, 0.3, turns),
    ]
}

/// How strongly the second and the third of three pitches are accented by the contour (Thomassen
/// 1982, the model best supported among eight by Huron and Royal 1996; sizes from memory).
fn turn(into: f64, out: f64) -> (f64, f64) {
    let sign = |step: f64| {
        if step.abs() < 0.5 {
            0
        } else {
            i32::from(step > 0.0) * 2 - 1
        }
    };
    match (sign(into), sign(out)) {
        (0, 0) => (0.0, 0.0),
        (_, 0) => (1.0, 0.0),
        (0, _) => (0.0, 1.0),
        (1, -1) => (0.83, 0.17),
        (-1, 1) => (0.71, 0.29),
        (1, _) => (0.33, 0.67),
        (_, _) => (0.5, 0.5),
    }
}
