//! `console`: the bench console in a browser.

use crate::diagnostics::{Failure, Outcome};
use pulsewright_core::time::FrameRate;
use std::net::SocketAddr;
use std::path::PathBuf;

/// A console to open.
#[cfg_attr(not(feature = "console"), allow(dead_code))]
pub struct Request {
    /// The plan whose steps the page offers.
    pub plan: Option<PathBuf>,
    /// File, pipe or device that takes the signal.
    pub play: Option<PathBuf>,
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
    /// Whether a file of signal that is there may be replaced.
    pub force: bool,
}

/// Says how to build a program that has the console.
#[cfg(not(feature = "console"))]
pub fn run(_: Request) -> Outcome {
    Err(Failure::input(
        "this program was built without the console; `cargo install --path crates/cli --features console` builds it with it",
    ))
}

#[cfg(feature = "console")]
pub use built::run;

#[cfg(feature = "console")]
mod built {
    use super::{Failure, Outcome, Request};
    use crate::diagnostics::{say, warn};
    use crate::interruption;
    use crate::output::claim;
    use crate::record_files;
    use crate::signal_output::{self, Form};
    use pulsewright_console::{Coder, Console, Consumer, Nowhere, Planned, serve};
    use pulsewright_core::frame::Frame;
    use pulsewright_record::instruments::NO_OUTPUT;
    use std::io::{self, Write};
    use std::path::Path;

    /// Serves the console until the program is asked to end.
    pub fn run(request: Request) -> Outcome {
        let plain = request.play.as_deref().map_or(Ok(None), signal_output::plain_file)?;
        // Held until the end: no other process writes there.
        let inputs = request.rig.as_deref().into_iter().chain(request.plan.as_deref());
        let _claimed = plain.map(|file| claim(&[file], inputs, request.force)).transpose()?;
        let consumer = consumer(&request)?;
        let plan = request.plan.as_deref().map(|script| {
            let (document, plan) = record_files::plan(script, request.rig.as_deref(), None)?;
            Ok((document.seed(), Planned::new(plan, &document).map_err(Failure::input)?))
        });
        let (seed, plan) = plan.transpose()?.map_or((1, None), |(seed, plan)| (seed, Some(plan)));
        if !request.address.ip().is_loopback() {
            warn(
                "the console can be reached from the network: its traffic is not encrypted, so anyone on the way can read and \
                 lead it. Only for a bench network of its own",
            );
        }
        interruption::watch();
        let console = Console {
            address: request.address,
            rate: request.frame_rate,
            seed: request.seed.unwrap_or(seed),
            folder: request.folder.clone(),
            plan,
            consumer,
        };
        let mut open = request.open;
        let on_link = move |link: &str| {
            say(&format!("console: {link}"));
            if std::mem::take(&mut open) && open::that_detached(link).is_err() {
                say("no browser could be opened; open the link by hand");
            }
        };
        let served = serve(console, on_link, interruption::asked).map_err(Failure::input)?;
        served.remarks.iter().for_each(|words| warn(words));
        if let Some(log) = served.log {
            say(&format!("played: {}", log.display()));
        }
        match served.failed {
            Some(why) => Err(Failure::input(format!("the output failed: {why}"))),
            None => Ok(()),
        }
    }

    fn consumer(request: &Request) -> Result<Consumer, Failure> {
        let form = Form::new(request.rig.as_deref(), request.frame_rate)?;
        let pressures = form.pressures();
        let Some(path) = request.play.clone() else {
            return Ok(Consumer {
                name: NO_OUTPUT.to_owned(),
                pressures,
                coder: Box::new(Nowhere),
                open: Box::new(|| Ok(Box::new(io::sink()))),
            });
        };
        let name = path.display().to_string();
        Ok(Consumer { name, pressures, coder: Box::new(Coded(form)), open: Box::new(move || opened(&path)) })
    }

    fn opened(path: &Path) -> io::Result<Box<dyn Write + Send>> {
        Ok(Box::new(signal_output::open(path)?))
    }

    struct Coded(Form);

    impl Coder for Coded {
        fn encode(&mut self, frames: &[Frame], bytes: &mut Vec<u8>) {
            self.0.encode(frames, bytes);
        }

        fn remarks(&self) -> Vec<String> {
            self.0.clipped()
        }
    }
}
