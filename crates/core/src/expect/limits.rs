//! Alarm limits: the usual settings of a monitor, unless a plan gives others.

use crate::body::Age;

const PRACTICE: &str = "common practice, no source";
const MAKERS: &str = "makers' printed defaults";
/// Switched off.
const OFF: f32 = f32::NAN;

macro_rules! limits {
    ($($name:ident: $id:literal, $unit:literal, [$adult:expr, $child:expr, $neonate:expr], $words:literal, $source:expr;)*) => {
        /// A limit of an alarm.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        #[allow(missing_docs)] // The table below describes each.
        #[repr(u8)]
        pub enum AlarmLimit { $($name,)* }

        impl AlarmLimit {
            /// Every limit, in the order of the table.
            pub const ALL: &'static [AlarmLimit] = &[$(AlarmLimit::$name,)*];
            /// How many there are.
            pub const COUNT: usize = Self::ALL.len();

            /// Word in documents.
            pub const fn id(self) -> &'static str {
                match self { $(AlarmLimit::$name => $id,)* }
            }

            /// Its unit.
            pub const fn unit(self) -> &'static str {
                match self { $(AlarmLimit::$name => $unit,)* }
            }

            /// The limited quantity, for people.
            pub const fn words(self) -> &'static str {
                match self { $(AlarmLimit::$name => $words,)* }
            }

            /// The usual limits for an adult, a child and a neonate; NaN switches the alarm off.
            pub const fn usual(self) -> [f32; 3] {
                match self { $(AlarmLimit::$name => [$adult, $child, $neonate],)* }
            }

            /// Where the usual limits come from.
            pub const fn source(self) -> &'static str {
                match self { $(AlarmLimit::$name => $source,)* }
            }
        }
    };
}

limits! {
    RateLow: "rate_low_bpm", "bpm", [50.0, 75.0, 100.0], "Low heart rate: below it", PRACTICE;
    RateHigh: "rate_high_bpm", "bpm", [120.0, 160.0, 200.0], "High heart rate: above it", PRACTICE;
    ExtremeLow: "extreme_low_bpm", "bpm", [40.0, 65.0, 90.0], "Extreme bradycardia: below it",
        "10 bpm below the low limit: makers' printed defaults";
    ExtremeHigh: "extreme_high_bpm", "bpm", [140.0, 180.0, 220.0], "Extreme tachycardia: above it",
        "20 bpm above the high limit: makers' printed defaults";
    AsystoleS: "asystole_s", "s", [4.0, 4.0, 4.0], "Asystole: no QRS for so long", "3 to 10 s, most often 4 s: makers' printed defaults";
    PauseS: "pause_s", "s", [2.5, 2.5, 2.5], "Pause: no QRS for so long", "settings of 1.5 to 3 s: makers' printed defaults";
    MissedBeatPercent: "missed_beat_percent", "%", [180.0, 180.0, 180.0],
        "Missed beat: an RR interval so long, in percent of the mean of regular ones before it", PRACTICE;
    IrregularPercent: "irregular_percent", "%", [15.0, 15.0, 15.0],
        "Irregular rhythm: mean change from one RR interval to the next over twelve, in percent of their mean", PRACTICE;
    TachycardiaBeats: "tachycardia_beats", "beats", [5.0, 5.0, 5.0], "Ventricular tachycardia: so many ventricular beats in a row",
        "5 or 6: makers' printed rules";
    TachycardiaBpm: "tachycardia_bpm", "bpm", [100.0, 100.0, 100.0], "Ventricular tachycardia: at this rate at least",
        "100 to 130 bpm: makers' printed rules";
    FibrillationS: "fibrillation_s", "s", [4.0, 4.0, 4.0], "Ventricular fibrillation: waves for so long", MAKERS;
    BreathsLow: "breaths_low_per_min", "breaths/min", [8.0, 8.0, 30.0], "Low respiration rate: below it", PRACTICE;
    BreathsHigh: "breaths_high_per_min", "breaths/min", [30.0, 30.0, 100.0], "High respiration rate: above it", PRACTICE;
    ApnoeaS: "apnoea_s", "s", [20.0, 20.0, 20.0], "Apnoea: no breath for so long",
        "20 s, settings of 10 to 40 s: makers' printed defaults";
    ArterialSystolicLow: "arterial_systolic_low_mmhg", "mmHg", [50.0, 50.0, OFF], "Arterial pressure low: systolic below it", MAKERS;
    ArterialSystolicHigh: "arterial_systolic_high_mmhg", "mmHg", [200.0, 200.0, OFF], "Arterial pressure high: systolic above it", MAKERS;
    ArterialMeanLow: "arterial_mean_low_mmhg", "mmHg", [OFF, OFF, 31.0], "Arterial pressure low: mean below it",
        "the defaults of a survey of neonatal alarms, PMC6906083";
    ArterialMeanHigh: "arterial_mean_high_mmhg", "mmHg", [OFF, OFF, 75.0], "Arterial pressure high: mean above it",
        "the defaults of a survey of neonatal alarms, PMC6906083";
    ArterialDiastolicLow: "arterial_diastolic_low_mmhg", "mmHg", [20.0, 20.0, OFF], "Arterial pressure low: diastolic below it", MAKERS;
    ArterialDiastolicHigh: "arterial_diastolic_high_mmhg", "mmHg", [150.0, 150.0, OFF], "Arterial pressure high: diastolic above it", MAKERS;
    PulmonarySystolicLow: "pulmonary_systolic_low_mmhg", "mmHg", [10.0, 10.0, OFF], "Pulmonary artery pressure low: systolic below it", MAKERS;
    PulmonarySystolicHigh: "pulmonary_systolic_high_mmhg", "mmHg", [40.0, 40.0, OFF], "Pulmonary artery pressure high: systolic above it", MAKERS;
    PulmonaryDiastolicHigh: "pulmonary_diastolic_high_mmhg", "mmHg", [18.0, 18.0, OFF], "Pulmonary artery pressure high: diastolic above it", MAKERS;
    VenousMeanLow: "venous_mean_low_mmhg", "mmHg", [0.0, 0.0, OFF], "Central venous pressure low: mean below it", MAKERS;
    VenousMeanHigh: "venous_mean_high_mmhg", "mmHg", [15.0, 15.0, OFF], "Central venous pressure high: mean above it", MAKERS;
    IntracranialMeanLow: "intracranial_mean_low_mmhg", "mmHg", [0.0, 0.0, OFF], "Intracranial pressure low: mean below it", MAKERS;
    IntracranialMeanHigh: "intracranial_mean_high_mmhg", "mmHg", [18.0, 18.0, OFF], "Intracranial pressure high: mean above it", MAKERS;
}

impl AlarmLimit {
    /// The limit with this word.
    pub fn find(word: &str) -> Option<AlarmLimit> {
        AlarmLimit::ALL.iter().copied().find(|limit| limit.id() == word)
    }
}

/// Alarm limits of a monitor: the usual limits of an age, but for those that were set.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AlarmLimits {
    set: [Option<f32>; AlarmLimit::COUNT],
}

impl AlarmLimits {
    /// The usual limits.
    pub const USUAL: AlarmLimits = AlarmLimits { set: [None; AlarmLimit::COUNT] };

    /// Sets one limit for every age; NaN switches its alarm off.
    pub fn set(&mut self, limit: AlarmLimit, value: f32) {
        if let Some(place) = self.set.get_mut(limit as usize) {
            *place = Some(value);
        }
    }

    /// A limit as it holds for an age.
    ///
    /// Extreme rates keep their distance from a low or high limit that was set: 10 bpm below, 20 bpm above.
    pub fn of(&self, limit: AlarmLimit, age: Age) -> f32 {
        if let Some(value) = self.set.get(limit as usize).copied().flatten() {
            return value;
        }
        let moved = |near: AlarmLimit, by: f32| self.set.get(near as usize).copied().flatten().map(|value| value + by);
        let follows = match limit {
            AlarmLimit::ExtremeLow => moved(AlarmLimit::RateLow, -10.0),
            AlarmLimit::ExtremeHigh => moved(AlarmLimit::RateHigh, 20.0),
            _ => None,
        };
        let [adult, child, neonate] = limit.usual();
        follows.unwrap_or(match age {
            Age::Adult => adult,
            Age::Child => child,
            Age::Neonate => neonate,
        })
    }
}
