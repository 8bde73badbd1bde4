//! Flags about what plays a signal.

use crate::diagnostics::VerbFailure;
use crate::signal_output::Play;
use crate::sound::CardPlay;
use clap::Args;
use std::path::PathBuf;

/// The output that plays the signal of a session.
#[derive(Args, Debug)]
pub struct PlayFlags {
    /// Output that takes the signal as it plays. A file, pipe or device gets codes for the converters of --rig, else frames of the usual
    /// channels, 32-bit floats; little-endian. A file that is there stays: the signal goes to one with the next number. audio:NAME is a sound card, which needs --rig; audio:? lists the cards. Without it
    /// only the clock runs, for a rig that plays by itself.
    #[arg(long, value_name = "OUTPUT")]
    play: Option<PathBuf>,
    /// The sound card is DC-coupled: it holds a level at a meter. Without it the rig's "ac_coupling_hz" says which tests are
    /// possible.
    #[arg(long, requires = "play")]
    dc_coupled: bool,
}

impl PlayFlags {
    /// The output.
    pub fn play(self) -> Result<Option<Play>, VerbFailure> {
        let card = self
            .play
            .as_ref()
            .and_then(|path| path.to_str())
            .and_then(|text| CardPlay::of(text, self.dc_coupled, None));
        match (card, self.play) {
            (Some(card), _) => Ok(Some(Play::Card(card))),
            (None, Some(_)) if self.dc_coupled => {
                Err(VerbFailure::input("--dc-coupled is about a sound card: --play audio:NAME"))
            }
            (None, path) => Ok(path.map(Play::File)),
        }
    }
}
