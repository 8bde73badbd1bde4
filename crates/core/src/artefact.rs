//! Artefacts: what reaches the electrodes besides the heart.
//!
//! Each layer is a function of time, seed and setting alone, added to the independent leads of frames that the heart has
//! drawn, so III, aVR, aVL and aVF stay exact sums. Gain and breathing change the heart's signal, never these.
//!
//! Noise is stated in mV RMS. Every layer gives I, II, III and V1 to V6 the same RMS and aVR, aVL and aVF 0.87 of it, and any two
//! layers are uncorrelated, so their squares add. A signal-to-noise ratio of `d` decibels against an ECG of `s` mV therefore
//! needs noise of `s / 10^(d / 20)` mV RMS in all.

mod background;
mod compression;
pub(crate) mod crest;
mod electrode;
mod lead_off;
mod limb;
mod mains;
mod motion;
mod muscle;
mod pair;
mod surgery;
mod wander;

pub use lead_off::OFFSET_MV;
pub(crate) use lead_off::{ElectrodesOff, OFF};
pub use motion::Movement;

use crate::block::BlockRows;
use crate::course::Course;
use crate::field::Field;
use crate::frame::INDEPENDENT_LEADS;
use crate::noise::Noise;
use crate::respiration::Respiration;
use crate::time::Instant;
use crate::vectors::{self, Loop};
use background::Background;
use electrode::ElectrodeShifts;
use mains::Mains;
use motion::Motion;
use muscle::Muscle;
use pair::Pair;
use wander::Wander;

/// The fields that switch a layer on when they are not zero.
pub(crate) const SWITCHES: [Field; 10] = [
    Field::MainsMv,
    Field::WanderMv,
    Field::BreathingWanderMv,
    Field::MuscleMv,
    Field::MotionMv,
    Field::SurgeryMv,
    Field::ElectrodeMv,
    Field::BackgroundMv,
    Field::TremorMv,
    Field::CompressionMv,
];

/// Amplitudes that glide from the value of the step before: those of the layers, and the two factors on the heart's signal.
pub(crate) const GLIDING: [Field; SWITCHES.len() + 2] = {
    let mut fields = [Field::EcgGain; SWITCHES.len() + 2];
    fields[1] = Field::BreathingGain;
    let mut i = 0;
    while i < SWITCHES.len() {
        fields[2 + i] = SWITCHES[i];
        i += 1;
    }
    fields
};

/// The layers that a step has on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Layers {
    /// One bit for each of [`SWITCHES`].
    noise: u16,
    off: ElectrodesOff,
    /// Whether RA and LA are interchanged.
    swapped: bool,
}

impl Layers {
    /// The layers of a step in which these fields are `used`, at its start or by a ramp, and these switches are on.
    pub(crate) fn of(used: impl Fn(Field) -> bool, on: impl Fn(Field) -> bool) -> Layers {
        let mut layers = Layers::default();
        for (i, field) in SWITCHES.into_iter().enumerate() {
            if used(field) {
                layers.noise |= 1 << i;
            }
        }
        layers.off = ElectrodesOff::of(&on);
        layers.swapped = on(Field::SwapArms);
        layers
    }

    /// Electrodes that are off.
    pub(crate) fn off(self) -> ElectrodesOff {
        self.off
    }

    pub(crate) fn none(self) -> bool {
        self.noise == 0 && self.off == ElectrodesOff::NONE && !self.swapped
    }

    /// Which of [`SWITCHES`] are on.
    fn noises(self) -> [bool; SWITCHES.len()] {
        core::array::from_fn(|i| self.noise & (1 << i) != 0)
    }
}

/// Shares of a pair in I, II, V1 to V6: cosine and sine of angles.
///
/// 60 degrees between I and II give III = II - I the same size.
const SHARES: [Pair; INDEPENDENT_LEADS] = [
    Pair(1.0, 0.0),
    Pair(0.5, 0.866_025_4),
    Pair(-0.5, 0.866_025_4),
    Pair(0.0, 1.0),
    Pair(0.258_819_04, 0.965_925_8),
    Pair(0.707_106_77, 0.707_106_77),
    Pair(0.866_025_4, 0.5),
    Pair(0.965_925_8, 0.258_819_04),
];

/// Adds a pair to the leads I, II, V1 to V6.
#[inline(always)]
pub(crate) fn spread(pair: [f32; 2], leads_mv: &mut [f32; INDEPENDENT_LEADS]) {
    let [first, second] = pair;
    for (lead, share) in leads_mv.iter_mut().zip(SHARES) {
        *lead += share.0 * first + share.1 * second;
    }
}

/// Shares of the baseline's movement with breathing in I, II, V1 to V6 (common practice, no source).
const BREATHING_SHARES: [f32; INDEPENDENT_LEADS] = [0.4, 1.0, 0.5, 0.5, 0.6, 0.7, 0.8, 0.8];

/// The leads with the electrodes RA and LA interchanged: I upside down, II and III, aVR and aVL in each other's place.
pub(crate) fn swapped_arms([i, ii, chest @ ..]: [f32; INDEPENDENT_LEADS]) -> [f32; INDEPENDENT_LEADS] {
    let [v1, v2, v3, v4, v5, v6] = chest;
    [-i, ii - i, v1, v2, v3, v4, v5, v6]
}

/// State that neighbouring frames share across events.
pub(crate) struct ArtefactState {
    muscle: Muscle,
    motion: Motion,
    background: Background,
    wander: Wander,
    electrode: ElectrodeShifts,
}

impl ArtefactState {
    pub(crate) const fn new() -> ArtefactState {
        ArtefactState {
            muscle: Muscle::new(),
            motion: Motion::new(),
            background: Background::new(),
            wander: Wander::new(),
            electrode: ElectrodeShifts::new(),
        }
    }
}

impl ArtefactState {
    /// How far a movement presses on the cuff at an instant, with an RMS of 1 in the middle of one.
    pub(crate) fn pressed(&mut self, noise: &Noise, now: Instant) -> f32 {
        self.motion.at(noise, now).0
    }
}

/// Settings of the layers over a step.
pub(crate) struct ArtefactConditions {
    /// Start of the step, from which the courses count.
    pub(crate) start: Instant,
    pub(crate) mains_hz: f32,
    pub(crate) mains_drift_hz: f32,
    /// Harmonics of the mains, share of the fundamental.
    pub(crate) mains_harmonics: f32,
    pub(crate) mains_mv: Course,
    pub(crate) wander_mv: Course,
    pub(crate) breathing_mv: Course,
    pub(crate) muscle_mv: Course,
    pub(crate) motion_mv: Course,
    pub(crate) surgery_mv: Course,
    pub(crate) electrode_mv: Course,
    pub(crate) background_mv: Course,
    pub(crate) tremor_mv: Course,
    pub(crate) tremor_hz: f32,
    pub(crate) compression_mv: Course,
    pub(crate) compressions_per_min: f32,
    /// Length of bursts of electrode noise and the time that each has for itself, s.
    pub(crate) bursts: (f32, f32),
}

/// A step's layers and what they are drawn from.
pub(crate) struct ArtefactLayers<'a> {
    pub(crate) layers: Layers,
    pub(crate) shared: &'a mut ArtefactState,
    pub(crate) conditions: &'a ArtefactConditions,
    pub(crate) noise: &'a Noise,
    pub(crate) respiration: &'a Respiration,
}

impl ArtefactLayers<'_> {
    /// Adds the layers to rows at consecutive instants, the first of them `from`.
    // Not inlined: a player whose scripts have no artefacts shall not carry them through its inner loop.
    #[inline(never)]
    pub(crate) fn add_to<R: BlockRows + ?Sized>(self, instants: &[Instant], rows: &mut R, from: usize) {
        vectors::run(AddTo { artefacts: self, instants, rows, from });
    }
}

/// The layers, to be added to rows.
struct AddTo<'a, 'i, R: ?Sized> {
    artefacts: ArtefactLayers<'a>,
    instants: &'i [Instant],
    rows: &'i mut R,
    from: usize,
}

impl<R: BlockRows + ?Sized> Loop for AddTo<'_, '_, R> {
    #[inline(always)]
    fn run(self) {
        let AddTo { artefacts, instants, rows, from } = self;
        let ArtefactLayers { layers, shared, conditions, noise, respiration } = artefacts;
        let hum_of = Mains::new(conditions.mains_hz, conditions.mains_drift_hz, conditions.mains_harmonics);
        // In the order of SWITCHES.
        let [mains, wander, breathing, muscle, motion, surgery, electrode, background, tremor, compression] =
            layers.noises();
        let ArtefactConditions {
            start,
            mains_mv,
            wander_mv,
            breathing_mv,
            muscle_mv,
            motion_mv,
            surgery_mv,
            electrode_mv,
            background_mv,
            tremor_mv,
            compression_mv,
            ..
        } = conditions;
        for (row, now) in (from..).zip(instants.iter().copied()) {
            let mut leads_mv = rows.leads(row);
            let since = now.since(*start);
            let mut pair = Pair::default();
            let hum = if mains || surgery { hum_of.at(now) } else { Pair::default() };
            if mains {
                pair.add(hum, mains_mv.at(since));
            }
            if wander {
                pair.add(shared.wander.at(noise, now), wander_mv.at(since));
            }
            if motion {
                pair.add(shared.motion.at(noise, now), motion_mv.at(since));
            }
            if surgery {
                pair.add(surgery::at(noise, hum, now), surgery_mv.at(since));
            }
            if electrode {
                pair.add(shared.electrode.at(noise, conditions.bursts, now), electrode_mv.at(since));
            }
            if compression {
                pair.add(compression::at(conditions.compressions_per_min, now), compression_mv.at(since));
            }
            spread([pair.0, pair.1], &mut leads_mv);
            if breathing {
                let mv = breathing_mv.at(since) * (respiration.lung_volume(now) - 0.5);
                for (lead, share) in leads_mv.iter_mut().zip(BREATHING_SHARES) {
                    *lead += share * mv;
                }
            }
            if background {
                shared.background.add_to(noise, now, background_mv.at(since), &mut leads_mv);
            }
            if muscle {
                shared.muscle.add_to(noise, now, muscle_mv.at(since), &mut leads_mv);
            }
            if tremor {
                limb::add_to(noise, conditions.tremor_hz, now, tremor_mv.at(since), &mut leads_mv);
            }
            if layers.swapped {
                leads_mv = swapped_arms(leads_mv);
            }
            layers.off.apply_to(&mut leads_mv);
            rows.set_leads(row, leads_mv);
        }
    }
}
