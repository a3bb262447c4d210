//! A phrase as other people's files: a MIDI file, a MusicXML document, a sheet to print.
//!
//! Read [`Bars`] first: it says how the cycles are barred, which the files need and the music does
//! not. [`midi()`] and [`musicxml()`] write one phrase, [`sheet()`] and [`html()`] a list of phrases
//! with its key, in pages of SVG and in one HTML document.
//! All give back bytes or text and are pure: the same phrase makes the same file.
//!
//! A pulse is an eighth note and lasts 240 ticks, so that a quarter has 480. Files begin at zero
//! where the phrase comes in, if it has a pickup, and else on the first count of the cycle in which
//! it comes in: what is silent there is rests. Notes stand where they are counted; the spread of a
//! strum and the unevenness of the hand belong to sound and are left out.
//!
//! Here a cycle is a bar, because the formats know nothing else. Neither the MIDI file, nor the
//! MusicXML, nor the questions of a sheet say the feel in words. Nothing here opens a file.

mod bars;
mod midi;
mod musicxml;
mod sheet;
mod written;
mod xml;

pub use bars::Bars;
pub use midi::midi;
pub use musicxml::musicxml;
pub use sheet::{Asked, Item, PHRASES_A_PAGE, Page, html, sheet};
pub use xml::{Attribute, Xml};

#[cfg(test)]
mod tests;
