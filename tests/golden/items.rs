//! The demonstration script.
//!
//! Every rhythm of the catalogue is in it by construction, on an invented adult; then each other body, everything that can be
//! added to a rhythm at once, ramps and a repeat.

use pulsewright_core::body::{ADULT, BODIES};
use pulsewright_core::heart::catalogue::{PACED_DDD, RHYTHMS, SINUS};
use pulsewright_core::script::{Item, Ramp, Step};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::Span;

/// The seed.
pub const SEED: u64 = 0x5EED_0F00_0D5E_ED01;

/// Long enough for rare events of a rhythm, such as a premature beat.
const HELD: Span = Span::secs(20);

const RISING: &[Ramp] = &[
    Ramp { field: Field::RateBpm, to: 150.0, over: None },
    Ramp { field: Field::ArterialSystolic, to: 180.0, over: None },
    Ramp { field: Field::BreathsPerMin, to: 30.0, over: None },
];

const fn held(settings: Settings) -> Item<'static> {
    Item::Step(Step::lasting(HELD, settings))
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

/// Settings that carry state from event to event in pressures, breathing and cuff.
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

/// The items.
pub static SCRIPT_ITEMS: [Item<'static>; ITEMS] = {
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
    items[i] = Item::Step(Step::lasting(HELD, MEASURED).with_ramps(RISING));
    items[i + 1] = Item::Repeat { first: i as u32, times: 2, level: 0 };
    items
};
