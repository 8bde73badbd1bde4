//! Sound cards: which signals one may play, and playing them.

use crate::diagnostics::{VerbFailure, VerbOutcome, error, print, say, warn};
use pulsewright_core::frame::{Channel, ChannelKind};
use pulsewright_core::settings::Field;
use pulsewright_core::time::FrameRate;
use pulsewright_rig::RigRender;
use pulsewright_rig::coupling::{AcCoupling, LEAST_AMPLITUDE_MV, LEAST_QRS_MV};
use pulsewright_rig::description::{Coding, Rig};
use pulsewright_rig::judge::faults;
use pulsewright_script::Document;
use pulsewright_script::DocumentPart;
use pulsewright_sound::{BUILT, CardError, CardReport, CodePacking, RAMP_MS, Rates, ReadyCard, cards};
use pulsewright_stream::{Command, Samples};
use pulsewright_text::fit;
use pulsewright_text::number::counted;
use std::fmt;
use std::io::{self, Write};
use std::sync::OnceLock;
use std::time::Duration;

/// How the name of a sound card begins, where a file may stand too; a file of such a name is `./audio:...`.
const PREFIX: &str = "audio:";

/// Fields that set a level of ST.
const ST: [Field; 3] = [Field::StInferiorMv, Field::StAnteriorMv, Field::StLateralMv];

/// A sound card as the command line names it.
#[derive(Clone, Debug)]
pub struct CardPlay {
    name: String,
    /// Whether it is stated that the card holds a direct voltage.
    dc_coupled: bool,
    /// Its corner, where no rig has it.
    corner_hz: Option<f64>,
}

impl fmt::Display for CardPlay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{PREFIX}{}", self.name)
    }
}

impl CardPlay {
    /// The card that `text` names; `None` when it names something else.
    pub fn of(text: &str, dc_coupled: bool, corner_hz: Option<f64>) -> Option<CardPlay> {
        let name = text.strip_prefix(PREFIX)?.to_owned();
        Some(CardPlay { name, dc_coupled, corner_hz })
    }

    /// Whether the cards are to be listed.
    pub fn asks_for_list(&self) -> bool {
        matches!(self.name.as_str(), "" | "?")
    }

    /// The coupling of a card whose rig names `described`; `None` holds a direct voltage.
    fn coupling(&self, described: Option<AcCoupling>) -> Result<Option<AcCoupling>, VerbFailure> {
        if !BUILT {
            return Err(refused(CardError::NotBuilt));
        }
        match (described.or(self.corner_hz.map(AcCoupling::at)), self.dc_coupled) {
            (Some(coupling), true) => Err(VerbFailure::input(format!(
                "--dc-coupled, and yet the rig has an AC coupling at {} Hz: keep the one that is true",
                coupling.corner_hz()
            ))),
            (None, false) => Err(VerbFailure::input(
                "most sound cards block a direct voltage, and the corner of their AC coupling decides which tests are possible: \
                 name the corner in the rig (\"ac_coupling_hz\", docs/rig.md), or give --dc-coupled for a card that holds a \
                 level at a meter",
            )),
            (coupling, _) => Ok(coupling),
        }
    }
}

/// Prints the cards of this computer.
pub fn list() -> VerbOutcome {
    let cards = cards().map_err(refused)?;
    print(|out| {
        if cards.is_empty() {
            writeln!(out, "no sound card is there")?;
        }
        for card in &cards {
            writeln!(out, "{PREFIX}{}", fit::line(&card.id))?;
            if card.name != card.id {
                writeln!(out, "    {}", fit::line(&card.name))?;
            }
            let channels = card.offers.iter().map(|offer| offer.channels).max();
            let bits = card.offers.iter().map(|offer| offer.form.bits()).max();
            match channels.zip(bits) {
                Some((channels, bits)) => {
                    let rates = Rates::of(&card.offers);
                    writeln!(out, "    up to {channels} channels, up to {bits} bits, frames a second: {rates}")?;
                }
                None => writeln!(out, "    can't be opened now")?,
            }
        }
        Ok(())
    })
}

fn refused(error: CardError) -> VerbFailure {
    let list = "--play 'audio:?' lists the cards of this computer";
    match error {
        CardError::NotBuilt => VerbFailure::input(
            "this program was built without sound cards; `cargo install --path crates/cli --features audio` builds it with \
             them, on Debian after `apt-get install libasound2-dev pkg-config`",
        ),
        CardError::Unknown(_) | CardError::Several(_) => VerbFailure::input(format!("{error}; {list}")),
        _ => VerbFailure::input(error),
    }
}

/// A card that is fit for a signal.
#[derive(Clone)]
pub struct Playback {
    name: String,
    ready: ReadyCard,
    coupling: Option<AcCoupling>,
    /// The signal of each channel.
    channels: Vec<String>,
    rate: FrameRate,
}

impl Playback {
    /// For the codes of a rig.
    pub fn of_rig(card: &CardPlay, rig: Option<&RigRender>, rate: FrameRate) -> Result<Playback, VerbFailure> {
        let Some(render) = rig else {
            return Err(VerbFailure::input(
                "a sound card needs --rig: the description says which connector a channel drives, at which level",
            ));
        };
        let rig = render.rig();
        let coupling = card.coupling(rig.coupling)?;
        check_converter(rig)?;
        let faults = faults(rig);
        if let Some((last, others)) = faults.split_last() {
            others.iter().for_each(|fault| error(&fault.to_string()));
            return Err(VerbFailure::input(format!("{last}; nothing is played")));
        }
        let channels = rig.outputs.len();
        let bytes = render.frames().frame_bytes().checked_div(channels).unwrap_or(0);
        let packing = CodePacking { channels, bytes, bits: rig.converter.bits };
        let names = rig.outputs.iter().map(|output| output.signal.name().to_owned()).collect();
        Playback::new(card, packing, coupling, names, rate)
    }

    /// For samples of channels.
    pub fn of_samples(card: &CardPlay, samples: &Samples, rate: FrameRate) -> Result<Playback, VerbFailure> {
        let coupling = card.coupling(None)?;
        let Some(bits) = samples.bits().filter(|bits| bits % 8 == 0) else {
            return Err(VerbFailure::input("a sound card plays --bits 16, 24 or 32: integers that fill their bytes"));
        };
        let potential = |channel: &Channel| channel.kind() == ChannelKind::Potential;
        if let Some(coupling) = coupling
            && let Some(level) = samples.channels().find(|channel| !potential(channel))
        {
            return Err(VerbFailure::input(format!(
                "{} is a level, and behind an AC coupling at {} Hz it falls to zero: use a DC-coupled converter",
                level.id(),
                coupling.corner_hz()
            )));
        }
        if let Some(coupling) = coupling.filter(|coupling| coupling.qrs_mv() < LEAST_QRS_MV) {
            return Err(VerbFailure::input(format!(
                "an AC coupling at {} Hz leaves {:.3} mV of a QRS of 1 mV and 80 ms; a monitor must find {LEAST_QRS_MV} mV",
                coupling.corner_hz(),
                coupling.qrs_mv()
            )));
        }
        let named = samples.scales().map(|(channel, zero, full)| {
            let (id, unit) = (channel.id(), channel.kind().unit());
            format!("{id}, code 0 is {zero} {unit}, full scale {full} {unit}")
        });
        let packing = CodePacking { channels: samples.channels().count(), bytes: bits as usize / 8, bits };
        Playback::new(card, packing, coupling, named.collect(), rate)
    }

    fn new(
        card: &CardPlay,
        packing: CodePacking,
        coupling: Option<AcCoupling>,
        channels: Vec<String>,
        rate: FrameRate,
    ) -> Result<Playback, VerbFailure> {
        let ready = ReadyCard::new(&card.name, packing, rate.as_hz()).map_err(refused)?;
        Ok(Playback { name: card.to_string(), ready, coupling, channels, rate })
    }

    /// Refuses a document whose ST levels the coupling would move.
    pub fn check(&self, document: &Document) -> VerbOutcome {
        let Some(coupling) = self.coupling.filter(|coupling| !coupling.holds_st()) else { return Ok(()) };
        for (item, part) in document.parts().iter().enumerate() {
            let DocumentPart::Step(step) = part else { continue };
            let is_set = |field: &Field| step.settings.get(*field) != 0.0;
            let moves = step.ramps.iter().any(|ramp| ST.contains(&ramp.field));
            let read = step.expect.readings.iter().any(|reading| reading.quantity.lead().is_some());
            if ST.iter().any(is_set) || moves || read {
                return Err(VerbFailure::input(format!("step '{}' {}", document.label(item), moved_st(coupling))));
            }
        }
        Ok(())
    }

    /// Why a command can't be carried out on this card.
    pub fn forbids(&self, command: &Command) -> Option<String> {
        let coupling = self.coupling.filter(|coupling| !coupling.holds_st())?;
        let Command::Set(values) = command else { return None };
        let sets = values.iter().any(|(field, value)| ST.contains(field) && *value != 0.0);
        sets.then(|| format!("this {}", moved_st(coupling)))
    }

    /// Says before the first sound how the card plays, and what a person has to know about it.
    pub fn announce(&self) {
        say(
            "caution: a sound card is no isolation: never to a person, nor to equipment connected to one. Behind it belong the \
             rig's divider and isolation; verify every output with a calibrated meter first.",
        );
        say(
            "caution: the volume as it was when the outputs were measured; automatic gain, equaliser and effects off; no other \
             program may play on the card.",
        );
        let choice = self.ready.choice;
        let (rate, hold) = (self.rate.as_hz(), choice.hold);
        let held = if hold > 1 { format!(", each frame held for {hold} of the card's") } else { String::new() };
        say(&format!(
            "{}: {rate} frames a second at {} of the card{held}; ramps of {RAMP_MS} ms at start and end; a frame reaches the \
             connector up to {} ms later",
            self.name,
            choice.rate_hz,
            self.ready.delay_ms()
        ));
        for (number, channel) in (1..).zip(&self.channels) {
            say(&format!("channel {number}: {channel}"));
        }
        match self.coupling {
            None => say("stated to be DC-coupled: it holds a level"),
            Some(coupling) => warn(&lost(coupling)),
        }
    }

    /// How long a frame is under way.
    pub fn delay(&self) -> Duration {
        Duration::from_millis(u64::from(self.ready.delay_ms()))
    }

    /// Opens the card, and sets what reports about it.
    pub fn open(&self, reporter: &OnceLock<Reporter>) -> io::Result<Box<dyn Write + Send>> {
        let writer = self.ready.open().map_err(|error| io::Error::other(error.to_string()))?;
        let report = Box::new(writer.reporter());
        let _ = reporter.set(Reporter { name: self.name.clone(), rate_hz: self.ready.choice.rate_hz, report });
        Ok(Box::new(writer))
    }
}

/// Refuses a converter that is none of a sound card.
fn check_converter(rig: &Rig) -> VerbOutcome {
    let converter = &rig.converter;
    if !matches!(converter.bits, 16 | 24) || converter.coding != Coding::TwosComplement {
        return Err(VerbFailure::input(
            "the codes of a sound card are \"twos-complement\" of 16 or 24 bits: describe the rig's converter so",
        ));
    }
    match rig.outputs.iter().find(|output| output.range_v.0 != -output.range_v.1) {
        None => Ok(()),
        Some(output) => Err(VerbFailure::input(format!(
            "{}: a sound card reaches as far below 0 V as above it, so \"low_v\" must be -\"high_v\"",
            output.signal.name()
        ))),
    }
}

fn moved_st(coupling: AcCoupling) -> String {
    format!(
        "has a level of ST, and the AC coupling at {} Hz would move it: after 3 mV for 100 ms the baseline lies at {:.3} mV. ST needs a \
         DC-coupled converter, or a corner up to 0.05 Hz",
        coupling.corner_hz(),
        coupling.after_impulse_mv()
    )
}

/// The loss of an ECG by a coupling, in words.
fn lost(coupling: AcCoupling) -> String {
    let qrs = coupling.qrs_mv();
    let amplitude = if qrs >= LEAST_AMPLITUDE_MV { "" } else { "amplitudes, " };
    let st = if coupling.holds_st() { "" } else { "ST, " };
    format!(
        "the AC coupling at {} Hz leaves {qrs:.3} mV of a QRS of 1 mV and 80 ms, and a held level falls to 37 % in {:.3} s: no tests \
         of {amplitude}{st}offsets and other held levels",
        coupling.corner_hz(),
        coupling.time_constant_s()
    )
}

/// Reports how a card has played.
pub struct Reporter {
    name: String,
    rate_hz: u32,
    report: Box<dyn Fn() -> CardReport + Send + Sync>,
}

/// Part of a rate by which a card's clock may differ before it is remarked: a quarter of the 1 % of a test signal.
const CLOCK_OFF: f64 = 0.0025;

impl Reporter {
    /// The report.
    pub fn report(&self) -> CardReport {
        (self.report)()
    }

    /// Faults, a sentence each.
    pub fn remarks(&self) -> Vec<String> {
        let CardReport { interruptions, measured_hz, .. } = self.report();
        let name = &self.name;
        let interrupted = (interruptions > 0).then(|| {
            format!(
                "{name}: the signal was interrupted {}, each by a rest between ramps; no frame was left out",
                counted(interruptions, "time")
            )
        });
        let off = measured_hz.map(|hz| hz / f64::from(self.rate_hz) - 1.0).filter(|off| off.abs() > CLOCK_OFF);
        let off =
            off.map(|off| format!("{name}: by this computer's clock the card's rate is {:+.2} % off", 100.0 * off));
        interrupted.into_iter().chain(off).collect()
    }

    /// The failure of the card, when it failed.
    pub fn outcome(&self) -> VerbOutcome {
        self.report().failed.map_or(Ok(()), |why| Err(VerbFailure::input(format!("{}: {why}", self.name))))
    }
}
