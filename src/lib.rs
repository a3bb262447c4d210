//! contrapalma trains the ear for cross-rhythm.
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
pub mod world;

pub mod rhythm;

pub mod accent;
pub mod phrase;
pub mod quiz;
pub mod review;

pub mod pcm;
pub mod sound;

pub mod notate;

pub mod deck;
pub mod store;

pub mod app;
pub mod tui;

pub mod cli;
