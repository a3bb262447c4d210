"""Races the program against librosa on the same recordings in the same run, and measures memory and the first picture.

Debian: ffmpeg, util-linux (taskset), time. PyPI: librosa, soundfile; versions in requirements.txt.
Usage: python race_librosa.py PATH_OF_THE_PROGRAM [ROUNDS]
The recording is a phrase of the program, again and again, in stereo at 44.1 kHz: five minutes as WAV, FLAC, MP3 and Ogg,
and ten minutes of each for memory. Both run on one core (taskset), and the time that they had of it counts, so that
what else the machine does is no matter. Of the program the whole process counts: its start,
decoding, finding the pulse, the lean of each cycle, and JSON. Of librosa what is done with the file alone, its modules
loaded and run once on a short sound before, and its whole process likewise. It hears the file at 22,050 Hz, as it does by default; "onset and beat"
is onset.onset_strength and beat.beat_track of samples that are there already, "with decoding" librosa.load as well.
The first picture is the time from the start of the process in a pseudo-terminal until the strip of cycles is drawn.
"""
import json, os, pty, re, resource, select, subprocess, sys, tempfile, time
from pathlib import Path

BEATS = """
import json, sys, time, warnings
warnings.simplefilter("ignore")
import librosa
def beats(samples, rate):
    strength = librosa.onset.onset_strength(y=samples, sr=rate)
    return librosa.beat.beat_track(onset_envelope=strength, sr=rate)
"""
COLD = BEATS + "beats(*librosa.load(sys.argv[1]))"
WARM = BEATS + """
samples, rate = librosa.load(sys.argv[1], duration=20)
beats(samples, rate)
begun = time.process_time()
samples, rate = librosa.load(sys.argv[1])
loaded = time.process_time()
beats(samples, rate)
print(json.dumps([loaded - begun, time.process_time() - loaded]))
"""
ONE_CORE = ["taskset", "-c", "0"]
ENV = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "NUMBA_NUM_THREADS": "1"}


def run(command):
    done = subprocess.run([*map(str, command)], check=True, capture_output=True, env=ENV, text=True)
    return done.stdout, done.stderr


def recording(program, folder, minutes, name):
    phrase, file = folder / "phrase.wav", folder / name
    if not phrase.exists():
        run([program, "phrase", "plain", "--seed", 3, "--feel", "threes", "--wav", phrase])
    if not file.exists():
        run(["ffmpeg", "-v", "error", "-y", "-stream_loop", -1, "-i", phrase, "-t", 60 * minutes, "-ar", 44100, file])
    return file


def whole(command):
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    run([*ONE_CORE, *command])
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def raced(program, data, file):
    """Seconds of ours, of loading by librosa, of onset and beat by it, and of its process with all that it takes."""
    mine = whole([program, "listen", "--json", "--data", data, file])
    load, beat = json.loads(run([*ONE_CORE, sys.executable, "-c", WARM, file])[0])
    return mine, load, beat, whole([sys.executable, "-c", COLD, file])


def peak_megabytes(program, data, file):
    told = run(["/usr/bin/time", "-f", "%M", program, "listen", "--json", "--data", data, file])[1]
    return int(told.split()[-1]) / 1024


def first_picture(program, data, file):
    begun = time.perf_counter()
    pid, master = pty.fork()
    if pid == 0:
        os.environ["TERM"] = "xterm-256color"
        os.execv(program, [program, "listen", "--silent", "--data", str(data), str(file)])
    import fcntl, struct, termios
    fcntl.ioctl(master, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    drawn = b""
    while b"leans to" not in re.sub(rb"\x1b\[[0-9;?]*[A-Za-z]", b" ", drawn) and b"ready:" not in drawn:
        if not select.select([master], [], [], 60)[0]:
            raise SystemExit("no picture within a minute")
        drawn += os.read(master, 65536)
    seconds = time.perf_counter() - begun
    os.write(master, b"qq")
    try:
        while os.read(master, 65536):
            pass
    except OSError:
        pass
    os.waitpid(pid, 0)
    return seconds


def middle(values):
    return sorted(values)[len(values) // 2]


def main(program, rounds="5"):
    program = str(Path(program).resolve())
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        data = folder / "data"
        for ending in ("wav", "flac", "mp3", "ogg"):
            file, seconds = recording(program, folder, 5, f"five.{ending}"), 300
            races = [raced(program, data, file) for _ in range(int(rounds))]
            mine, load, beat, cold = (middle(column) for column in zip(*races))
            print(f"{ending}: {mine:.2f} s, {seconds / mine:.0f} times real time; librosa's onset and beat {beat:.2f} s, "
                  f"{beat / mine:.1f} times as long; with decoding {load + beat:.2f} s, {(load + beat) / mine:.1f} times; "
                  f"its whole process {cold:.2f} s, {cold / mine:.1f} times")
        for ending in ("wav", "flac", "mp3", "ogg"):
            file = recording(program, folder, 10, f"ten.{ending}")
            print(f"{ending}: at most {peak_megabytes(program, data, file):.0f} MB for ten minutes")
            (folder / f"ten.{ending}").unlink()
        for ending in ("wav", "mp3"):
            seen = middle([first_picture(program, data, folder / f"five.{ending}") for _ in range(3)])
            print(f"{ending}: first picture of five minutes after {seen:.1f} s")


if __name__ == "__main__":
    main(*sys.argv[1:])
