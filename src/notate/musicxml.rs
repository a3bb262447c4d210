//! MusicXML 4.0, partwise: one part a voice.

use super::bars::{Bar, Barring, Bars, Beat};
use super::midi::{NYLON_GUITAR, channel, percussion_key};
use super::written::{Chord, Join, Piece, beams, chords, pieces};
use super::xml::Xml;
use crate::phrase::{Note, Phrase, Pitch, Touch, Voice};
use crate::rhythm::Tempo;

/// Sixteenths, the unit of all durations, in a quarter.
const DIVISIONS: i64 = 4;

/// `phrase` as a MusicXML document under `title`. Each voice is a part, barred as `bars` says; a
/// pickup is a bar 0 of its own, and all other bars are full. Strings are at sounding pitch under a
/// clef that is read an octave lower, as guitars are written. Loudness goes along as a number for
/// players and is printed nowhere.
pub fn musicxml(phrase: &Phrase, title: &str, bars: Bars) -> String {
    let barring = Barring::of(phrase, bars);
    let voices = phrase.voices();
    let mut xml = Xml::new();
    xml.within("score-partwise", &[("version", "4.0")], |xml| {
        xml.text("movement-title", &[], title);
        xml.within("identification", &[], |xml| {
            xml.within("encoding", &[], |xml| {
                xml.text("software", &[], "contrapalma");
            });
        });
        xml.within("part-list", &[], |xml| {
            voices.iter().for_each(|voice| head(xml, *voice));
        });
        for (idx, voice) in voices.iter().enumerate() {
            let mut part = Part {
                voice: *voice,
                phrase,
                last: None,
                is_first: idx == 0,
            };
            part.write(xml, &barring.bars(Some(*voice)));
        }
    });
    xml.finish()
}

fn id(voice: Voice) -> String {
    format!("P-{}", voice.name())
}

fn instrument_id(voice: Voice) -> String {
    format!("I-{}", voice.name())
}

fn head(xml: &mut Xml, voice: Voice) {
    let instrument = [("id", &*instrument_id(voice))];
    xml.within("score-part", &[("id", &id(voice))], |xml| {
        xml.text("part-name", &[], voice.name());
        xml.within("score-instrument", &instrument, |xml| {
            xml.text("instrument-name", &[], voice.name());
        });
        xml.within("midi-instrument", &instrument, |xml| {
            xml.number("midi-channel", channel(voice) + 1);
            match percussion_key(voice) {
                // Counted from 1, other than the keys in a MIDI file.
                Some(key) => xml.number("midi-unpitched", key + 1),
                None => xml.number("midi-program", NYLON_GUITAR + 1),
            }
        });
    });
}

/// A part under way.
struct Part<'a> {
    voice: Voice,
    phrase: &'a Phrase,
    /// The bar before.
    last: Option<Bar>,
    /// Whether it is the first on the page, which carries the tempo.
    is_first: bool,
}

impl Part<'_> {
    fn write(&mut self, xml: &mut Xml, bars: &[Bar]) {
        let chords = chords(self.phrase, self.voice);
        xml.within("part", &[("id", &id(self.voice))], |xml| {
            for bar in bars {
                let number = bar.number.to_string();
                let mut attributes = vec![("number", &*number)];
                if bar.number == 0 {
                    attributes.push(("implicit", "yes"));
                }
                xml.within("measure", &attributes, |xml| self.bar(xml, bar, &chords));
                self.last = Some(*bar);
            }
        });
    }

    fn bar(&self, xml: &mut Xml, bar: &Bar, chords: &[Chord]) {
        self.attributes(xml, bar);
        let here = self.phrase.pace.at(bar.begins);
        let before = self.last.map(|bar| self.phrase.pace.at(bar.begins));
        if self.is_first && before != Some(here) {
            tempo(xml, here);
        }
        let pieces = pieces(chords, bar);
        // A pickup's rest is written as long as it is: readers take a bar's rest for a full bar's.
        if bar.number > 0 && pieces.iter().all(|piece| piece.notes.is_empty()) {
            rest_of_a_bar(xml, bar);
            return;
        }
        let mut spelling = Spelling::default();
        for (piece, beams) in pieces.iter().zip(beams(&pieces, bar)) {
            self.piece(xml, piece, &beams, &mut spelling);
        }
    }

    /// What changed since the bar before. A pickup stands under the metre of the bars to come.
    fn attributes(&self, xml: &mut Xml, bar: &Bar) {
        let metre = |bar: &Bar| {
            let n_pulses = i64::try_from(self.phrase.cycle.n_pulses()).unwrap_or(bar.n_pulses);
            Bar { n_pulses, ..*bar }.metre()
        };
        let metre_before = self.last.as_ref().map(metre);
        if metre_before == Some(metre(bar)) {
            return;
        }
        xml.within("attributes", &[], |xml| {
            if self.last.is_none() {
                xml.number("divisions", DIVISIONS);
                xml.within("key", &[], |xml| xml.number("fifths", 0));
            }
            xml.within("time", &[], |xml| {
                xml.number("beats", metre(bar).beats);
                let beat = match metre(bar).beat {
                    Beat::Quarter => 4,
                    Beat::Eighth => 8,
                };
                xml.number("beat-type", beat);
            });
            if self.last.is_none() {
                clef(xml, self.voice);
            }
        });
    }

    fn piece(&self, xml: &mut Xml, piece: &Piece<'_>, beams: &[&str], spelling: &mut Spelling) {
        if piece.notes.is_empty() {
            xml.within("note", &[], |xml| {
                xml.empty("rest", &[]);
                xml.number("duration", piece.len);
                xml.text("voice", &[], "1");
                value(xml, piece);
            });
        }
        for (idx, note) in piece.notes.iter().enumerate() {
            let percent = format!("{:.2}", f64::from(note.loudness.velocity()) / 0.9);
            xml.within("note", &[("dynamics", &percent)], |xml| {
                if idx > 0 {
                    xml.empty("chord", &[]);
                }
                self.sounding(xml, piece, note, spelling);
                if idx == 0 {
                    for (level, beam) in (1..).zip(beams) {
                        xml.text("beam", &[("number", &i64::to_string(&level))], beam);
                    }
                }
                ties(xml, piece, "tied");
            });
        }
    }

    /// A note of a piece up to its beams, in the order that the format prescribes.
    fn sounding(&self, xml: &mut Xml, piece: &Piece<'_>, note: &Note, spelling: &mut Spelling) {
        let mut accidental = None;
        if let Some(pitch) = note.pitch {
            let spelt = Spelt::of(pitch);
            spelt.write(xml);
            accidental = spelling.accidental(spelt, piece.from_before);
        } else {
            xml.within("unpitched", &[], |xml| {
                // The middle of the one line.
                xml.text("display-step", &[], "E");
                xml.number("display-octave", 4);
            });
        }
        xml.number("duration", piece.len);
        ties(xml, piece, "tie");
        xml.empty("instrument", &[("id", &instrument_id(self.voice))]);
        xml.text("voice", &[], "1");
        value(xml, piece);
        if let Some(accidental) = accidental {
            xml.text("accidental", &[], accidental);
        }
        if note.touch == Touch::Stopped {
            xml.text("notehead", &[], "x");
        }
    }
}

fn clef(xml: &mut Xml, voice: Voice) {
    if voice.is_strings() {
        xml.within("clef", &[], |xml| {
            xml.text("sign", &[], "G");
            xml.number("line", 2);
            xml.number("clef-octave-change", -1);
        });
    } else {
        xml.within("clef", &[], |xml| xml.text("sign", &[], "percussion"));
        xml.within("staff-details", &[], |xml| xml.number("staff-lines", 1));
    }
}

/// The tempo in print, by the pulse, and for players, who want quarters. Where it moves within a bar
/// the score has it at the next one; the MIDI file has every pulse.
fn tempo(xml: &mut Xml, tempo: Tempo) {
    let hundredths = tempo.hundredths();
    xml.within("direction", &[("placement", "above")], |xml| {
        xml.within("direction-type", &[], |xml| {
            xml.within("metronome", &[], |xml| {
                xml.text("beat-unit", &[], "eighth");
                xml.text("per-minute", &[], &tempo.to_string());
            });
        });
        let quarters = format!("{:.3}", f64::from(hundredths) / 200.0);
        xml.empty("sound", &[("tempo", &quarters)]);
    });
}

fn rest_of_a_bar(xml: &mut Xml, bar: &Bar) {
    xml.within("note", &[], |xml| {
        xml.empty("rest", &[("measure", "yes")]);
        // Two sixteenths to the pulse.
        xml.number("duration", bar.n_pulses * 2);
        xml.text("voice", &[], "1");
    });
}

fn value(xml: &mut Xml, piece: &Piece<'_>) {
    let value = piece.value();
    xml.text("type", &[], value.name);
    for _ in 0..value.n_dots {
        xml.empty("dot", &[]);
    }
}

/// Ties, for players as `tie` and, within notations, in print as `tied`.
fn ties(xml: &mut Xml, piece: &Piece<'_>, name: &str) {
    let ends = [("stop", piece.from_before), ("start", piece.into_next)];
    let tied = ends.into_iter().filter(|(_, join)| *join == Join::Tied);
    let types: Vec<&str> = tied.map(|(kind, _)| kind).collect();
    let write = |xml: &mut Xml| {
        for kind in &types {
            xml.empty(name, &[("type", kind)]);
        }
    };
    if name == "tie" {
        write(xml);
    } else if !types.is_empty() {
        xml.within("notations", &[], write);
    }
}

/// A pitch as it is spelt.
#[derive(Clone, Copy)]
struct Spelt {
    step: &'static str,
    alter: i64,
    octave: i64,
}

impl Spelt {
    /// Sharps for C, F and G, flats for E and B, as E and A Phrygian and their dominants have them;
    /// a capo moves the rest with it.
    fn of(pitch: Pitch) -> Self {
        const STEPS: [(&str, i64); 12] = [
            ("C", 0),
            ("C", 1),
            ("D", 0),
            ("E", -1),
            ("E", 0),
            ("F", 0),
            ("F", 1),
            ("G", 0),
            ("G", 1),
            ("A", 0),
            ("B", -1),
            ("B", 0),
        ];
        let (step, alter) = STEPS[usize::from(pitch.0 % 12)];
        Self {
            step,
            alter,
            octave: i64::from(pitch.0 / 12) - 1,
        }
    }

    fn write(self, xml: &mut Xml) {
        xml.within("pitch", &[], |xml| {
            xml.text("step", &[], self.step);
            if self.alter != 0 {
                xml.number("alter", self.alter);
            }
            xml.number("octave", self.octave);
        });
    }
}

/// The accidentals that stand in a bar so far.
#[derive(Default)]
struct Spelling {
    standing: Vec<Spelt>,
}

impl Spelling {
    /// The sign that must be printed before a note, if any; a tie carries its sign along.
    fn accidental(&mut self, spelt: Spelt, from_before: Join) -> Option<&'static str> {
        let line = |known: &&mut Spelt| known.step == spelt.step && known.octave == spelt.octave;
        let before = match self.standing.iter_mut().find(line) {
            Some(known) => std::mem::replace(&mut known.alter, spelt.alter),
            None => {
                self.standing.push(spelt);
                0
            }
        };
        match spelt.alter {
            alter if alter == before || from_before == Join::Tied => None,
            1 => Some("sharp"),
            -1 => Some("flat"),
            _ => Some("natural"),
        }
    }
}
