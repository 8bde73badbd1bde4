//! `console`.

use super::play::PlayFlags;
use super::values;
use crate::console::Request;
use crate::diagnostics::VerbFailure;
use clap::Args;
use pulsewright_core::time::FrameRate;
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;

/// Open the bench console in a browser: choose a rhythm, see and hold it, change it, stop it.
///
/// The page comes from this program, at an address of this computer alone; the link works once, and the program prints the next
/// one. Nothing plays before two confirmations on the page: no person is connected, and the outputs were verified with a meter.
/// Everything that is played is kept in the folder as a script that renders to the same bytes. Ctrl+C ends it, with outputs at
/// rest.
#[derive(Args, Debug)]
#[command(after_help = "For test benches only: never to a person, nor to equipment connected to one.\n\n\
    Examples:\n  \
    pulsewright console\n  \
    pulsewright console examples/plan-transport-monitor.json\n  \
    pulsewright console --play /dev/rig --rig bench.json --frame-rate 1000")]
pub struct ConsoleFlags {
    /// A plan, whose steps the page plays and times one by one; a script with expectations.
    plan: Option<PathBuf>,
    #[command(flatten)]
    play: PlayFlags,
    /// Description of the rig with its correction. Samples beyond its reach are held at the nearest code, counted and reported.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
    /// Frames a second, 100 to 48000.
    #[arg(long, value_name = "HZ", value_parser = values::frame_rate, default_value = "500")]
    frame_rate: FrameRate,
    /// Seed of everything left to chance; without it the plan's, or 1.
    #[arg(long, value_name = "NUMBER", value_parser = values::seed)]
    seed: Option<u64>,
    /// Folder of the logs, and of favourite and recent rhythms; made when it is not there.
    #[arg(long, value_name = "FOLDER", default_value = "pulsewright-console")]
    folder: PathBuf,
    /// Port; 0 takes a free one.
    #[arg(long, value_name = "PORT", value_parser = values::port, default_value = "0")]
    port: u16,
    /// Address to listen at, for a tablet on a bench network of its own; the traffic is not encrypted.
    #[arg(long, value_name = "ADDRESS", value_parser = values::address, default_value = "127.0.0.1")]
    listen: IpAddr,
    /// Print the link only, without opening the browser.
    #[arg(long)]
    no_open: bool,
}

impl ConsoleFlags {
    /// The request.
    pub fn request(self) -> Result<Request, VerbFailure> {
        if self.listen.is_unspecified() {
            return Err(VerbFailure::input(format!(
                "--listen {}: name the address of this computer that the tablet will use",
                self.listen
            )));
        }
        Ok(Request {
            plan: self.plan,
            play: self.play.play()?,
            rig: self.rig,
            frame_rate: self.frame_rate,
            seed: self.seed,
            folder: self.folder,
            address: SocketAddr::new(self.listen, self.port),
            open: !self.no_open,
        })
    }
}
