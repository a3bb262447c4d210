//! contrapalma trains the ear for cross-rhythm: it plays phrases that nobody has heard before over a
//! six-pulse cycle, asks how they group, where they begin and which clapping fits, explains every
//! miss, and brings every skill back before it fades.
//!
//! The modules in reading order, pure ones first; DEVELOPERS.md says who may import whom.
//!
//! | module | what it is |
//! | --- | --- |
//! | [`world`] | the only doors for time, chance and environment |
//! | [`label`] | text that came from outside and may be shown; names of files by content |
//! | [`mark`] | what a person says of a recording, and how sure |
//! | [`rhythm`] | cycles, pulses, layers and groupings in exact integers |
//! | [`accent`] | how strongly sounds state a grouping |
//! | [`phrase`] | recipe and seed to a phrase with a measured truth |
//! | [`quiz`] | questions, answers and the sitting |
//! | [`review`] | what is remembered, how well it is heard, what is asked next |
//! | [`report`] | what practice came to, in figures |
//! | [`pcm`] | samples, not music |
//! | [`listen`] | what a recording seems to state: evidence, never a verdict |
//! | [`sound`] | from a phrase to the ears |
//! | [`notate`] | a phrase as other people's files: MIDI, MusicXML, a printable sheet |
//! | [`deck`] | TOML to exercises, or faults with their places |
//! | [`class`] | how practice travels between learners and teachers |
//! | [`store`] | the log of attempts in SQLite |
//! | [`app`] | performs what a sitting asks for |
//! | [`tui`] | the screen |
//! | [`cli`] | the command line, and a sitting in lines of text |
#![cfg_attr(
    test,
    allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "tests compute with small known numbers"
    )
)]

pub mod label;
pub mod mark;
pub mod world;

pub mod rhythm;

pub mod accent;
pub mod phrase;
pub mod quiz;
pub mod report;
pub mod review;

pub mod pcm;

pub mod listen;
pub mod sound;

pub mod notate;

pub mod class;
pub mod deck;
pub mod store;

pub mod app;
pub mod tui;

pub mod cli;
