//! What takes claps, whatever hears them.

use crate::world::Stamp;

/// Takes claps as they are heard.
pub trait ClapInput {
    /// What it is called, for people.
    fn name(&self) -> &str;

    /// When claps were heard since the last look, in order. To be asked at least once a second.
    fn claps(&mut self) -> Vec<Stamp>;

    /// How often sound was lost, and with it perhaps claps. Compare two of them to learn what happened
    /// between.
    fn n_lost(&self) -> u64;

    /// Whether it went away for good.
    fn is_lost(&self) -> bool;
}

/// A microphone that is there, and how to begin to listen to it: before that it hears nothing.
pub struct Ear {
    /// What it is called, for people.
    pub name: String,
    /// Begins to listen.
    pub open: Box<dyn Fn() -> Result<Box<dyn ClapInput>, NoMicrophone>>,
}

/// A microphone cannot be listened to.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no microphone: {reason}")]
pub struct NoMicrophone {
    /// What the system said.
    pub reason: String,
}
