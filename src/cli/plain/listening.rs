//! Phrases that are only listened to, in lines of text: told what they are, and nothing asked.

use super::keys::{LISTENING, Said, while_listening};
use super::tell::{tell_listened, tell_listening};
use super::{Ended, Plain, Told, key, unknown};
use crate::app::{Intent, Place};
use crate::world::Stamp;

impl Plain {
    /// Tells what is listened to, and takes the lines that came.
    pub(super) fn listen(&mut self) -> Result<(), Ended> {
        while let Place::Listening(listening) = self.app.place() {
            if self.told.is_none() {
                self.told = Some(Told::Listening);
                tell_listening(listening)?;
            }
            let told = match (&listening.told, &listening.refused) {
                (Some((question, _)), _) => Told::Listened(key(question)),
                (None, Some(_)) => Told::Refused,
                (None, None) => return Ok(()),
            };
            if self.told != Some(told) {
                self.told = Some(told);
                self.voice = 0;
                self.n_listened += u32::from(told != Told::Refused);
                tell_listened(listening)?;
            }
            let Some(line) = self.waiting.pop_front() else {
                if self.closed {
                    self.app.intend(Intent::Leave, self.clock.stamp())?;
                }
                return Ok(());
            };
            self.handled.one();
            self.take_listening(line.text.trim(), line.stamp)?;
        }
        Ok(())
    }

    fn take_listening(&mut self, line: &str, stamp: Stamp) -> Result<(), Ended> {
        match while_listening(line) {
            Said::Intent(intent) => Ok(self.app.intend(intent, stamp)?),
            Said::Voice => self.next_voice(stamp),
            Said::Help => self.help(LISTENING),
            Said::Marks(_) | Said::Unknown => unknown(line, LISTENING),
        }
    }
}
