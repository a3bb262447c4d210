//! How long recordings take. The items of a run are seconds of sound, so that items a second are times
//! real time. Compressed files are made by `ffmpeg` once; kinds are left out where it is missing.

use std::fs::File;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitStatus};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};

use contrapalma::app::recording::{Claps, CycleFrom, Given, Go, Source, State, Step};
use contrapalma::app::{App, Decks, Done, Installed, Intent, Place, Surroundings};
use contrapalma::deck::built_in;
use contrapalma::listen::Pulses;
use contrapalma::pcm::{Pcm, SampleRate, Speed, Stretching, decode, stretched, wav};
use contrapalma::phrase::{Speakers, Wish};
use contrapalma::review::plan::Limit;
use contrapalma::rhythm::Cycle;
use contrapalma::sound::SilentOutput;
use contrapalma::store::Store;
use contrapalma::world::{Calendar, Clock, Moment, Seed, SystemClock};
use divan::Bencher;
use divan::counter::ItemsCount;

fn main() {
    divan::main();
}

const SECONDS: u32 = 60;

/// A gliding tone with a click in each quarter of a second, in stereo.
#[expect(
    clippy::cast_possible_truncation,
    reason = "a sample in single precision"
)]
fn sound(seconds: u32) -> Pcm {
    let wave = |n: u32| {
        let t = f64::from(n) / 48_000.0;
        let click = (-(t % 0.25) * 120.0).exp();
        (0.3 * (1_000.0 * t + 100.0 * t * t).sin() + 0.4 * click * (5_000.0 * t).sin()) as f32
    };
    let samples = (0..seconds * 48_000).flat_map(|n| [wave(n), 0.7 * wave(n)]);
    Pcm::stereo(SampleRate::HZ_48000, samples.collect())
}

fn file(ending: &str) -> Option<Vec<u8>> {
    let mut bytes = Cursor::new(Vec::new());
    wav::write(&sound(SECONDS), &mut bytes).expect("memory can be written");
    if ending == "wav" {
        return Some(bytes.into_inner());
    }
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("a.wav"), bytes.into_inner()).expect("it can be written");
    let made = folder.path().join(format!("a.{ending}"));
    let mut command = Command::new("ffmpeg");
    command.args(["-nostdin", "-loglevel", "error", "-i", "a.wav"]);
    let ended = command.arg(&made).current_dir(folder.path()).status();
    ended.ok().filter(ExitStatus::success)?;
    std::fs::read(made).ok()
}

#[divan::bench(args = ["wav", "flac", "mp3", "ogg", "m4a"])]
fn decoding(bencher: Bencher<'_, '_>, ending: &str) {
    let Some(bytes) = file(ending) else {
        return;
    };
    bencher.counter(ItemsCount::new(SECONDS)).bench(|| {
        let mut recording = decode::open(Cursor::new(bytes.clone()), None).expect("a recording");
        let mut peak = 0.0_f32;
        while let Some(block) = recording.next_block() {
            peak = block.iter().fold(peak, |peak, x| peak.max(x.abs()));
        }
        peak
    });
}

#[divan::bench(args = [50, 75, 110])]
fn ten_seconds_stretched(bencher: Bencher<'_, '_>, percent: u16) {
    let sound = sound(10);
    let speed = Speed::new(percent).expect("in range");
    bencher
        .counter(ItemsCount::new(10_u32))
        .bench(|| stretched(&sound, speed));
}

/// From the key that plays a passage on the screen to its samples in the hands of the sound device, at
/// half the speed and under claps. Aim: 300 milliseconds, of which a device takes 20 to 60. The
/// passages: ten seconds, and the longest in twelves, of a file of five minutes, far from its begin.
#[divan::bench(args = [("wav", 6, 10), ("mp3", 6, 10), ("ogg", 6, 10), ("mp3", 12, 48)])]
fn key_to_sound(bencher: Bencher<'_, '_>, (ending, n_pulses, seconds): (&str, i64, u32)) {
    let folder = tempfile::tempdir().expect("a folder");
    let Some(file) = long_file(folder.path(), ending) else {
        return;
    };
    bencher
        .with_inputs(|| Screen::with(&file, n_pulses, seconds))
        .bench_values(Screen::play);
}

/// Five minutes in a format.
fn long_file(folder: &Path, ending: &str) -> Option<PathBuf> {
    let (minute, made) = (
        folder.join("minute.wav"),
        folder.join(format!("five.{ending}")),
    );
    let to = File::create(&minute).expect("it can be written");
    wav::write(&sound(SECONDS), to).expect("it can be written");
    let mut command = Command::new("ffmpeg");
    command.args(["-nostdin", "-loglevel", "error", "-stream_loop", "4", "-i"]);
    let ended = command.arg(&minute).arg(&made).status();
    ended.ok().filter(ExitStatus::success)?;
    Some(made)
}

/// The program without its screen, on silent output.
struct Screen {
    app: App,
    clock: Arc<dyn Clock>,
    inbox: Receiver<Done>,
    _data: tempfile::TempDir,
}

impl Screen {
    /// With a passage of so many seconds at the end of a file, in claps of threes.
    fn with(file: &Path, n_pulses: i64, seconds: u32) -> Self {
        let clock: Arc<dyn Clock> = Arc::new(SystemClock::start());
        let (to, inbox) = channel();
        let data = tempfile::tempdir().expect("a folder");
        let store = Store::open(data.path(), Seed(1), Moment(0)).expect("a store");
        let around = Surroundings {
            wish: Wish::default(),
            speakers: Speakers::Full,
            clock: Arc::clone(&clock),
            calendar: Calendar::default(),
            seed: Seed(1),
            output: Box::new(SilentOutput::new(Arc::clone(&clock))),
            no_sound: None,
            ear: None,
            decks: Decks::Given,
            installed: Installed::none(),
        };
        let deliver = move |done| to.send(done).is_ok();
        let app = App::open(around, store, built_in(), Limit::Questions(1), deliver);
        let app = app.expect("an engine");
        let mut screen = Self {
            app,
            clock,
            inbox,
            _data: data,
        };
        screen.open(file, n_pulses, seconds);
        screen
    }

    fn open(&mut self, file: &Path, n_pulses: i64, seconds: u32) {
        let cycle = Cycle::new(n_pulses).expect("a cycle");
        // Sixteen cycles at the most, of pulses that make up the passage.
        let gap = f64::from(seconds) / f64::from(16 * u32::try_from(n_pulses).expect("small"));
        let times = (0..).map(|n| 240.0 + gap * f64::from(n));
        let times: Vec<f64> = times.take_while(|time| *time < 299.0).collect();
        let (path, whole) = (file.to_owned(), file.to_owned());
        let source = Source {
            name: "five minutes".to_owned(),
            cycle,
            cycle_from: CycleFrom::Asked,
            pulses: Some(Given::Times(Pulses::new(times).expect("rising"))),
            notes: None,
            place: None,
            beside: None,
            open: Arc::new(move || decode::open(File::open(&path)?, None)),
            bytes: Arc::new(move || Ok(Box::new(File::open(&whole)?))),
        };
        self.app.open_recording(source).expect("a recording");
        self.until(|app| match app.place() {
            Place::Recording(recording) => recording.state == State::Known,
            _ => false,
        });
        for _ in 0..15 {
            self.step(Step::Go(Go::On));
        }
        self.step(Step::Until);
        self.step(Step::Claps(Claps::Threes));
        (0..5).for_each(|_| self.step(Step::Slower));
    }

    fn step(&mut self, step: Step) {
        let stamp = self.clock.stamp();
        let done = self.app.intend(Intent::Recording(step), stamp);
        done.expect("nothing refuses");
    }

    fn until(&mut self, is_so: impl Fn(&mut App) -> bool) {
        while !is_so(&mut self.app) {
            let done = self.inbox.recv().expect("the worker lives");
            self.app.done(done).expect("nothing refuses");
        }
    }

    fn play(mut self) -> Self {
        self.step(Step::Pause);
        self.until(|app| app.playhead().is_some());
        self
    }
}

/// How long it takes until a long passage can begin to sound. Aim: far below 300 milliseconds.
#[divan::bench(args = [50, 75, 110])]
fn first_chunk_of_a_passage(bencher: Bencher<'_, '_>, percent: u16) {
    let sound = sound(SECONDS);
    let speed = Speed::new(percent).expect("in range");
    bencher.bench(|| Stretching::new(&sound, speed).next());
}
