//! The programs of the demonstration script, which give the same bits everywhere, and the lines of their results.
//!
//! One source, two programs: the example `golden` of this folder's package prints the host's lines, the firmware prints an emulated
//! microcontroller's. Both include this file, so that they can differ only in the frames. `items.rs` has the script.

use pulsewright_core::frame::{Digest, Frame, Lead, PressureSite};
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::settings::Field;
use pulsewright_core::time::FrameRate;
use pulsewright_core::timeline::{PlayedStep, Timeline};

/// The rate of the demonstration.
pub const RATE: FrameRate = FrameRate::lit(1000);

/// The two words that name the program that a step makes alone; `None` for one that is played only in sequence.
///
/// Each step is played alone, so that a digest shows which rhythm changed, then all in sequence with ramps and a repeat.
pub fn words(step: &PlayedStep<'_>) -> Option<[&'static str; 2]> {
    let added = step.get(Field::MuscleMv) > 0.0;
    let words = if added { ["all", "added"] } else { [step.body().id, step.rhythm().id] };
    step.ramps().next().is_none().then_some(words)
}

/// Name of the program of all steps.
pub const SEQUENCE: [&str; 2] = ["all", "sequence"];

/// Two times four pressures, so that the board meets eight sites with the four at once that its budget is for.
const SITES: [[PressureSite; 4]; 2] = [
    [PressureSite::Arterial, PressureSite::Pulmonary, PressureSite::Venous, PressureSite::Intracranial],
    [PressureSite::Femoral, PressureSite::RightVentricle, PressureSite::LeftVentricle, PressureSite::Wedge],
];

/// The same player with the first four pressures, or with the others in every fourth rhythm of the catalogue.
pub fn with_pressures<'a>(player: Player<'a>, mut timeline: Timeline<'_>) -> Player<'a> {
    let first = timeline.next().map(|placed| placed.step.rhythm().id);
    let place = RHYTHMS.iter().position(|rhythm| Some(rhythm.id) == first).unwrap_or(0);
    let [usual, other] = &SITES;
    let chosen = SiteSet::new(if place % 4 == 3 { other } else { usual });
    player.with_pressures_at(chosen.unwrap_or(SiteSet::USUAL))
}

/// Where lines of `name value unit` go; a name is its words joined by dots.
pub trait Lines {
    /// A line with a whole number.
    fn figure(&mut self, words: &[&str], value: u64, unit: &str);
    /// A line with 16 hexadecimal digits.
    fn hash(&mut self, words: &[&str], value: u64, unit: &str);
}

/// Figures over the frames of a program.
#[derive(Default, PartialEq)]
pub struct Tally {
    frames: u64,
    digest: Digest,
    lead_ii_mv: f32,
    arterial_mmhg: f32,
}

impl Tally {
    /// Takes in frames.
    pub fn take(&mut self, frames: &[Frame]) {
        for frame in frames {
            self.frames += 1;
            self.digest.update(frame);
            self.lead_ii_mv = larger(self.lead_ii_mv, frame.lead_mv(Lead::II));
            self.arterial_mmhg = larger(self.arterial_mmhg, frame.pressure_mmhg[PressureSite::Arterial as usize]);
        }
    }

    /// Digest of the frames.
    #[allow(dead_code)] // Not every program that includes this file asks.
    pub fn digest(&self) -> u64 {
        self.digest.value()
    }

    /// Writes number of frames and digest, and two largest samples, which show that the frames are not silent.
    pub fn write(&self, [first, second]: [&str; 2], lines: &mut impl Lines) {
        lines.figure(&["frames", first, second, "count"], self.frames, "frames");
        lines.hash(&["frames", first, second, "digest"], self.digest.value(), "fnv1a64");
        lines.figure(&["frames", first, second, "lead-ii"], (self.lead_ii_mv * 1e3) as u64, "uV");
        lines.figure(&["frames", first, second, "arterial"], (self.arterial_mmhg * 1e3) as u64, "0.001mmHg");
    }
}

fn larger(a: f32, b: f32) -> f32 {
    if b > a { b } else { a }
}
