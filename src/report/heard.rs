//! From what level a skill is heard.

use crate::phrase::Level;
use crate::quiz::Kind;
use crate::review::Standing;

/// From what level a skill is heard; `None` while too few phrases were answered to say, and where
/// claps answer: a hand that holds its layer says nothing of what the ear needs.
pub fn heard_from(standing: &Standing) -> Option<Level> {
    const ENOUGH: u32 = 6;
    let is_heard = !matches!(standing.kind(), Kind::Clap | Kind::TwoHands);
    (is_heard && standing.answered() >= ENOUGH).then(|| standing.threshold().heard_from())
}
