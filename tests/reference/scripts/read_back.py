"""Reads back, with other people's libraries, the MIDI and MusicXML files that the program writes.

PyPI: mido, music21, lxml and musicxml (for the MusicXML 4.0 schema that it carries); versions in requirements.txt.
Usage: cargo build && python read_back.py PATH_OF_THE_PROGRAM
Writes ../fixtures/read_back.json: for some phrases the onsets, durations, pitches and bars as mido and music21
read them, and a fingerprint (FNV-1a, 64 bits) of each file that was read. The test `tests/it/read_back.rs` compares
it with the phrases. Run this again whenever the generator or a writer is changed on purpose, and never edit the result.

Ticks are 480 to the quarter; pitches MIDI numbers, null without pitch.
"""
import json, re, subprocess, sys, tempfile
from fractions import Fraction
from importlib.metadata import version
from pathlib import Path

import mido, music21, musicxml
from lxml import etree

OUT = Path(__file__).resolve().parent.parent / "fixtures" / "read_back.json"
CASES = [  # exercise, feel, level in dB, seed, bars
    ("plain", "threes", 5, 1, "threes"),
    ("plain", "twos", 5, 2, "felt"),
    ("plain", "in-turn", 6, 3, "felt"),
    ("bass", "both", 6, 4, "felt"),
    ("bass", "either", 6, 5, "twos"),
    ("bass", "in-turn", 6, 6, "felt"),
    ("chords", "both", 8, 7, "twos"),
    ("chords", "twos", 3, 8, "threes"),
    ("count-six", "threes", 5, 9, "threes"),
    ("count-six-alone", "twos", 5, 10, "felt"),
    ("start-count", "threes", 6, 11, "twos"),
    ("start-count", "twos", 6, 12, "felt"),
    ("start-taps", "threes", 6, 13, "threes"),
    ("start-taps", "twos", 6, 15, "twos"),
]
# The same of the deck ../fixtures/read_back.toml.
OWN_CASES = [
    ("strummed", "threes", 6, 1, "threes"),
    ("strummed", "twos", 6, 2, "twos"),
    ("strummed", "both", 6, 5, "threes"),
    ("strummed", "threes", 3, 8, "felt"),
    ("strummed", "twos", 6, 16, "felt"),
    ("plucked", "threes", 6, 1, "threes"),
    ("plucked", "twos", 6, 2, "felt"),
    ("plucked", "both", 6, 3, "twos"),
    ("plucked", "twos", 3, 9, "threes"),
    ("guajira", "mixed", 6, 1, "threes"),
    ("guajira", "mixed", 6, 4, "felt"),
    ("seven", "mixed", 6, 1, "twos"),
    ("seven", "mixed", 6, 2, "felt"),
    ("bell", "mixed", 6, 1, "threes"),
]


def fingerprint(data):
    h = 0xCBF29CE484222325
    for byte in data:
        h = (h ^ byte) * 0x100000001B3 % 2**64
    return f"{h:016x}"


def schema(folder):
    """The MusicXML 4.0 schema, as the package musicxml carries it. Of the two schemas that it imports only the names are declared
    here: the files use nothing of them."""
    foreign = {
        "xlink": ("http://www.w3.org/1999/xlink", ("href", "type", "role", "title", "show", "actuate")),
        "xml": ("http://www.w3.org/XML/1998/namespace", ("lang", "space")),
    }
    for name, (space, attributes) in foreign.items():
        lines = "".join(f'<xs:attribute name="{n}" type="xs:string"/>' for n in attributes)
        head = f'<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="{space}">'
        (folder / f"{name}.xsd").write_text(head + lines + "</xs:schema>")
    carried = Path(musicxml.__file__).parent / "generate_classes" / "musicxml_4_0.xsd"
    text = re.sub(r'schemaLocation="[^"]*/(x\w+\.xsd)"', r'schemaLocation="\1"', carried.read_text())
    (folder / "musicxml.xsd").write_text(text)
    return etree.XMLSchema(etree.parse(str(folder / "musicxml.xsd")))


def read_midi(path):
    song = mido.MidiFile(path)
    tempi, metres, tracks = [], [], []
    for track in song.tracks:
        now, on, notes, name, programs, channels = 0, {}, [], None, [], set()
        for m in track:
            now += m.time
            if m.type == "set_tempo":
                tempi.append([now, m.tempo])
            elif m.type == "time_signature":
                metres.append([now, m.numerator, m.denominator])
            elif m.type == "track_name":
                name = m.name
            elif m.type == "program_change":
                programs.append(m.program)
            elif m.type == "note_on" and m.velocity > 0:
                assert m.note not in on, "a key is struck while it is held"
                on[m.note] = (now, m.velocity)
                channels.add(m.channel)
            elif m.type in ("note_off", "note_on"):
                begin, velocity = on.pop(m.note)
                notes.append([begin, now - begin, m.note, velocity])
        assert not on, "a key is never released"
        if name:
            tracks.append({"name": name, "programs": programs, "channels": sorted(channels), "ends": now, "notes": sorted(notes)})
    return {"format": song.type, "division": song.ticks_per_beat, "tempi": tempi, "metres": metres, "tracks": tracks,
            "seconds": round(song.length, 6)}


def ticks(quarters):
    exact = Fraction(quarters).limit_denominator(1000) * 480
    assert exact.denominator == 1
    return int(exact)


def read_musicxml(path):
    score = music21.converter.parse(path, forceSource=True)
    parts = []
    for part in score.parts:
        bars, metre = [], None
        for bar in part.getElementsByClass(music21.stream.Measure):
            metre = bar.timeSignature or metre
            filled = sum((n.quarterLength for n in bar.notesAndRests), Fraction(0))
            bars.append([bar.number, ticks(bar.offset), ticks(filled), metre.numerator, metre.denominator])
        notes = []
        for n in part.stripTies().flatten().notes:
            is_knock = isinstance(n, (music21.note.Unpitched, music21.percussion.PercussionChord))
            pitches = [None] if is_knock else [p.midi for p in n.pitches]
            notes += [[ticks(n.offset), ticks(n.quarterLength), p] for p in pitches]
        parts.append({"name": part.partName, "bars": bars, "notes": sorted(notes, key=lambda n: (n[0], n[2] or 0))})
    marks = [m.number for m in score.recurse().getElementsByClass(music21.tempo.MetronomeMark)]
    return {"title": score.metadata.movementName, "tempo": marks, "parts": parts}


def main():
    program, cases = sys.argv[1], []
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        xsd = schema(folder)
        own = ["--deck", str(OUT.with_suffix(".toml"))]
        for (exercise, feel, level, seed, bars), deck in [(c, []) for c in CASES] + [(c, own) for c in OWN_CASES]:
            files = {"midi": folder / "a.mid", "musicxml": folder / "a.musicxml", "json": folder / "a.json"}
            command = [program, "phrase", exercise, "--feel", feel, "--level", str(level), "--seed", str(seed), "--bars", bars] + deck
            for name, path in files.items():
                command += [f"--{name}", str(path)]
            subprocess.run(command, check=True)
            xsd.assertValid(etree.parse(str(files["musicxml"])))
            cases.append({
                "exercise": exercise, "feel": feel, "level": level, "seed": seed, "bars": bars,
                "generator": json.loads(files["json"].read_text())["generator"],
                "midi_fingerprint": fingerprint(files["midi"].read_bytes()),
                "musicxml_fingerprint": fingerprint(files["musicxml"].read_bytes()),
                "midi": read_midi(files["midi"]), "musicxml": read_musicxml(files["musicxml"]),
            })
            print(exercise, feel, "read back and valid", file=sys.stderr)
    source = f"mido {version('mido')}, music21 {music21.VERSION_STR}, MusicXML 4.0 schema"
    rows = ",\n".join(json.dumps(case) for case in cases)
    OUT.write_text('{"source": ' + json.dumps(source) + ', "cases": [\n' + rows + "\n]}\n")


main()
