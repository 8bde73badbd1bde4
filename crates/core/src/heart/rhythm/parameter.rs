//! A rhythm as a list of numbers: the table of every parameter of its record, with path, unit, range and words.
//!
//! Documents and their schema read this table, and images carry rhythms in its numbers, as scripts and images do with the
//! table of the fields. A parameter that names a kind comes before the parameters that the kind has: in the order of the table,
//! [`Rhythm::with_parameter`] makes any record from any other.

mod words;

use super::{
    Atria, AvNode, Coupling, EctopicConduction, EctopicSite, Ectopy, Escape, Focus, JunctionalP, Pacing, PacingFault,
    PacingMode, Pattern, Rhythm, SinusFault, UsualRate, Ventricles,
};
use crate::anatomy::{AtrialOrigin, BeatCode, Pathway};
use crate::field::after_number;
use core::fmt;
use words::{ALARMS, ATRIA, CODES, FOCI, JUNCTIONS, OR_NO_FOCUS, PATHWAYS, PRIORITIES, SITES, TWISTING};

/// Name, unit, range and meaning of a parameter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ParameterInfo {
    /// Path in a document, groups separated by a dot.
    pub path: &'static str,
    /// Unit as printed.
    pub unit: &'static str,
    /// Smallest value allowed.
    pub min: f32,
    /// Largest value allowed.
    pub max: f32,
    /// Whether it is a whole number.
    pub whole: bool,
    /// One line on what it means.
    pub doc: &'static str,
    /// Words for the values 0, 1, 2 and so on, where a document names a choice; else empty.
    pub words: &'static [&'static str],
}

macro_rules! parameters {
    (@whole number) => { false };
    (@whole $other:ident) => { true };
    (@words) => { &[] };
    (@words $words:expr) => { $words };
    ($($name:ident: $path:literal, $unit:literal, $kind:ident $min:literal ..= $max:literal, $doc:literal $(, $words:expr)?;)*) => {
        /// A number of a rhythm's record.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        #[repr(u8)]
        pub enum Parameter { $(#[doc = $doc] $name,)* }

        impl Parameter {
            /// Every parameter, in the order of the table.
            pub const ALL: &'static [Parameter] = &[$(Parameter::$name,)*];

            /// The parameter's row in the table.
            pub const fn info(self) -> &'static ParameterInfo {
                match self {
                    $(Parameter::$name => &ParameterInfo {
                        path: $path, unit: $unit, min: $min, max: $max, whole: parameters!(@whole $kind), doc: $doc,
                        words: parameters!(@words $($words)?),
                    },)*
                }
            }
        }

        /// The part of the table that is read while a rhythm is made, without the texts.
        static RANGES: [(f32, f32, bool); Parameter::ALL.len()] = [$(($min, $max, parameters!(@whole $kind)),)*];
    };
}

parameters! {
    UsualOf: "usual.of", "1", word 0.0 ..= 2.0, "What the usual rate is stated of: a factor on the body's resting rate, a rate of an adult's ventricles, or a rate of an adult's atria.", &["resting", "adult", "atria"];
    UsualFactor: "usual.factor", "1", number 0.05 ..= 10.0, "Usual rate over the body's resting rate.";
    UsualBpm: "usual.bpm", "bpm", number 1.0 ..= 500.0, "Usual rate in an adult.";
    UsualFollows: "usual.follows", "1", number 0.0 ..= 2.0, "How far the rate follows the resting rate of a smaller body: 0 not at all, 1 in proportion.";
    MinBpm: "min_bpm", "bpm", number 1.0 ..= 500.0, "Lowest rate allowed; of the atria where the usual rate is theirs.";
    MaxBpm: "max_bpm", "bpm", number 1.0 ..= 500.0, "Highest rate allowed; of the atria where the usual rate is theirs.";
    Alarm: "alarm", "1", word 0.0 ..= 3.0, "Priority of the alarm expected of a monitor with usual settings.", ALARMS;
    Ejection: "ejection", "1", number 0.0 ..= 2.0, "Stroke volume over that of sinus rhythm at the same filling time; 0 ejects nothing.";
    Atria: "atria.source", "1", word 0.0 ..= 11.0, "Source of atrial impulses: the sinus node or a focus in its place, several foci in turn, a sinus node independent of the ventricles, fibrillation, a pacing device, none.", ATRIA;
    AtriaSpread: "atria.spread", "1", number 0.0 ..= 0.5, "Several foci: how far their intervals vary, share of the mean.";
    AtriaHz: "atria.hz", "Hz", number 1.0 ..= 20.0, "Fibrillation of the atria: dominant frequency.";
    AtriaMv: "atria.mv", "mV", number 0.0 ..= 1.0, "Fibrillation of the atria: typical peak amplitude in V1.";
    SinusFault: "sinus_fault.kind", "1", word 0.0 ..= 2.0, "Disease of the sinus node: it stops for the pause set, or an impulse does not leave it.", &["none", "arrest", "exit-block"];
    SinusFaultBeats: "sinus_fault.beats", "1", whole 1.0 ..= 1000.0, "Sinus beats from one fault to the next.";
    Av: "av", "1", word 0.0 ..= 6.0, "AV conduction: each impulse; growing delay (type I); one in a round lost (type II); one in a round conducted; a varying ratio; irregular as in fibrillation; none.", &["conducting", "decremental", "dropping", "one-of", "varying", "irregular", "blocked"];
    Pathway: "pathway", "1", word 0.0 ..= 12.0, "How conducted beats spread.", PATHWAYS;
    Code: "code", "1", word 0.0 ..= 16.0, "How conducted beats are annotated.", CODES;
    Ventricles: "ventricles.source", "1", word 0.0 ..= 3.0, "Source of the ventricles: they follow what reaches them, or beat from a focus at the rate set, flutter or fibrillate.", &["following", "focus", "flutter", "fibrillation"];
    VentriclesFocus: "ventricles.focus", "1", word 0.0 ..= 18.0, "Where the focus lies: in the junction with its P before, within or after the QRS or none, or in the ventricles.", &FOCI;
    VentriclesTwist: "ventricles.twist_beats", "1", number 1.0 ..= 100.0, "A twisting focus: beats in which the axis turns over.";
    VentriclesCode: "ventricles.code", "1", word 0.0 ..= 16.0, "How beats of the focus are annotated.", CODES;
    VentriclesSpread: "ventricles.spread", "1", number 0.0 ..= 0.5, "Standard deviation of the focus's interval over its mean.";
    VentriclesHz: "ventricles.hz", "Hz", number 1.0 ..= 20.0, "Fibrillation of the ventricles: dominant frequency.";
    VentriclesMv: "ventricles.mv", "mV", number 0.0 ..= 5.0, "Flutter and fibrillation of the ventricles: typical peak-to-peak amplitude in lead II.";
    EscapeFocus: "escape.focus", "1", word 0.0 ..= 19.0, "Where an escape focus lies.", &OR_NO_FOCUS;
    EscapeTwist: "escape.twist_beats", "1", number 1.0 ..= 100.0, "A twisting escape focus: beats in which the axis turns over.";
    EscapeBpm: "escape.bpm", "bpm", number 5.0 ..= 300.0, "Rate of the escape focus.";
    EscapeCode: "escape.code", "1", word 0.0 ..= 16.0, "How escape beats are annotated.", CODES;
    Ectopy: "ectopy.site", "1", word 0.0 ..= 5.0, "Where premature beats come from.", SITES;
    EctopyPattern: "ectopy.pattern", "1", word 0.0 ..= 1.0, "When premature beats come: after so many conducted beats, or at random.", &["after-every", "per-minute"];
    EctopyBeats: "ectopy.beats", "1", whole 1.0 ..= 1000.0, "Conducted beats before each group of premature beats: 1 is bigeminy.";
    EctopyPerMinute: "ectopy.per_minute", "1/min", number 0.1 ..= 100.0, "Groups of premature beats a minute, at random.";
    EctopyCoupling: "ectopy.coupling", "1", word 0.0 ..= 1.0, "What the coupling is a share of: the sinus period, or QT, so that below 1 the beat falls on the T wave.", &["period", "qt"];
    EctopyShare: "ectopy.share", "1", number 0.05 ..= 2.0, "Coupling: share of the sinus period or of QT after the beat before.";
    EctopyFoci: "ectopy.foci", "1", whole 1.0 ..= 4.0, "Foci of premature beats in the ventricles, by chance; with one, from the site.";
    EctopyRun: "ectopy.run", "1", whole 1.0 ..= 100.0, "Premature beats in a group: 1 single, 2 a couplet, 3 or more a run.";
    EctopyRunPeriod: "ectopy.run_period", "1", number 0.1 ..= 2.0, "Interval within a group, share of the sinus period.";
    EctopyInterpolated: "ectopy.interpolated", "1", word 0.0 ..= 1.0, "Whether a ventricular premature beat leaves the AV node alone, so that the next sinus beat comes on time.", &["no", "yes"];
    EctopyConduction: "ectopy.conduction", "1", word 0.0 ..= 2.0, "What becomes of a premature beat of the atria: it goes down as others do, with the right bundle branch blocked, or not at all.", &["normal", "aberrant", "blocked"];
    PacingMode: "pacing.mode", "1", word 0.0 ..= 4.0, "How a pacing device at the rate set works; biventricular is as ddd, with an electrode in each ventricle.", &["none", "aai", "vvi", "ddd", "biventricular"];
    PacingFault: "pacing.fault", "1", word 0.0 ..= 4.0, "Fault of the device: pulses without a beat, own beats not seen, pulses held back, or atria activated backwards by each of its beats, which it follows.", &["none", "no-capture", "no-sensing", "oversensing", "loop"];
    PacingEvery: "pacing.every", "1", whole 1.0 ..= 1000.0, "Every so many-th pulse has the fault.";
}

const PACING_MODES: [PacingMode; 4] = [PacingMode::Aai, PacingMode::Vvi, PacingMode::Ddd, PacingMode::Biventricular];
const CONDUCTIONS: [EctopicConduction; 3] =
    [EctopicConduction::Normal, EctopicConduction::Aberrant, EctopicConduction::Blocked];
const AV: [AvNode; 7] = [
    AvNode::Conducting,
    AvNode::Decremental,
    AvNode::Dropping,
    AvNode::OneOf,
    AvNode::Varying,
    AvNode::Irregular,
    AvNode::Blocked,
];
/// Beats in which a twisting focus turns over, where none is named (torsades: 5 to 20, textbooks).
const TWIST_BEATS: f32 = 10.0;

// Every choice has its word.
const _: () = {
    assert!(PATHWAYS.len() == Pathway::ALL.len() && CODES.len() == BeatCode::ALL.len());
    assert!(FOCI.len() == JUNCTIONS.len() + Pathway::ALL.len() + 2 && ATRIA.len() == AtrialOrigin::ALL.len() + 5);
    let mut i = 0;
    while i < Parameter::ALL.len() {
        let info = Parameter::ALL[i].info();
        assert!(info.words.is_empty() || info.max as usize + 1 == info.words.len());
        i += 1;
    }
};

/// Why a rhythm does not take a value.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum ParameterError {
    /// It is out of range, no whole number where one is needed, or not a number.
    OutOfRange(Parameter, f32),
    /// The rhythm has no such parameter: the kind that has it is not chosen.
    Absent(Parameter),
}

impl fmt::Display for ParameterError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ParameterError::OutOfRange(parameter, value) => {
                let info = parameter.info();
                if info.whole {
                    return write!(f, "{} = {value} is no whole number from {} to {}", info.path, info.min, info.max);
                }
                let [space, unit] = after_number(info.unit);
                write!(f, "{} = {value} is outside {} to {}{space}{unit}", info.path, info.min, info.max)
            }
            ParameterError::Absent(parameter) => {
                write!(f, "{} does not belong to what the rhythm has", parameter.info().path)
            }
        }
    }
}

impl core::error::Error for ParameterError {}

impl Parameter {
    /// Whether a value lies in the range, and is whole where it has to be; NaN does not.
    pub fn allows(self, value: f32) -> bool {
        let (min, max, whole) = RANGES[self as usize];
        value >= min && value <= max && (!whole || value == f32::from(value as u16))
    }
}

/// The place of a choice in a list.
fn place<T: PartialEq>(all: &[T], one: T) -> f32 {
    all.iter().position(|other| *other == one).unwrap_or(0) as f32
}

/// The choice at a place of a list, which a range has checked.
fn at<T: Copy>(all: &[T], value: f32) -> Option<T> {
    all.get(value as usize).copied()
}

impl Focus {
    fn number(self) -> f32 {
        match self {
            Focus::Junction(p) => place(&JUNCTIONS, p),
            Focus::Ventricle(pathway) => 4.0 + place(Pathway::ALL, pathway),
            Focus::Twisting(_) => TWISTING as f32,
            Focus::Shifting => TWISTING as f32 + 1.0,
        }
    }

    /// The focus of a number; it keeps how fast it twists.
    fn numbered(self, value: f32) -> Focus {
        let number = value as usize;
        if let Some(p) = JUNCTIONS.get(number) {
            return Focus::Junction(*p);
        }
        match Pathway::ALL.get(number.saturating_sub(JUNCTIONS.len())) {
            Some(pathway) => Focus::Ventricle(*pathway),
            None if number == TWISTING => Focus::Twisting(self.twist().unwrap_or(TWIST_BEATS)),
            None => Focus::Shifting,
        }
    }

    fn twist(self) -> Option<f32> {
        match self {
            Focus::Twisting(beats) => Some(beats),
            _ => None,
        }
    }
}

impl Rhythm {
    /// The value of a parameter; `None` where the rhythm has no such parameter.
    ///
    /// All of them, in order, make the same rhythm from any other by [`Rhythm::with_parameter`].
    pub fn parameter(&self, parameter: Parameter) -> Option<f32> {
        // Named one by one, so that a new part of the record does not stay without a row.
        let Rhythm {
            id: _,
            name: _,
            values: _,
            usual,
            min_bpm,
            max_bpm,
            alarm,
            atria,
            sinus_fault,
            av,
            pathway,
            code,
            ventricles,
            escape,
            ectopy,
            pacing,
            ejection,
        } = *self;
        match parameter {
            Parameter::UsualOf | Parameter::UsualFactor | Parameter::UsualBpm | Parameter::UsualFollows => {
                usual_parameter(usual, parameter)
            }
            Parameter::MinBpm => Some(min_bpm),
            Parameter::MaxBpm => Some(max_bpm),
            Parameter::Alarm => Some(place(&PRIORITIES, alarm)),
            Parameter::Ejection => Some(ejection),
            Parameter::Atria | Parameter::AtriaSpread | Parameter::AtriaHz | Parameter::AtriaMv => {
                atria_parameter(atria, parameter)
            }
            Parameter::SinusFault => Some(match sinus_fault {
                None => 0.0,
                Some(SinusFault::Arrest(_)) => 1.0,
                Some(SinusFault::ExitBlock(_)) => 2.0,
            }),
            Parameter::SinusFaultBeats => sinus_fault.map(|fault| match fault {
                SinusFault::Arrest(beats) | SinusFault::ExitBlock(beats) => beats.into(),
            }),
            Parameter::Av => Some(place(&AV, av)),
            Parameter::Pathway => Some(place(Pathway::ALL, pathway)),
            Parameter::Code => Some(place(BeatCode::ALL, code)),
            Parameter::Ventricles
            | Parameter::VentriclesFocus
            | Parameter::VentriclesTwist
            | Parameter::VentriclesCode
            | Parameter::VentriclesSpread
            | Parameter::VentriclesHz
            | Parameter::VentriclesMv => ventricles_parameter(ventricles, parameter),
            Parameter::EscapeFocus => Some(escape.map_or(0.0, |escape| 1.0 + escape.focus.number())),
            Parameter::EscapeTwist => escape.and_then(|escape| escape.focus.twist()),
            Parameter::EscapeBpm => escape.map(|escape| escape.bpm),
            Parameter::EscapeCode => escape.map(|escape| place(BeatCode::ALL, escape.code)),
            Parameter::Ectopy => Some(ectopy.map_or(0.0, |ectopy| 1.0 + place(EctopicSite::ALL, ectopy.site))),
            Parameter::PacingMode => Some(pacing.map_or(0.0, |pacing| 1.0 + place(&PACING_MODES, pacing.mode))),
            Parameter::PacingFault => pacing.map(|pacing| match pacing.fault {
                PacingFault::None => 0.0,
                PacingFault::NoCapture(_) => 1.0,
                PacingFault::NoSensing => 2.0,
                PacingFault::Oversensing(_) => 3.0,
                PacingFault::Loop => 4.0,
            }),
            Parameter::PacingEvery => match pacing?.fault {
                PacingFault::NoCapture(every) | PacingFault::Oversensing(every) => Some(every.into()),
                PacingFault::None | PacingFault::NoSensing | PacingFault::Loop => None,
            },
            _ => ectopy.and_then(|ectopy| ectopy_parameter(&ectopy, parameter)),
        }
    }

    /// The same with one parameter changed; a kind that stays keeps its other parameters, a new one starts from usual ones.
    ///
    /// # Errors
    /// A value out of range, or a parameter that the rhythm does not have.
    pub fn with_parameter(mut self, parameter: Parameter, value: f32) -> Result<Rhythm, ParameterError> {
        if !parameter.allows(value) {
            return Err(ParameterError::OutOfRange(parameter, value));
        }
        self.put(parameter, value).ok_or(ParameterError::Absent(parameter))?;
        Ok(self)
    }

    /// Puts an allowed value in its place; `None` if there is none.
    fn put(&mut self, parameter: Parameter, value: f32) -> Option<()> {
        // Whole numbers are at most 1000.
        let count = value as u16;
        match parameter {
            Parameter::UsualOf => {
                self.usual = match (self.usual, count) {
                    (UsualRate::Resting(factor), 0) => UsualRate::Resting(factor),
                    (_, 0) => UsualRate::Resting(1.0),
                    (UsualRate::Adult(bpm, follows) | UsualRate::Atrial(bpm, follows), 1) => {
                        UsualRate::Adult(bpm, follows)
                    }
                    (UsualRate::Adult(bpm, follows) | UsualRate::Atrial(bpm, follows), _) => {
                        UsualRate::Atrial(bpm, follows)
                    }
                    (UsualRate::Resting(factor), 1) => UsualRate::Adult(super::ADULT_RESTING_BPM * factor, 1.0),
                    (UsualRate::Resting(factor), _) => UsualRate::Atrial(super::ADULT_RESTING_BPM * factor, 1.0),
                }
            }
            Parameter::UsualFactor => match &mut self.usual {
                UsualRate::Resting(factor) => *factor = value,
                _ => return None,
            },
            Parameter::UsualBpm | Parameter::UsualFollows => match &mut self.usual {
                UsualRate::Adult(bpm, follows) | UsualRate::Atrial(bpm, follows) => {
                    *(if parameter == Parameter::UsualBpm { bpm } else { follows }) = value;
                }
                UsualRate::Resting(_) => return None,
            },
            Parameter::MinBpm => self.min_bpm = value,
            Parameter::MaxBpm => self.max_bpm = value,
            Parameter::Alarm => self.alarm = at(&PRIORITIES, value)?,
            Parameter::Ejection => self.ejection = value,
            Parameter::Atria => {
                self.atria = match (AtrialOrigin::ALL.get(usize::from(count)), count, self.atria) {
                    (Some(origin), ..) => Atria::Driving(*origin),
                    (_, 7, Atria::Multifocal(_)) | (_, 9, Atria::Fibrillation { .. }) => self.atria,
                    (_, 7, _) => Atria::Multifocal(0.15),
                    (_, 8, _) => Atria::Independent,
                    (_, 9, _) => Atria::Fibrillation { hz: 6.0, mv: 0.1 },
                    (_, 10, _) => Atria::Paced,
                    _ => Atria::Still,
                }
            }
            Parameter::AtriaSpread => match &mut self.atria {
                Atria::Multifocal(spread) => *spread = value,
                _ => return None,
            },
            Parameter::AtriaHz | Parameter::AtriaMv => match &mut self.atria {
                Atria::Fibrillation { hz, mv } => *(if parameter == Parameter::AtriaHz { hz } else { mv }) = value,
                _ => return None,
            },
            Parameter::SinusFault => {
                let beats = self.parameter(Parameter::SinusFaultBeats).map_or(8, |beats| beats as u16);
                self.sinus_fault = match count {
                    0 => None,
                    1 => Some(SinusFault::Arrest(beats)),
                    _ => Some(SinusFault::ExitBlock(beats)),
                }
            }
            Parameter::SinusFaultBeats => match self.sinus_fault.as_mut()? {
                SinusFault::Arrest(beats) | SinusFault::ExitBlock(beats) => *beats = count,
            },
            Parameter::Av => self.av = at(&AV, value)?,
            Parameter::Pathway => self.pathway = at(Pathway::ALL, value)?,
            Parameter::Code => self.code = at(BeatCode::ALL, value)?,
            Parameter::Ventricles => {
                self.ventricles = match (count, self.ventricles) {
                    (0, _) => Ventricles::Following,
                    (1, Ventricles::Focus { .. }) | (2, Ventricles::Flutter { .. }) => self.ventricles,
                    (3, Ventricles::Fibrillation { .. }) => self.ventricles,
                    (1, _) => Ventricles::Focus {
                        focus: Focus::Ventricle(Pathway::LeftVentricle),
                        code: BeatCode::VentricularPremature,
                        spread: 0.0,
                    },
                    (2, _) => Ventricles::Flutter { mv: 2.0 },
                    _ => Ventricles::Fibrillation { hz: 5.0, mv: 1.0 },
                }
            }
            Parameter::VentriclesFocus
            | Parameter::VentriclesTwist
            | Parameter::VentriclesCode
            | Parameter::VentriclesSpread => match &mut self.ventricles {
                Ventricles::Focus { focus, code, spread } => match parameter {
                    Parameter::VentriclesFocus => *focus = focus.numbered(value),
                    Parameter::VentriclesCode => *code = at(BeatCode::ALL, value)?,
                    Parameter::VentriclesSpread => *spread = value,
                    _ => twist(focus, value)?,
                },
                _ => return None,
            },
            Parameter::VentriclesHz => match &mut self.ventricles {
                Ventricles::Fibrillation { hz, .. } => *hz = value,
                _ => return None,
            },
            Parameter::VentriclesMv => match &mut self.ventricles {
                Ventricles::Fibrillation { mv, .. } | Ventricles::Flutter { mv } => *mv = value,
                _ => return None,
            },
            Parameter::EscapeFocus => {
                let usual =
                    Escape { focus: Focus::Junction(JunctionalP::Absent), bpm: 45.0, code: BeatCode::JunctionalEscape };
                let escape = self.escape.unwrap_or(usual);
                let focus = escape.focus.numbered(value - 1.0);
                self.escape = (count > 0).then_some(Escape { focus, ..escape });
            }
            Parameter::EscapeTwist => twist(&mut self.escape.as_mut()?.focus, value)?,
            Parameter::EscapeBpm => self.escape.as_mut()?.bpm = value,
            Parameter::EscapeCode => self.escape.as_mut()?.code = at(BeatCode::ALL, value)?,
            Parameter::Ectopy => {
                let site = at(EctopicSite::ALL, value - 1.0).filter(|_| count > 0);
                self.ectopy = site.map(|site| Ectopy { site, ..self.ectopy.unwrap_or(SINGLE) });
            }
            Parameter::PacingMode => {
                let fault = self.pacing.map_or(PacingFault::None, |pacing| pacing.fault);
                let mode = at(&PACING_MODES, value - 1.0).filter(|_| count > 0);
                self.pacing = mode.map(|mode| Pacing { mode, fault });
            }
            Parameter::PacingFault => {
                let every = self.parameter(Parameter::PacingEvery).map_or(3, |every| every as u16);
                self.pacing.as_mut()?.fault = match count {
                    0 => PacingFault::None,
                    1 => PacingFault::NoCapture(every),
                    2 => PacingFault::NoSensing,
                    3 => PacingFault::Oversensing(every),
                    _ => PacingFault::Loop,
                }
            }
            Parameter::PacingEvery => match &mut self.pacing.as_mut()?.fault {
                PacingFault::NoCapture(every) | PacingFault::Oversensing(every) => *every = count,
                PacingFault::None | PacingFault::NoSensing | PacingFault::Loop => return None,
            },
            _ => put_ectopy(self.ectopy.as_mut()?, parameter, value)?,
        }
        Some(())
    }
}

/// Premature beats before a document says more: single, from the right ventricle, now and then.
const SINGLE: Ectopy = Ectopy {
    site: EctopicSite::RightVentricle,
    pattern: Pattern::PerMinute(6.0),
    coupling: Coupling::Period(0.6),
    foci: 1,
    run: 1,
    run_period: 0.5,
    interpolated: false,
    conduction: EctopicConduction::Normal,
};

fn twist(focus: &mut Focus, value: f32) -> Option<()> {
    match focus {
        Focus::Twisting(beats) => *beats = value,
        _ => return None,
    }
    Some(())
}

fn usual_parameter(usual: UsualRate, parameter: Parameter) -> Option<f32> {
    match (usual, parameter) {
        (UsualRate::Resting(_), Parameter::UsualOf) => Some(0.0),
        (UsualRate::Adult(..), Parameter::UsualOf) => Some(1.0),
        (UsualRate::Atrial(..), Parameter::UsualOf) => Some(2.0),
        (UsualRate::Resting(factor), Parameter::UsualFactor) => Some(factor),
        (UsualRate::Adult(bpm, _) | UsualRate::Atrial(bpm, _), Parameter::UsualBpm) => Some(bpm),
        (UsualRate::Adult(_, follows) | UsualRate::Atrial(_, follows), Parameter::UsualFollows) => Some(follows),
        _ => None,
    }
}

fn atria_parameter(atria: Atria, parameter: Parameter) -> Option<f32> {
    match (atria, parameter) {
        (Atria::Driving(origin), Parameter::Atria) => Some(place(AtrialOrigin::ALL, origin)),
        (Atria::Multifocal(_), Parameter::Atria) => Some(7.0),
        (Atria::Independent, Parameter::Atria) => Some(8.0),
        (Atria::Fibrillation { .. }, Parameter::Atria) => Some(9.0),
        (Atria::Paced, Parameter::Atria) => Some(10.0),
        (Atria::Still, Parameter::Atria) => Some(11.0),
        (Atria::Multifocal(spread), Parameter::AtriaSpread) => Some(spread),
        (Atria::Fibrillation { hz, .. }, Parameter::AtriaHz) => Some(hz),
        (Atria::Fibrillation { mv, .. }, Parameter::AtriaMv) => Some(mv),
        _ => None,
    }
}

fn ventricles_parameter(ventricles: Ventricles, parameter: Parameter) -> Option<f32> {
    match (ventricles, parameter) {
        (Ventricles::Following, Parameter::Ventricles) => Some(0.0),
        (Ventricles::Focus { .. }, Parameter::Ventricles) => Some(1.0),
        (Ventricles::Flutter { .. }, Parameter::Ventricles) => Some(2.0),
        (Ventricles::Fibrillation { .. }, Parameter::Ventricles) => Some(3.0),
        (Ventricles::Focus { focus, .. }, Parameter::VentriclesFocus) => Some(focus.number()),
        (Ventricles::Focus { focus, .. }, Parameter::VentriclesTwist) => focus.twist(),
        (Ventricles::Focus { code, .. }, Parameter::VentriclesCode) => Some(place(BeatCode::ALL, code)),
        (Ventricles::Focus { spread, .. }, Parameter::VentriclesSpread) => Some(spread),
        (Ventricles::Fibrillation { hz, .. }, Parameter::VentriclesHz) => Some(hz),
        (Ventricles::Fibrillation { mv, .. } | Ventricles::Flutter { mv }, Parameter::VentriclesMv) => Some(mv),
        _ => None,
    }
}

fn ectopy_parameter(ectopy: &Ectopy, parameter: Parameter) -> Option<f32> {
    match (parameter, ectopy.pattern, ectopy.coupling) {
        (Parameter::EctopyPattern, Pattern::AfterEvery(_), _) => Some(0.0),
        (Parameter::EctopyPattern, Pattern::PerMinute(_), _) => Some(1.0),
        (Parameter::EctopyBeats, Pattern::AfterEvery(beats), _) => Some(beats.into()),
        (Parameter::EctopyPerMinute, Pattern::PerMinute(per_minute), _) => Some(per_minute),
        (Parameter::EctopyCoupling, _, Coupling::Period(_)) => Some(0.0),
        (Parameter::EctopyCoupling, _, Coupling::Qt(_)) => Some(1.0),
        (Parameter::EctopyShare, _, Coupling::Period(share) | Coupling::Qt(share)) => Some(share),
        (Parameter::EctopyFoci, ..) => Some(ectopy.foci.into()),
        (Parameter::EctopyRun, ..) => Some(ectopy.run.into()),
        (Parameter::EctopyRunPeriod, ..) => Some(ectopy.run_period),
        (Parameter::EctopyInterpolated, ..) => Some(f32::from(u8::from(ectopy.interpolated))),
        (Parameter::EctopyConduction, ..) => Some(place(&CONDUCTIONS, ectopy.conduction)),
        _ => None,
    }
}

fn put_ectopy(ectopy: &mut Ectopy, parameter: Parameter, value: f32) -> Option<()> {
    match (parameter, &mut ectopy.pattern, &mut ectopy.coupling) {
        (Parameter::EctopyPattern, pattern, _) => match (value as u8, *pattern) {
            (0, Pattern::PerMinute(_)) => *pattern = Pattern::AfterEvery(1),
            (1, Pattern::AfterEvery(_)) => *pattern = Pattern::PerMinute(6.0),
            _ => {}
        },
        (Parameter::EctopyBeats, Pattern::AfterEvery(beats), _) => *beats = value as u16,
        (Parameter::EctopyPerMinute, Pattern::PerMinute(per_minute), _) => *per_minute = value,
        (Parameter::EctopyCoupling, _, coupling) => match *coupling {
            Coupling::Period(share) if value > 0.5 => *coupling = Coupling::Qt(share),
            Coupling::Qt(share) if value < 0.5 => *coupling = Coupling::Period(share),
            _ => {}
        },
        (Parameter::EctopyShare, _, Coupling::Period(share) | Coupling::Qt(share)) => *share = value,
        (Parameter::EctopyFoci, ..) => ectopy.foci = value as u8,
        (Parameter::EctopyRun, ..) => ectopy.run = value as u8,
        (Parameter::EctopyRunPeriod, ..) => ectopy.run_period = value,
        (Parameter::EctopyInterpolated, ..) => ectopy.interpolated = value > 0.5,
        (Parameter::EctopyConduction, ..) => ectopy.conduction = at(&CONDUCTIONS, value)?,
        _ => return None,
    }
    Some(())
}
