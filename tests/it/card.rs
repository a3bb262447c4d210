//! A virtual sound card, and what is heard from it.

use std::cell::Cell;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{self, Receiver};
use std::thread;
use std::time::{Duration, Instant};

use contrapalma::world::instant_now;
use tempfile::TempDir;

use crate::terminal::PATIENCE;

/// What the card is made of, for people whose machine has it not.
const NEEDS: &str = "the virtual sound card did not start: it needs the packages pulseaudio, \
                     pulseaudio-utils and libasound2-plugins \
                     (apt-get install pulseaudio pulseaudio-utils libasound2-plugins)";
/// The card's name as a source of sound.
const MONITOR: &str = "virtual_card.monitor";
/// Frames that are handed over at once: ten milliseconds at 48 kHz.
const BLOCK: usize = 480;

/// A virtual sound card that lives as long as this.
pub(crate) struct Card {
    dir: TempDir,
    /// What programs on it hear by default.
    source: Cell<&'static str>,
}

impl Card {
    /// Starts a card of its own for one test.
    pub(crate) fn start() -> Self {
        let card = Self {
            dir: TempDir::new().expect("a temporary folder"),
            source: Cell::new(MONITOR),
        };
        let out = card.script("start").output().expect("bash can be started");
        let said = String::from_utf8_lossy(&out.stderr);
        assert!(out.status.success(), "{NEEDS}: {said}");
        card
    }

    /// The variables by which programs find the card.
    pub(crate) fn environment(&self) -> Vec<(String, String)> {
        let script = r#"eval "$("$0" env)" && env"#;
        let mut command = Command::new("bash");
        command.args(["-c", script]).arg(path());
        let out = command.env("VSC_DIR", self.state()).output();
        let out = out.expect("bash can be started");
        assert!(out.status.success(), "the card does not run");
        let said = String::from_utf8(out.stdout).expect("plain text");
        let is_ours = |name: &str| name.starts_with("PULSE_") || name == "ALSA_CONFIG_PATH";
        let pairs = said.lines().filter_map(|line| line.split_once('='));
        pairs
            .filter(|(name, _)| is_ours(name))
            .map(|(name, value)| match name {
                "PULSE_SOURCE" => (name.to_owned(), self.source.get().to_owned()),
                _ => (name.to_owned(), value.to_owned()),
            })
            .collect()
    }

    /// Starts capturing into a file, for so many seconds, and waits until it does.
    pub(crate) fn capture(&self, file: &Path, seconds: &str) -> Child {
        let mut command = self.script("capture");
        let child = command.arg(file).arg(seconds).spawn();
        let child = child.expect("bash can be started");
        let (_quiet, never) = mpsc::channel::<()>();
        // The header is 44 bytes long: more says that sound, if only silence, comes in.
        let captures = || file.metadata().is_ok_and(|meta| meta.len() > 44);
        let captures = (0..1_000).any(|_| {
            never.recv_timeout(Duration::from_millis(10)).ok();
            captures()
        });
        assert!(captures, "nothing was captured within ten seconds");
        child
    }

    /// Listens to the card from now on.
    pub(crate) fn listen(&self) -> Listener {
        let mut listener = Listener::start(&self.environment());
        listener.hear(BLOCK);
        listener
    }

    /// Gives the card a microphone that hears only what a [`Mouth`] says.
    #[cfg(feature = "listen-in")]
    pub(crate) fn add_microphone(&self) {
        let make = [
            "load-module",
            "module-null-sink",
            "sink_name=virtual_mic",
            "rate=48000",
        ];
        let mut command = Command::new("pactl");
        command.args(make).envs(self.environment());
        let out = command.output().expect(NEEDS);
        let said = String::from_utf8_lossy(&out.stderr);
        assert!(out.status.success(), "{said}");
        self.source.set("virtual_mic.monitor");
    }

    /// Opens the mouth before the microphone.
    #[cfg(feature = "listen-in")]
    pub(crate) fn open_mouth(&self) -> Mouth {
        Mouth::start(&self.environment())
    }

    fn script(&self, what: &str) -> Command {
        let mut command = Command::new(path());
        command.arg(what).env("VSC_DIR", self.state());
        command
    }

    fn state(&self) -> PathBuf {
        self.dir.path().join("card")
    }
}

impl Drop for Card {
    fn drop(&mut self) {
        self.script("stop").status().ok();
    }
}

fn path() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/virtual-sound-card")
}

/// What the card plays, while it plays it: one channel at 48 kHz.
pub(crate) struct Listener {
    recorder: Child,
    blocks: Receiver<(Instant, Vec<f64>)>,
    heard: Vec<f64>,
    /// When how many frames had come.
    clock: Vec<(Instant, usize)>,
}

impl Listener {
    fn start(environment: &[(String, String)]) -> Self {
        let form = ["--raw", "--format=s16le", "--rate=48000", "--channels=2"];
        let mut command = Command::new("parec");
        command.arg(format!("--device={MONITOR}")).args(form);
        command.arg("--latency-msec=10");
        command.envs(environment.iter().cloned());
        command.stdin(Stdio::null()).stdout(Stdio::piped());
        let mut recorder = command.spawn().expect(NEEDS);
        let mut sound = recorder.stdout.take().expect("it was piped");
        let (to, blocks) = mpsc::channel();
        thread::spawn(move || {
            let mut bytes = [0; 4 * BLOCK];
            while sound.read_exact(&mut bytes).is_ok() {
                if to.send((instant_now(), mono(&bytes))).is_err() {
                    return;
                }
            }
        });
        Self {
            recorder,
            blocks,
            heard: Vec::new(),
            clock: Vec::new(),
        }
    }

    /// Everything that was heard so far.
    pub(crate) fn heard(&self) -> &[f64] {
        &self.heard
    }

    /// Takes in what has come meanwhile; how many frames there are now.
    pub(crate) fn catch_up(&mut self) -> usize {
        while let Ok(block) = self.blocks.try_recv() {
            self.take(&block);
        }
        self.heard.len()
    }

    /// Waits for the next block.
    #[track_caller]
    pub(crate) fn next_block(&mut self) -> Vec<f64> {
        let block = self.blocks.recv_timeout(PATIENCE);
        let block = block.expect("the card plays, if only silence");
        self.take(&block);
        block.1
    }

    fn take(&mut self, (at, block): &(Instant, Vec<f64>)) {
        self.heard.extend(block);
        self.clock.push((*at, self.heard.len()));
    }

    /// The frame that was heard at a moment, but for a constant: what the second around it says in the
    /// middle, since blocks come unevenly.
    pub(crate) fn frame_at(&self, at: Instant) -> f64 {
        let signed = |moment: Instant| match at.checked_duration_since(moment) {
            Some(since) => since.as_secs_f64(),
            None => -moment.duration_since(at).as_secs_f64(),
        };
        let near = self.clock.iter().map(|(moment, n)| (signed(*moment), *n));
        let near = near.filter(|(since, _)| since.abs() < 0.5);
        let mut frames: Vec<f64> = near.map(|(since, n)| real(n) + 48_000.0 * since).collect();
        frames.sort_by(f64::total_cmp);
        *frames
            .get(frames.len() / 2)
            .expect("something was heard around it")
    }

    /// Listens on for so many frames.
    #[track_caller]
    pub(crate) fn hear(&mut self, n_frames: usize) {
        let until = self.catch_up() + n_frames;
        while self.heard.len() < until {
            self.next_block();
        }
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        self.recorder.kill().ok();
        self.recorder.wait().ok();
    }
}

/// The mean of two channels of 16 bits.
fn mono(bytes: &[u8]) -> Vec<f64> {
    let sample = |low: u8, high: u8| f64::from(i16::from_le_bytes([low, high])) / 32_768.0;
    let frames = bytes.chunks_exact(4);
    let mean = |frame: &[u8]| 0.5 * (sample(frame[0], frame[1]) + sample(frame[2], frame[3]));
    frames.map(mean).collect()
}

fn real(n: usize) -> f64 {
    f64::from(u32::try_from(n).expect("frames of some hours"))
}

/// What is heard by the card's microphone.
#[cfg(feature = "listen-in")]
pub(crate) struct Mouth {
    player: Child,
    /// An idle card stands still: somebody has to listen all the time.
    holder: Child,
    sound: std::process::ChildStdin,
    /// Lines of the player, which says when it had nothing to play.
    told: Receiver<String>,
    /// What is still to be said.
    left: std::collections::VecDeque<i16>,
}

#[cfg(feature = "listen-in")]
impl Mouth {
    /// Frames by which it is ahead of the card, so that a busy machine does not let it run dry.
    pub(crate) const AHEAD: usize = 40 * BLOCK;

    fn start(environment: &[(String, String)]) -> Self {
        let form = ["--raw", "--format=s16le", "--rate=48000", "--channels=1"];
        let begin = |program: &str, how: [&str; 2], stdin: Stdio, stderr: Stdio| {
            let mut command = Command::new(program);
            command.args(how).args(form).arg("--verbose");
            command.envs(environment.iter().cloned());
            command.stdin(stdin).stdout(Stdio::null()).stderr(stderr);
            command.spawn().expect(NEEDS)
        };
        let heard = ["--device=virtual_mic.monitor", "--latency-msec=30"];
        let holder = begin("parec", heard, Stdio::null(), Stdio::null());
        let said = ["--device=virtual_mic", "--latency-msec=400"];
        let mut player = begin("pacat", said, Stdio::piped(), Stdio::piped());
        let told = lines_of(player.stderr.take().expect("it was piped"));
        let sound = player.stdin.take().expect("it was piped");
        let left = std::collections::VecDeque::new();
        let mut mouth = Self {
            player,
            holder,
            sound,
            told,
            left,
        };
        (0..Self::AHEAD / BLOCK).for_each(|_| mouth.say_block());
        mouth
    }

    /// Says the next ten milliseconds: once for each block that the card has played.
    pub(crate) fn say_block(&mut self) {
        use std::io::Write as _;
        let block = (0..BLOCK).flat_map(|_| self.left.pop_front().unwrap_or(0).to_le_bytes());
        let bytes: Vec<u8> = block.collect();
        self.sound.write_all(&bytes).expect("the card takes it");
    }

    /// Claps: these samples come after so many frames of silence.
    pub(crate) fn clap_after(&mut self, silence: usize, samples: &[i16]) {
        let silence = std::iter::repeat_n(0, silence);
        self.left = silence.chain(samples.iter().copied()).collect();
    }

    /// Whether it had nothing to say in time. All that it says comes later from then on.
    pub(crate) fn has_run_dry(&self) -> bool {
        self.told.try_iter().any(|line| line.contains("underrun"))
    }
}

/// What is written, line by line, until it is closed.
#[cfg(feature = "listen-in")]
fn lines_of(from: impl std::io::Read + Send + 'static) -> Receiver<String> {
    use std::io::BufRead as _;
    let (to, lines) = mpsc::channel();
    thread::spawn(move || {
        for line in std::io::BufReader::new(from).lines().map_while(Result::ok) {
            if to.send(line).is_err() {
                return;
            }
        }
    });
    lines
}

#[cfg(feature = "listen-in")]
impl Drop for Mouth {
    fn drop(&mut self) {
        for child in [&mut self.player, &mut self.holder] {
            child.kill().ok();
            child.wait().ok();
        }
    }
}
