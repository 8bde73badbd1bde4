//! The demonstration script whose frames must be the same bits everywhere, and the lines that say so.
//!
//! One source, two programs: the example `golden` of this folder's package prints the host's lines, the firmware prints an emulated
//! microcontroller's. Both include this file, so that they can differ only in the frames.
//! Every rhythm of the catalogue is in it by construction, on an invented adult; then each other body, everything that can be
//! added to a rhythm at once, ramps and a repeat.

use pulsewright_core::body::{ADULT, BODIES};
use pulsewright_core::frame::{Digest, Frame, Lead, PressureSite};
use pulsewright_core::heart::catalogue::{PACED_DDD, RHYTHMS, SINUS};
use pulsewright_core::player::Player;
use pulsewright_core::pressure::Chosen;
use pulsewright_core::script::{Item, Ramp, Script, ScriptError, Step};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::{FrameRate, Span};

/// The rate of the demonstration.
pub const RATE: FrameRate = FrameRate::lit(1000);

const SEED: u64 = 0x5EED_0F00_0D5E_ED01;

/// Long enough for what a rhythm does only now and then, such as a premature beat.
const HELD: Span = Span::secs(20);

const RISING: &[Ramp] = &[
    Ramp { field: Field::RateBpm, to: 150.0, over: None },
    Ramp { field: Field::ArterialSystolic, to: 180.0, over: None },
    Ramp { field: Field::BreathsPerMin, to: 30.0, over: None },
];

const fn held(settings: Settings) -> Item<'static> {
    Item::Step(Step { duration: Some(HELD), settings, ramps: &[], beats: &[] })
}

/// Every layer that a step may add to its rhythm.
const ADDED: Settings = Settings::new(&ADULT, &PACED_DDD)
    .lit(Field::MainsMv, 0.05)
    .lit(Field::WanderMv, 0.2)
    .lit(Field::BreathingWanderMv, 0.3)
    .lit(Field::MuscleMv, 0.03)
    .lit(Field::MotionMv, 0.4)
    .lit(Field::SurgeryMv, 0.02)
    .lit(Field::OvershootPercent, 10.0)
    .lit(Field::OvershootMs, 50.0)
    .lit(Field::StInferiorMv, 0.3)
    .lit(Field::StAnteriorMv, -0.2)
    .lit(Field::QLateralMv, 0.4)
    .lit(Field::TPercent, 180.0)
    .lit(Field::TentingPercent, 70.0)
    .lit(Field::AxisDeg, 40.0)
    .lit(Field::OffLa, 1.0)
    .lit(Field::OffV2, 1.0);

/// What carries state from event to event in pressures, breathing and cuff.
const MEASURED: Settings = Settings::new(&ADULT, &SINUS)
    .lit(Field::ArterialLineHz, 12.0)
    .lit(Field::ArterialDamping, 0.2)
    .lit(Field::PulmonaryLineHz, 8.0)
    .lit(Field::PulmonaryDamping, 1.2)
    .lit(Field::PulmonaryWhip, 5.0)
    .lit(Field::ArterialSwing, 8.0)
    .lit(Field::PulseVariation, 12.0)
    .lit(Field::Alternans, 4.0)
    .lit(Field::ChestBreathing, 3.0)
    .lit(Field::BreathPauseS, 3.0)
    .lit(Field::BreathPauseEveryS, 9.0)
    .lit(Field::BreathWaxing, 50.0)
    .lit(Field::SighEvery, 2.0)
    .lit(Field::CardiacOhm, 0.2)
    .lit(Field::CuffInflate, 150.0)
    .lit(Field::CuffDeflation, 8.0)
    .lit(Field::CuffStep, 6.0)
    .lit(Field::CuffLeak, 30.0);

const ITEMS: usize = RHYTHMS.len() + BODIES.len() + 2;

static SCRIPT_ITEMS: [Item<'static>; ITEMS] = {
    let mut items = [held(Settings::new(&ADULT, &SINUS)); ITEMS];
    let mut i = 0;
    while i < RHYTHMS.len() {
        items[i] = held(Settings::new(&ADULT, RHYTHMS[i]));
        i += 1;
    }
    let mut body = 1;
    while body < BODIES.len() {
        items[i] = held(Settings::new(BODIES[body], &SINUS));
        i += 1;
        body += 1;
    }
    items[i] = held(ADDED);
    i += 1;
    items[i] = Item::Step(Step { duration: Some(HELD), settings: MEASURED, ramps: RISING, beats: &[] });
    items[i + 1] = Item::Repeat { first: i as u32, times: 2, level: 0 };
    items
};

/// What is played: each step alone, so that a digest tells which rhythm changed, then all in sequence with ramps and a repeat.
///
/// Each with the two words that name it.
///
/// # Errors
/// A script that the core refuses.
pub fn programs() -> impl Iterator<Item = ([&'static str; 2], Result<Script<'static>, ScriptError>)> {
    let alone = SCRIPT_ITEMS.iter().filter_map(|item| match item {
        Item::Step(step) if step.ramps.is_empty() => {
            let added = step.settings.get(Field::MuscleMv) > 0.0;
            let words = if added { ["all", "added"] } else { [step.settings.body().id, step.settings.rhythm().id] };
            Some((words, Script::new(SEED, core::slice::from_ref(item))))
        }
        _ => None,
    });
    alone.chain(core::iter::once((["all", "sequence"], Script::new(SEED, &SCRIPT_ITEMS))))
}

/// Two times four pressures, so that the board meets eight sites with the four at once that its budget is for.
const SITES: [[PressureSite; 4]; 2] = [
    [PressureSite::Arterial, PressureSite::Pulmonary, PressureSite::Venous, PressureSite::Intracranial],
    [PressureSite::Femoral, PressureSite::RightVentricle, PressureSite::LeftVentricle, PressureSite::Wedge],
];

/// A player of a program: with the first four pressures, or with the others in every fourth rhythm of the catalogue.
pub fn player<'a>(script: &Script<'a>) -> Player<'a> {
    let first = script.timeline().next().map(|placed| placed.step.settings.rhythm().id);
    let place = RHYTHMS.iter().position(|rhythm| Some(rhythm.id) == first).unwrap_or(0);
    let [usual, other] = &SITES;
    let chosen = Chosen::new(if place % 4 == 3 { other } else { usual });
    Player::new(script, RATE).with_pressures_at(chosen.unwrap_or(Chosen::USUAL))
}

/// Where lines of `name value unit` go; a name is its words joined by dots.
pub trait Lines {
    /// A line with a whole number.
    fn figure(&mut self, words: &[&str], value: u64, unit: &str);
    /// A line with 16 hexadecimal digits.
    fn hash(&mut self, words: &[&str], value: u64, unit: &str);
}

/// What the frames of a program come to.
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

    /// The lines: number of frames and digest, and two largest samples, from which a reader sees that the digest is not that of silence.
    pub fn tell(&self, [first, second]: [&str; 2], lines: &mut impl Lines) {
        lines.figure(&["frames", first, second, "count"], self.frames, "frames");
        lines.hash(&["frames", first, second, "digest"], self.digest.value(), "fnv1a64");
        lines.figure(&["frames", first, second, "lead-ii"], (self.lead_ii_mv * 1e3) as u64, "uV");
        lines.figure(&["frames", first, second, "arterial"], (self.arterial_mmhg * 1e3) as u64, "0.001mmHg");
    }
}

fn larger(a: f32, b: f32) -> f32 {
    if b > a { b } else { a }
}
