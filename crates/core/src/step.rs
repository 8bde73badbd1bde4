//! Steps and repeats as plain data, and why some of them make no script.

use crate::anatomy::{BeatCode, EctopicSite};
use crate::artefact::ElectrodesOff;
use crate::field::{Field, OutOfRange};
use crate::recording::{RecordedNoise, Recording};
use crate::settings::Settings;
use crate::time::Span;
use core::fmt;

/// Deepest nesting of repeats.
pub const MAX_NESTING: usize = 4;

/// Shortest step, so that the work a frame is bounded.
pub const MIN_STEP: Span = Span::millis(10);

/// A field that moves in a straight line from the step's setting to `to`, from the start of the step on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ramp {
    /// The field that moves.
    pub field: Field,
    /// Value at the end of the ramp.
    pub to: f32,
    /// How long it takes, at least [`MIN_STEP`]; `None` is as long as the step. A longer ramp is cut off with the step; after
    /// a shorter one the value is held.
    pub over: Option<Span>,
}

/// A premature beat at a set time, besides the rhythm's own ectopy.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimedBeat {
    /// Time after the start of the step at which the focus fires.
    pub after: Span,
    /// Where.
    pub site: EctopicSite,
}

/// A beat of a [`Series`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeriesBeat {
    /// Time after the start of the list of the peak of its QRS.
    pub after: Span,
    /// Type: it says how the beat spreads, and whether a P wave or a pulse of a device leads to it.
    pub code: BeatCode,
}

/// Beats of a step one by one, in the place of those that its rhythm would have by itself.
///
/// The rhythm still gives the shapes of P and QRS, and what its atria do by themselves (fibrillation, flutter, a rate of their own).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Series<'a> {
    /// Beats in order of time, at least [`SHORTEST_RR`] apart.
    pub beats: &'a [SeriesBeat],
    /// After this time the list begins again; at least [`SHORTEST_RR`] from its last beat to its first.
    pub length: Span,
}

/// Shortest time between two beats of a series: 400 a minute, the highest rate of any rhythm.
pub const SHORTEST_RR: Span = Span::millis(150);

/// One step: settings held, or ramped, for a time.
#[derive(Clone, Copy, Debug)]
pub struct Step<'a> {
    /// How long; `None` holds until `Player::next_step`.
    pub duration: Option<Span>,
    /// Settings at the start.
    pub settings: Settings,
    /// Ramps during the step; without a duration each needs its own.
    pub ramps: &'a [Ramp],
    /// Premature beats at given times, in order of time.
    pub beats: &'a [TimedBeat],
    /// Every beat of the step, in the place of those of its rhythm; a step with a series has no premature beats.
    pub series: Option<Series<'a>>,
    /// A recording whose leads the step plays in the place of drawn waves; its beats are those of the series, which it needs.
    pub recording: Option<Recording<'a>>,
    /// Noise of a recording, beside the signal; it glides in over 0.5 s, and out over as long after the step.
    pub noise: Option<&'a RecordedNoise<'a>>,
}

impl<'a> Step<'a> {
    /// A step that lasts this long.
    pub const fn lasting(duration: Span, settings: Settings) -> Step<'a> {
        Step { duration: Some(duration), ..Step::hold(settings) }
    }

    /// A step that holds until `Player::next_step`.
    pub const fn hold(settings: Settings) -> Step<'a> {
        Step { duration: None, settings, ramps: &[], beats: &[], series: None, recording: None, noise: None }
    }

    /// Whether the impedance is flat in it, as one of its electrodes is off.
    pub fn flattens_impedance(&self) -> bool {
        let is_on = |switch| self.settings.get(switch) != 0.0;
        ElectrodesOff::of(is_on).in_impedance(is_on(Field::BreathLead))
    }

    /// The same with these ramps.
    pub const fn with_ramps(self, ramps: &'a [Ramp]) -> Step<'a> {
        Step { ramps, ..self }
    }

    /// The same with these premature beats.
    pub const fn with_beats(self, beats: &'a [TimedBeat]) -> Step<'a> {
        Step { beats, ..self }
    }

    /// The same with these beats in the place of those of its rhythm.
    pub const fn with_series(self, series: Series<'a>) -> Step<'a> {
        Step { series: Some(series), ..self }
    }

    /// The same with the leads of a recording in the place of drawn waves, whose beats are `series`: its times are those of the
    /// stretch that is played.
    ///
    /// Only the time of such a beat is known: [`crate::truth::Beat`] gives it for onset, peak and ends. The rhythm draws no waves
    /// and starts no episodes; pressures and breaths come as in any step. `ecg.gain` and artefacts act on the leads.
    pub const fn with_recording(self, recording: Recording<'a>, series: Series<'a>) -> Step<'a> {
        Step { recording: Some(recording), series: Some(series), ..self }
    }

    /// The same with noise of a recording.
    pub const fn with_noise(self, noise: &'a RecordedNoise<'a>) -> Step<'a> {
        Step { noise: Some(noise), ..self }
    }

    /// Whether pulses of a pacing device are drawn in the step.
    pub(crate) fn is_paced(&self) -> bool {
        let paced = |beat: &SeriesBeat| matches!(beat.code, BeatCode::Paced | BeatCode::PacedFusion);
        match &self.series {
            _ if self.recording.is_some() => false,
            Some(series) => series.beats.iter().any(paced),
            None => self.settings.rhythm().pacing.is_some(),
        }
    }
}

impl<'a> From<Step<'a>> for Item<'a> {
    fn from(step: Step<'a>) -> Item<'a> {
        Item::Step(step)
    }
}

/// A part of a script.
// A step is large and a repeat is not, but there is no heap to put the step on, and items are few.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Copy, Debug)]
pub enum Item<'a> {
    /// Play a step.
    Step(Step<'a>),
    /// Go back to item `first` until the items from there to here have been played `times` times.
    Repeat {
        /// Index of the first item of the block; before this item.
        first: u32,
        /// How often the block is played in all; at least 1.
        times: u32,
        /// Nesting depth, 0 for the innermost, so that nested repeats count apart.
        level: u8,
    },
}

/// An item, of a script or of an image.
pub(crate) enum StepEntry<S> {
    Step(S),
    /// As [`Item::Repeat`].
    Repeat {
        first: u32,
        times: u32,
        level: u8,
    },
}

/// Why items do not make a script.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum ScriptError {
    /// No step.
    Empty,
    /// A step shorter than [`MIN_STEP`], by item index.
    TooShort(usize),
    /// A ramp without a duration of its own or its step's, of a field that can't ramp, or to a value out of range.
    Ramp(usize, OutOfRange),
    /// Premature beats that are not in order of time.
    BeatOrder(usize),
    /// A series without beats, with beats less than [`SHORTEST_RR`] apart or out of order, or beside premature beats.
    Series(usize),
    /// A recording without the series of its beats.
    Recording(usize),
    /// Two settings that exclude each other.
    Conflict(usize, Conflict),
    /// A repeat that does not point back, plays zero times, or whose level is wrong.
    Repeat(usize),
}

/// Two settings of a step that exclude each other.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Conflict {
    /// The rate, bpm, lies outside what the rhythm allows.
    RateOfRhythm {
        /// Rate asked for.
        rate_bpm: f32,
        /// Lowest allowed.
        min_bpm: f32,
        /// Highest allowed.
        max_bpm: f32,
    },
    /// The AV ratio leaves the rhythm no beats.
    RatioOfRhythm {
        /// Ratio asked for.
        ratio: f32,
        /// Least allowed.
        min: f32,
    },
    /// A systolic pressure is not at least 2 mmHg above its diastolic.
    PressureOrder {
        /// Whose.
        of: &'static Pair,
        /// Systolic, mmHg.
        systolic_mmhg: f32,
        /// Diastolic, mmHg.
        diastolic_mmhg: f32,
    },
    /// A test signal without beats in a rhythm that has some: the truth would report beats that are not there.
    BeatsOfTestSignal,
    /// A series of beats in a rhythm whose ventricles fibrillate or flutter.
    SeriesOfRhythm,
    /// A test signal in a step that plays a recording.
    TestSignalOfRecording,
}

/// A systolic pressure and the diastolic one that it must be above.
#[derive(Debug, PartialEq)]
pub struct Pair {
    /// Where, as an adjective.
    pub name: &'static str,
    /// Systolic, diastolic. One of 0 is taken from elsewhere, a diastolic one from the artery.
    pub fields: [Field; 2],
}

pub(crate) static PAIRS: [Pair; 5] = [
    Pair { name: "arterial", fields: [Field::ArterialSystolic, Field::ArterialDiastolic] },
    Pair { name: "femoral", fields: [Field::FemoralSystolic, Field::FemoralDiastolic] },
    Pair { name: "pulmonary", fields: [Field::PulmonarySystolic, Field::PulmonaryDiastolic] },
    Pair { name: "right ventricular", fields: [Field::RightVentricleSystolic, Field::RightVentricleEndDiastolic] },
    Pair { name: "left ventricular", fields: [Field::LeftVentricleSystolic, Field::LeftVentricleEndDiastolic] },
];

impl Conflict {
    /// The fields that exclude each other, so that a reader of documents can point at them.
    pub const fn fields(&self) -> &'static [Field] {
        match self {
            Conflict::RateOfRhythm { .. } => &[Field::RateBpm, Field::AvRatio],
            Conflict::RatioOfRhythm { .. } => &[Field::AvRatio],
            Conflict::PressureOrder { of, .. } => &of.fields,
            Conflict::BeatsOfTestSignal | Conflict::TestSignalOfRecording => &[Field::TestSignal],
            Conflict::SeriesOfRhythm => &[],
        }
    }
}

impl fmt::Display for Conflict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Conflict::RateOfRhythm { rate_bpm, min_bpm, max_bpm } => {
                write!(f, "rate {rate_bpm} bpm is outside the {min_bpm} to {max_bpm} bpm of this rhythm")
            }
            Conflict::RatioOfRhythm { ratio, min } => {
                write!(f, "an AV ratio of {ratio} leaves this rhythm no beats; at least {min}")
            }
            Conflict::PressureOrder { of, systolic_mmhg: systolic, diastolic_mmhg: diastolic } => {
                let name = of.name;
                write!(f, "{name} systolic {systolic} mmHg must be at least 2 mmHg above diastolic {diastolic} mmHg")
            }
            Conflict::BeatsOfTestSignal => {
                f.write_str("this test signal has no beats, so it needs a rhythm that has none: asystole")
            }
            Conflict::TestSignalOfRecording => f.write_str("a step that plays a recording has no test signal"),
            Conflict::SeriesOfRhythm => {
                f.write_str("the ventricles of this rhythm fibrillate or flutter, so no beats of a series can come")
            }
        }
    }
}

impl fmt::Display for ScriptError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ScriptError::Empty => f.write_str("a script needs at least one step"),
            ScriptError::TooShort(i) => write!(f, "item {i}: a step lasts at least 0.01 s"),
            ScriptError::Ramp(i, e) => write!(f, "item {i}: ramp: {e}"),
            ScriptError::BeatOrder(i) => write!(f, "item {i}: premature beats must be in order of time"),
            ScriptError::Series(i) => write!(
                f,
                "item {i}: a series needs beats in order of time, at least 0.15 s apart also where it begins again, and no premature beats beside it"
            ),
            ScriptError::Recording(i) => write!(f, "item {i}: a recording needs the series of its beats"),
            ScriptError::Conflict(i, c) => write!(f, "item {i}: {c}"),
            ScriptError::Repeat(i) => {
                write!(f, "item {i}: a repeat must point back, play at least once and nest at most {MAX_NESTING} deep")
            }
        }
    }
}

impl core::error::Error for ScriptError {}
