//! The only doors for time, chance and environment.
//!
//! Read [`Clock`] first: everything that needs to know what time it is takes one, or takes a
//! [`Moment`] or [`Stamp`] that came from one. Chance comes from a [`Seed`], never from the system
//! after the first draw. Environment variables are read once into [`Env`].
//!
//! Units: [`Moment`] is milliseconds of UTC wall time, [`Stamp`] microseconds of a clock that never
//! goes back, [`Day`] whole learning days since 1970-01-01. Wall time and monotonic time are two
//! types, so that nothing subtracts across clocks.
//!
//! Not here: any decision about what is due or when to play. Nothing else in the program may use
//! `chrono`, `rand` or the standard clocks; `clippy.toml` and `tests/tidy.rs` hold that.

use std::ffi::OsString;
use std::fmt;
use std::path::PathBuf;
use std::sync::Mutex;
use std::time::Instant;

use chrono::{
    DateTime, Datelike as _, Local, NaiveDate, Offset as _, TimeDelta, TimeZone as _, Utc,
};
use rand::TryRng as _;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};

/// Wall time in milliseconds since 1970-01-01 00:00 UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment(pub i64);

/// Monotonic time in microseconds since the program started.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Stamp(pub u64);

impl Stamp {
    /// Microseconds from `earlier` to `self`; zero when `earlier` is later.
    pub fn since(self, earlier: Self) -> u64 {
        self.0.saturating_sub(earlier.0)
    }
}

/// A learning day: whole days since 1970-01-01, turning at an hour that is a setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day(pub i32);

impl Day {
    /// Whole days from `earlier` to `self`; zero when the calendar went back (travel, a wrong clock).
    pub fn since(self, earlier: Self) -> u32 {
        u32::try_from(self.0.saturating_sub(earlier.0)).unwrap_or(0)
    }

    /// The day `n` days later.
    pub fn plus(self, n: i32) -> Self {
        Self(self.0.saturating_add(n))
    }

    /// The date in words, as `Wednesday, 25 November`.
    pub fn in_words(self) -> String {
        NaiveDate::from_epoch_days(self.0)
            .map_or_else(String::new, |date| date.format("%A, %-d %B").to_string())
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match NaiveDate::from_epoch_days(self.0) {
            Some(date) => write!(
                f,
                "{:04}-{:02}-{:02}",
                date.year(),
                date.month(),
                date.day()
            ),
            None => write!(f, "day {}", self.0),
        }
    }
}

/// Says what time it is. The system's in the program, a hand-set one in tests.
pub trait Clock: Send + Sync {
    /// Wall time now.
    fn now(&self) -> Moment;
    /// Monotonic time now.
    fn stamp(&self) -> Stamp;
    /// The monotonic time that belongs to an instant of the standard library, for the audio
    /// callback and the input thread, which are handed instants.
    fn stamp_of(&self, instant: Instant) -> Stamp;
}

/// The system's clocks. The wall clock may be shifted by a constant, for rehearsals.
#[derive(Clone, Debug)]
pub struct SystemClock {
    origin: Instant,
    shift_ms: i64,
}

impl SystemClock {
    /// Starts at the system's present moment.
    pub fn start() -> Self {
        Self {
            origin: instant_now(),
            shift_ms: 0,
        }
    }

    /// Runs as the system does, but as if the program had been started at `moment`.
    pub fn starting_at(moment: Moment) -> Self {
        Self {
            origin: instant_now(),
            shift_ms: moment.0 - wall_now(),
        }
    }
}

impl Clock for SystemClock {
    fn now(&self) -> Moment {
        Moment(wall_now() + self.shift_ms)
    }

    fn stamp(&self) -> Stamp {
        self.stamp_of(instant_now())
    }

    fn stamp_of(&self, instant: Instant) -> Stamp {
        let micros = instant.saturating_duration_since(self.origin).as_micros();
        Stamp(u64::try_from(micros).unwrap_or(u64::MAX))
    }
}

/// The present instant, for the audio callback and the input thread.
#[expect(
    clippy::disallowed_methods,
    reason = "the one door for the monotonic clock"
)]
pub fn instant_now() -> Instant {
    Instant::now()
}

#[expect(clippy::disallowed_methods, reason = "the one door for the wall clock")]
fn wall_now() -> i64 {
    Utc::now().timestamp_millis()
}

/// A clock that stands still until it is moved.
#[derive(Debug)]
pub struct ManualClock {
    times: Mutex<(Moment, Stamp)>,
    origin: Instant,
}

impl ManualClock {
    /// Stands at `moment`, monotonic time zero.
    pub fn at(moment: Moment) -> Self {
        Self {
            times: Mutex::new((moment, Stamp(0))),
            origin: instant_now(),
        }
    }

    /// Moves both clocks on by `micros`.
    pub fn advance(&self, micros: u64) {
        let mut times = self
            .times
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        times.1.0 += micros;
        times.0.0 += i64::try_from(micros / 1000).unwrap_or(i64::MAX);
    }
}

impl Clock for ManualClock {
    fn now(&self) -> Moment {
        self.times
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
            .0
    }

    fn stamp(&self) -> Stamp {
        self.times
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
            .1
    }

    fn stamp_of(&self, instant: Instant) -> Stamp {
        let micros = instant.saturating_duration_since(self.origin).as_micros();
        Stamp(u64::try_from(micros).unwrap_or(u64::MAX))
    }
}

/// Turns moments into learning days.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Calendar {
    /// Local hour at which a new learning day begins, 0 to 12. Never midnight by default: local
    /// midnight does not exist everywhere, and practice after midnight belongs to the evening.
    pub turn_hour: u8,
}

impl Default for Calendar {
    fn default() -> Self {
        Self { turn_hour: 5 }
    }
}

impl Calendar {
    /// The learning day of `moment` and the local offset from UTC in minutes at that moment.
    pub fn day_of(self, moment: Moment) -> (Day, i32) {
        let utc: DateTime<Utc> =
            DateTime::from_timestamp_millis(moment.0).unwrap_or(DateTime::UNIX_EPOCH);
        let offset = Local
            .offset_from_utc_datetime(&utc.naive_utc())
            .fix()
            .local_minus_utc();
        (self.day_at(moment, offset / 60), offset / 60)
    }

    /// The learning day of `moment` where local time is `offset_min` minutes ahead of UTC.
    pub fn day_at(self, moment: Moment, offset_min: i32) -> Day {
        let utc: DateTime<Utc> =
            DateTime::from_timestamp_millis(moment.0).unwrap_or(DateTime::UNIX_EPOCH);
        let shift = TimeDelta::minutes(i64::from(offset_min) - i64::from(self.turn_hour) * 60);
        let local = utc
            .naive_utc()
            .checked_add_signed(shift)
            .unwrap_or(utc.naive_utc());
        Day(local.date().to_epoch_days())
    }
}

impl fmt::Display for Moment {
    /// As RFC 3339 by UTC, to the millisecond; [`parse_moment`] reads it back.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let utc: DateTime<Utc> =
            DateTime::from_timestamp_millis(self.0).unwrap_or(DateTime::UNIX_EPOCH);
        let text = utc.to_rfc3339_opts(chrono::SecondsFormat::Millis, true);
        f.write_str(&text)
    }
}

/// Reads a moment written as RFC 3339 (`2026-11-26T08:00:00+01:00`).
pub fn parse_moment(text: &str) -> Option<Moment> {
    DateTime::parse_from_rfc3339(text)
        .ok()
        .map(|time| Moment(time.timestamp_millis()))
}

/// Reads a day written as `2026-11-26`.
pub fn parse_day(text: &str) -> Option<Day> {
    let date = NaiveDate::parse_from_str(text, "%Y-%m-%d").ok()?;
    Some(Day(date.to_epoch_days()))
}

/// A source of reproducible chance. Children are drawn by name, so that a new draw in one place
/// moves no other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Seed(pub u64);

impl Seed {
    /// A fresh seed from the operating system.
    ///
    /// # Errors
    /// When the system has no randomness to give.
    pub fn from_system() -> Result<Self, NoChance> {
        rand::rngs::SysRng
            .try_next_u64()
            .map(Self)
            .map_err(|error| NoChance(error.to_string()))
    }

    /// The seed for the `n`-th use of what `label` names.
    #[must_use]
    pub fn child(self, label: &str, n: u64) -> Self {
        let mut state = mix(self.0 ^ 0x9e37_79b9_7f4a_7c15);
        for byte in label.bytes() {
            state = mix(state ^ u64::from(byte));
        }
        Self(mix(state ^ n.wrapping_mul(0xd6e8_feb8_6659_fd93)))
    }

    /// Dice that start here.
    pub fn dice(self) -> Dice {
        Dice {
            rng: ChaCha8Rng::seed_from_u64(self.0),
        }
    }
}

/// The finaliser of SplitMix64 (Steele, Lea and Flood 2014), a good mixer of 64 bits.
fn mix(mut x: u64) -> u64 {
    x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

/// The system could give no randomness.
#[derive(Debug, thiserror::Error)]
#[error("the system gave no randomness: {0}")]
pub struct NoChance(String);

/// Draws over a named ChaCha stream, so that no library update changes a phrase.
#[derive(Clone, Debug)]
pub struct Dice {
    rng: ChaCha8Rng,
}

impl Dice {
    /// Uniform over `0..n` without bias; 0 when `n` is 0.
    pub fn below(&mut self, n: usize) -> usize {
        let n = u64::try_from(n).unwrap_or(u64::MAX);
        if n == 0 {
            return 0;
        }
        // Rejection of the uneven rest, so that every value is equally likely.
        let zone = u64::MAX - u64::MAX % n;
        loop {
            let draw = self.rng.next_u64();
            if draw < zone {
                return usize::try_from(draw % n).unwrap_or(0);
            }
        }
    }

    /// Uniform over `low..=high`; `low` when the range is empty.
    pub fn between(&mut self, low: i64, high: i64) -> i64 {
        let span = usize::try_from(high.saturating_sub(low).saturating_add(1)).unwrap_or(0);
        low + i64::try_from(self.below(span)).unwrap_or(0)
    }

    /// Uniform over `low..high` as a real number, in steps of 2⁻⁵³ of the range.
    #[expect(clippy::cast_precision_loss, reason = "53 bits fit a double exactly")]
    pub fn real(&mut self, low: f64, high: f64) -> f64 {
        let unit = (self.rng.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
        low + (high - low) * unit
    }

    /// True once in `n` on average.
    pub fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }

    /// One of the items; `None` of an empty slice.
    pub fn pick<'a, T>(&mut self, items: &'a [T]) -> Option<&'a T> {
        items.get(self.below(items.len()))
    }

    /// Puts the items in random order (Fisher and Yates).
    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            items.swap(last, self.below(last + 1));
        }
    }
}

/// What the surroundings said when the program started.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Env {
    /// Where data is kept, by `CONTRAPALMA_DATA`, else by the platform's convention.
    pub data_dir: Option<PathBuf>,
    /// A teacher's class store, by `CONTRAPALMA_CLASS_STORE`: a file, or the URL of a server, which may
    /// have a password in it and is never shown.
    pub class_store: Option<PathBuf>,
    /// The text of `CONTRAPALMA_NOW`: the program runs as if started at this moment.
    pub now: Option<String>,
    /// Whether colour is unwanted (`NO_COLOR` is set and not empty, or the terminal is dumb).
    pub no_color: bool,
    /// Whether the locale promises UTF-8, so that more than ASCII may be drawn.
    pub utf8: bool,
}

impl Env {
    /// Reads the process's environment.
    #[expect(
        clippy::disallowed_methods,
        reason = "the one door for environment variables"
    )]
    pub fn from_system() -> Self {
        Self::from_lookup(|name| std::env::var_os(name))
    }

    /// Reads from any set of variables. Empty ones count as absent.
    pub fn from_lookup(lookup: impl Fn(&str) -> Option<OsString>) -> Self {
        let get = |name: &str| lookup(name).filter(|value| !value.is_empty());
        let text = |name: &str| get(name).map(|value| value.to_string_lossy().into_owned());
        let locale = text("LC_ALL")
            .or_else(|| text("LC_CTYPE"))
            .or_else(|| text("LANG"));
        let utf8 = locale.is_some_and(|name| {
            let name = name.to_ascii_lowercase();
            name.contains("utf-8") || name.contains("utf8")
        });
        Self {
            data_dir: data_dir(&get),
            class_store: get("CONTRAPALMA_CLASS_STORE").map(PathBuf::from),
            now: text("CONTRAPALMA_NOW"),
            no_color: get("NO_COLOR").is_some() || text("TERM").as_deref() == Some("dumb"),
            utf8,
        }
    }
}

fn data_dir(get: &impl Fn(&str) -> Option<OsString>) -> Option<PathBuf> {
    if let Some(own) = get("CONTRAPALMA_DATA") {
        return Some(PathBuf::from(own));
    }
    // The XDG base directory specification: relative paths are to be ignored.
    let xdg = get("XDG_DATA_HOME")
        .map(PathBuf::from)
        .filter(|path| path.is_absolute());
    let base = xdg.or_else(|| get("HOME").map(|home| PathBuf::from(home).join(".local/share")))?;
    Some(base.join("contrapalma"))
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR_MS: i64 = 3_600_000;

    #[test]
    fn children_differ_by_label_and_number_and_repeat() {
        let seed = Seed(7);
        assert_eq!(seed.child("phrase", 3), seed.child("phrase", 3));
        assert_ne!(seed.child("phrase", 3), seed.child("phrase", 4));
        assert_ne!(seed.child("phrase", 3), seed.child("order", 3));
    }

    #[test]
    fn dice_are_pinned() {
        // Golden: changing these draws changes every phrase, so the generator version must rise.
        let mut dice = Seed(1).dice();
        let draws: Vec<usize> = (0..8).map(|_| dice.below(100)).collect();
        assert_eq!(draws, [1, 95, 85, 66, 33, 64, 51, 10]);
    }

    #[test]
    fn a_day_reads_as_it_is_written() {
        assert_eq!(parse_day("1970-01-02"), Some(Day(1)));
        assert_eq!(parse_day(&Day(20_514).to_string()), Some(Day(20_514)));
        for text in ["", "2026-02-30", "2026-3", "tomorrow", "2026-03-02T08:00"] {
            assert_eq!(parse_day(text), None, "{text}");
        }
    }

    #[test]
    fn a_moment_reads_as_it_is_written() {
        let text = "2026-11-26T07:00:00.250Z";
        let moment = parse_moment("2026-11-26T08:00:00.250+01:00").expect("a moment");
        assert_eq!(moment.to_string(), text);
        assert_eq!(parse_moment(text), Some(moment));
    }

    #[test]
    fn the_day_turns_at_five_local() {
        let calendar = Calendar::default();
        let midnight = Moment(0);
        assert_eq!(calendar.day_at(midnight, 0), Day(-1));
        assert_eq!(calendar.day_at(Moment(5 * HOUR_MS - 1), 0), Day(-1));
        assert_eq!(calendar.day_at(Moment(5 * HOUR_MS), 0), Day(0));
    }

    #[test]
    fn one_instant_is_two_days_in_two_places() {
        // 2024-06-01 18:00 UTC is 2 June in Auckland (+12 h) and 1 June in Honolulu (-10 h).
        let moment = parse_moment("2024-06-01T18:00:00Z").expect("a valid time");
        let calendar = Calendar::default();
        assert_eq!(calendar.day_at(moment, 12 * 60).to_string(), "2024-06-02");
        assert_eq!(calendar.day_at(moment, -10 * 60).to_string(), "2024-06-01");
    }

    #[test]
    fn days_never_count_backwards() {
        assert_eq!(Day(3).since(Day(10)), 0);
        assert_eq!(Day(10).since(Day(3)), 7);
    }

    #[test]
    fn data_goes_where_the_platform_says() {
        let env = |pairs: &'static [(&str, &str)]| {
            Env::from_lookup(move |name| {
                pairs
                    .iter()
                    .find(|(key, _)| *key == name)
                    .map(|(_, value)| OsString::from(value))
            })
        };
        let dir = |pairs| env(pairs).data_dir.map(|path| path.display().to_string());
        assert_eq!(
            dir(&[("HOME", "/h")]).as_deref(),
            Some("/h/.local/share/contrapalma")
        );
        assert_eq!(
            dir(&[("HOME", "/h"), ("XDG_DATA_HOME", "/x")]).as_deref(),
            Some("/x/contrapalma")
        );
        assert_eq!(
            dir(&[("HOME", "/h"), ("XDG_DATA_HOME", "x")]).as_deref(),
            Some("/h/.local/share/contrapalma")
        );
        assert_eq!(
            dir(&[("CONTRAPALMA_DATA", "d"), ("HOME", "/h")]).as_deref(),
            Some("d")
        );
        assert_eq!(dir(&[]), None);
    }
}
