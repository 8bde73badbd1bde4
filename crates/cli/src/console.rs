//! `console`: the bench console in a browser.

use crate::diagnostics::{VerbFailure, VerbOutcome};
use crate::signal_output::Play;
use pulsewright_core::time::FrameRate;
use std::net::SocketAddr;
use std::path::PathBuf;

/// A console to open.
#[cfg_attr(not(feature = "console"), allow(dead_code))]
pub struct Request {
    /// The plan whose steps the page offers.
    pub plan: Option<PathBuf>,
    /// The output that takes the signal.
    pub play: Option<Play>,
    /// Description of the rig.
    pub rig: Option<PathBuf>,
    /// Frames a second.
    pub frame_rate: FrameRate,
    /// Seed of everything left to chance, in place of the plan's.
    pub seed: Option<u64>,
    /// Folder of logs and favourites.
    pub folder: PathBuf,
    /// Address to listen at.
    pub address: SocketAddr,
    /// Whether the browser is opened.
    pub open: bool,
}

/// Says how to build a program that has the console.
#[cfg(not(feature = "console"))]
pub fn run(_: Request) -> VerbOutcome {
    Err(VerbFailure::input(
        "this program was built without the console; `cargo install --path crates/cli --features console` builds it with it",
    ))
}

#[cfg(feature = "console")]
pub use built::run;

#[cfg(feature = "console")]
mod built {
    use super::{Play, Request, VerbFailure, VerbOutcome};
    use crate::bench::{self, Outputs};
    use crate::check;
    use crate::diagnostics::{say, warn};
    use crate::interruption;
    use crate::sound::{self, CardPlay};
    use pulsewright_bench::Setup;
    use pulsewright_console::{Console, serve};

    /// Serves the console until the program is asked to end.
    pub fn run(request: Request) -> VerbOutcome {
        if request.play.as_ref().and_then(Play::card).is_some_and(CardPlay::asks_for_list) {
            return sound::list();
        }
        let outputs = Outputs { play: request.play, rig: request.rig, rate: request.frame_rate };
        // Held until the end: no other process writes there.
        let target = outputs.target(request.plan.as_deref())?;
        let of_plan = bench::planned(request.plan.as_deref(), outputs.rig.as_deref())?;
        let consumer = outputs.consumer(target.as_ref(), of_plan.as_ref().map(|of| &of.document))?;
        let seed = of_plan.as_ref().map_or(1, |of| of.document.seed());
        if !request.address.ip().is_loopback() {
            warn(
                "the console can be reached from the network: its traffic is not encrypted, so anyone on the way can read and \
                 lead it. Only for a bench network of its own",
            );
        }
        interruption::watch();
        let setup = Setup {
            rate: outputs.rate,
            seed: request.seed.unwrap_or(seed),
            folder: Some(request.folder),
            plan: of_plan.map(|of| of.planned),
            record: None,
            consumer,
        };
        let mut open = request.open;
        let on_link = move |link: &str| {
            say(&format!("console: {link}"));
            if std::mem::take(&mut open) && open::that_detached(link).is_err() {
                say("no browser could be opened; open the link by hand");
            }
        };
        let console =
            Console { address: request.address, setup, plan_file: request.plan, check: Box::new(check::said) };
        bench::ended(&serve(console, on_link, interruption::asked).map_err(VerbFailure::input)?)
    }
}
