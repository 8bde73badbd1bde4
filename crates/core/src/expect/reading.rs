//! A quantity that a monitor shows: one value, or the band that it moves in, with the causes.

use crate::math::{max, min};

/// Range and mean of a quantity in the settled part of a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadingBand {
    /// Lowest value that a monitor shows.
    pub low: f32,
    /// Highest value that it shows.
    pub high: f32,
    /// Mean over the time watched.
    pub mean: f32,
}

impl ReadingBand {
    /// A value that does not move.
    pub const fn steady(value: f32) -> ReadingBand {
        ReadingBand { low: value, high: value, mean: value }
    }

    /// The same with `value` within it.
    pub(super) fn with(self, value: f32) -> ReadingBand {
        ReadingBand { low: min(self.low, value), high: max(self.high, value), ..self }
    }

    /// Highest less lowest.
    pub fn width(&self) -> f32 {
        self.high - self.low
    }
}

macro_rules! causes {
    ($($(#[$meta:meta])* $name:ident: $words:literal;)*) => {
        /// A cause of a reading.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        #[repr(u8)]
        pub enum Cause { $($(#[$meta])* $name,)* }

        impl Cause {
            /// Every cause.
            pub const ALL: &'static [Cause] = &[$(Cause::$name,)*];

            /// A short phrase.
            pub const fn words(self) -> &'static str {
                match self { $(Cause::$name => $words,)* }
            }
        }
    };
}

causes! {
    /// No beat that is conducted from above.
    NoOwnBeats: "all beats are ventricular or paced, so ST is not read";
    /// The quantity is not played.
    NotPlayed: "it is not played";
    /// A test signal without beats is played.
    TestSignal: "a test signal is played";
    /// Two limb electrodes are off, and every lead is flat.
    ElectrodesOff: "electrodes are off and no lead shows the heart";
    /// An electrode that it is measured with is off.
    ElectrodeOff: "an electrode that it is measured with is off";
    /// Fibrillation or flutter of the ventricles.
    Fibrillation: "the ventricles fibrillate or flutter, so there is no beat to count";
    /// No beat.
    NoBeats: "no beat comes";
    /// No pulse.
    NoPulses: "no pulse comes";
    /// Chest compressions press on heart and vessels.
    Compressions: "chest compressions press on the vessels";
    /// The cuff does not pass the pressures of pulses.
    NoDeflation: "the cuff passes no systolic and diastolic pressure";
    /// No breath.
    NoBreaths: "no breath comes";
    /// Breaths too small to be seen.
    ShallowBreaths: "the breaths are too shallow to be seen";
    /// The average of breaths still holds some of the step before.
    EarlierBreaths: "the average still holds breaths of the step before";
    /// The stopcock is closed to the patient.
    Closed: "the transducer is closed to the patient";
    /// The transducer adds a level.
    Level: "the transducer adds an offset";
    /// The line damps.
    Damped: "the line damps the pulse";
    /// The line rings.
    Ringing: "the line rings";
    /// The step ramps it.
    Ramp: "the step moves it";
    /// RR intervals vary.
    Irregular: "the beats come irregularly";
    /// Pauses between beats.
    Pauses: "the beats pause";
    /// Premature beats.
    Premature: "premature beats come";
    /// Pulses differ in strength.
    WeakBeats: "the beats differ in strength";
    /// Pressure falls with inspiration.
    Paradoxus: "it falls with each inspiration";
    /// Pulse pressure varies with breathing.
    Variation: "the pulse pressure varies with breathing";
    /// The pressures in the chest move with breathing.
    Chest: "it moves with breathing";
    /// Every other beat is weaker.
    Alternans: "every other pulse is lower";
    /// Pressures or rate of the step before count too.
    Changed: "it changed during the deflation";
    /// Efforts against a closed throat.
    Obstructed: "the chest moves against a closed throat, so breaths are counted though no air moves";
    /// Periodic breathing.
    Periodic: "the breathing pauses";
}

/// A set of causes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Causes(u32);

impl Causes {
    /// None.
    pub const NONE: Causes = Causes(0);

    /// The set with one more.
    pub const fn and(self, cause: Cause) -> Causes {
        Causes(self.0 | 1 << cause as u32)
    }

    /// The set with one more, if so.
    pub(crate) const fn and_if(self, so: bool, cause: Cause) -> Causes {
        if so { self.and(cause) } else { self }
    }

    /// Whether a cause is in it.
    pub const fn has(self, cause: Cause) -> bool {
        self.0 & 1 << cause as u32 != 0
    }

    /// Whether it has none.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Those of a value that does not move: causes of a shift, not of a scatter.
    pub(super) fn of_a_shift(self) -> Causes {
        let shift = [Cause::Closed, Cause::Level, Cause::Damped, Cause::Ringing, Cause::NoPulses];
        self.iter().filter(|cause| shift.contains(cause)).fold(Causes::NONE, Causes::and)
    }

    /// The causes, in the order of their table.
    pub fn iter(self) -> impl Iterator<Item = Cause> {
        Cause::ALL.iter().copied().filter(move |cause| self.has(*cause))
    }
}

/// Reading of a quantity by a correct monitor, and why.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// The band; `None` where a correct monitor may show anything, or nothing.
    pub band: Option<ReadingBand>,
    /// Why it differs from a plain setting.
    pub causes: Causes,
}

impl Reading {
    /// Nothing to read.
    pub const fn none(cause: Cause) -> Reading {
        Reading { band: None, causes: Causes::NONE.and(cause) }
    }
}

/// Accumulator of a band.
#[derive(Clone, Copy, Debug)]
pub(super) struct BandGatherer {
    low: f32,
    high: f32,
    sum: f64,
    weight: f64,
}

impl BandGatherer {
    pub(super) const NONE: BandGatherer =
        BandGatherer { low: f32::INFINITY, high: f32::NEG_INFINITY, sum: 0.0, weight: 0.0 };

    /// Takes in a value that held for `weight`.
    pub(super) fn take(&mut self, value: f32, weight: f32) {
        self.low = min(self.low, value);
        self.high = max(self.high, value);
        self.sum += f64::from(value) * f64::from(weight);
        self.weight += f64::from(weight);
    }

    pub(super) fn band(&self) -> Option<ReadingBand> {
        (self.weight > 0.0).then(|| ReadingBand {
            low: self.low,
            high: self.high,
            mean: (self.sum / self.weight) as f32,
        })
    }
}
