//! Rhythm records: the parameters of the conduction model that make each rhythm.
//!
//! A rhythm is data. A new one is a new record in [`super::catalogue`], not new control flow.

pub mod parameter;

use crate::anatomy::{AtrialOrigin, BeatCode, Pathway};
use crate::field::Field;
use crate::math;

pub use crate::anatomy::EctopicSite;

/// Alarm priority that a monitor is expected to give (IEC 60601-1-8 names).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Priority {
    /// No alarm.
    None,
    /// Awareness.
    Low,
    /// Prompt response.
    Medium,
    /// Immediate response.
    High,
}

impl Priority {
    /// Word in tables and sidecars.
    pub const fn id(self) -> &'static str {
        match self {
            Priority::None => "none",
            Priority::Low => "low",
            Priority::Medium => "medium",
            Priority::High => "high",
        }
    }
}

/// Where a rhythm's usual rate comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum UsualRate {
    /// The body's resting rate times this.
    Resting(f32),
    /// This rate in an adult, bpm, and how far it follows the resting rate of a smaller body: 0 not at all, 1 in proportion.
    Adult(f32, f32),
    /// As `Adult`, but of the atria, per minute; what reaches the ventricles follows from the AV ratio.
    Atrial(f32, f32),
}

/// The source of atrial impulses.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Atria {
    /// The sinus node, or a focus that took its place, at the rate that makes the ventricular rate set.
    Driving(AtrialOrigin),
    /// Several foci in turn, each with its own P wave and PR, at intervals that vary by this share.
    Multifocal(f32),
    /// The sinus node at the atrial rate set, independent of the ventricles.
    Independent,
    /// Fibrillation: no P waves, fibrillatory waves of this dominant frequency, Hz, and peak amplitude in V1, mV.
    Fibrillation {
        /// Dominant frequency, Hz.
        hz: f32,
        /// Typical peak amplitude in V1, mV.
        mv: f32,
    },
    /// A pacing device drives the atria.
    Paced,
    /// No atrial activity of their own.
    Still,
}

/// How the AV node passes atrial impulses on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum AvNode {
    /// Each with the PR interval set.
    Conducting,
    /// With a delay that grows the less time the node had to recover, until it fails (second degree type I). One in
    /// `ratio` impulses is lost.
    Decremental,
    /// With the PR interval set; one in `ratio` impulses is lost below the node (type II).
    Dropping,
    /// One in `ratio` impulses passes, with `ratio` the AV ratio set (flutter, 2:1, high grade).
    OneOf,
    /// As `OneOf`, with a ratio that changes by chance between 2 and the AV ratio.
    Varying,
    /// Irregularly, as fibrillating atria make it: RR intervals without memory, mean as set.
    Irregular,
    /// Not at all.
    Blocked,
}

/// A disease of the sinus node.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SinusFault {
    /// It stops for the pause set after this many beats.
    Arrest(u16),
    /// Every so many-th impulse does not leave it.
    ExitBlock(u16),
}

/// Where the P wave lies in a junctional beat.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum JunctionalP {
    /// Before the QRS, PR below 120 ms.
    Before,
    /// Within the QRS.
    Within,
    /// After the QRS.
    After,
    /// The junction does not reach the atria.
    Absent,
}

/// A focus below the atria.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Focus {
    /// In the AV junction: a narrow QRS.
    Junction(JunctionalP),
    /// In the ventricles, spreading this way.
    Ventricle(Pathway),
    /// In the ventricles, its axis turning over, by half a turn, in this many beats (torsades de pointes).
    Twisting(f32),
    /// In the ventricles, its axis and size changing by chance from beat to beat (polymorphic tachycardia).
    Shifting,
}

/// A focus that fires when nothing else does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Escape {
    /// Where.
    pub focus: Focus,
    /// Its rate, bpm.
    pub bpm: f32,
    /// How its beats are annotated.
    pub code: BeatCode,
}

/// The ventricles' own source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ventricles {
    /// Follow what reaches them.
    Following,
    /// A regular focus at the rate set.
    Focus {
        /// Where.
        focus: Focus,
        /// How its beats are annotated.
        code: BeatCode,
        /// Standard deviation of its interval over the mean.
        spread: f32,
    },
    /// Flutter: one large sine without pause at the rate set, peak to peak in lead II, mV.
    Flutter {
        /// Typical peak-to-peak amplitude in lead II, mV.
        mv: f32,
    },
    /// Fibrillation of this dominant frequency, Hz, and peak-to-peak amplitude in lead II, mV.
    Fibrillation {
        /// Dominant frequency, Hz.
        hz: f32,
        /// Typical peak-to-peak amplitude in lead II, mV.
        mv: f32,
    },
}

/// When premature beats come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pattern {
    /// After every `n`-th conducted beat: 1 is bigeminy, 2 trigeminy.
    AfterEvery(u16),
    /// At random, about this many times a minute, never closer than two conducted beats.
    PerMinute(f32),
}

/// How early a premature beat is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Coupling {
    /// Share of the sinus period after the preceding beat.
    Period(f32),
    /// Share of the QT interval after the preceding QRS: below 1 it falls on the T wave.
    Qt(f32),
}

/// What becomes of a premature beat of the atria on its way to the ventricles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EctopicConduction {
    /// It goes down as other beats do.
    Normal,
    /// It finds the right bundle branch not yet recovered: a wide QRS.
    Aberrant,
    /// It finds the AV node not yet recovered: a P wave without a QRS, and a pause.
    Blocked,
}

/// Premature beats.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ectopy {
    /// Where they come from.
    pub site: EctopicSite,
    /// When.
    pub pattern: Pattern,
    /// How early.
    pub coupling: Coupling,
    /// From how many foci in the ventricles, in turn by chance; with one, from the site.
    pub foci: u8,
    /// Beats in a group: 1 single, 2 couplet, 3 or more a run.
    pub run: u8,
    /// Interval within a group, share of the sinus period.
    pub run_period: f32,
    /// A ventricular beat leaves the AV node alone, so that the next sinus beat comes on time.
    pub interpolated: bool,
    /// Of atrial beats: how they reach the ventricles.
    pub conduction: EctopicConduction,
}

/// How a pacing device works.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PacingMode {
    /// Paces and senses the atrium.
    Aai,
    /// Paces and senses the ventricle.
    Vvi,
    /// Paces and senses both, with an AV delay of the PR interval set.
    Ddd,
    /// As `Ddd`, with an electrode in each ventricle.
    Biventricular,
}

impl PacingMode {
    /// Whether a pulse to the ventricles follows each beat of the atria.
    pub(crate) const fn follows_atria(self) -> bool {
        matches!(self, PacingMode::Ddd | PacingMode::Biventricular)
    }
}

/// A fault of a pacing device.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PacingFault {
    /// Nothing.
    None,
    /// Every so many-th ventricular pulse is followed by no beat.
    NoCapture(u16),
    /// It does not see the heart's own beats.
    NoSensing,
    /// After this many pulses it takes noise for beats and stays silent for the pause set.
    Oversensing(u16),
    /// Each beat that it brings activates the atria backwards, it follows that, and so on at the rate set (endless loop).
    Loop,
}

/// A pacing device at the rate set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pacing {
    /// How it works.
    pub mode: PacingMode,
    /// Its fault.
    pub fault: PacingFault,
}

/// A rhythm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rhythm {
    /// Word in scripts and flags.
    pub id: &'static str,
    /// Trade name.
    pub name: &'static str,
    /// Rate when none is set.
    pub usual: UsualRate,
    /// Lowest rate allowed, bpm; with [`UsualRate::Atrial`] of the atria, per minute.
    pub min_bpm: f32,
    /// Highest rate allowed, as `min_bpm`.
    pub max_bpm: f32,
    /// Alarm expected of a monitor with usual settings.
    pub alarm: Priority,
    /// Values of other fields that belong to the rhythm; set when it is chosen.
    pub values: &'static [(Field, f32)],
    /// Atrial source.
    pub atria: Atria,
    /// Disease of the sinus node.
    pub sinus_fault: Option<SinusFault>,
    /// AV conduction.
    pub av: AvNode,
    /// How conducted beats spread.
    pub pathway: Pathway,
    /// How conducted beats are annotated.
    pub code: BeatCode,
    /// Ventricular source.
    pub ventricles: Ventricles,
    /// Escape focus.
    pub escape: Option<Escape>,
    /// Premature beats.
    pub ectopy: Option<Ectopy>,
    /// Pacing device.
    pub pacing: Option<Pacing>,
    /// Stroke volume relative to sinus rhythm at the same filling time: 1 normal, 0 no ejection.
    pub ejection: f32,
}

/// After a premature beat the impulse from above is lost when it comes within this share of an atrial period: one, wherever
/// between two sinus beats the premature beat fell, so that two RR make two sinus periods (compensatory pause).
pub(super) const CONCEALED_SHARE: f32 = 0.62;

/// Resting rate of the body for which rates and limits of rhythms are stated.
pub(crate) const ADULT_RESTING_BPM: f32 = 70.0;

/// Highest rate of any source in any body, per minute: flutter of newborns reaches 500 (textbooks, from memory).
const MOST_ATRIAL_BPM: f32 = 500.0;
/// Highest rate of ventricles: the range of the setting.
const MOST_BPM: f32 = 400.0;

/// Impulses in a round of AV conduction at a ratio set: the nearest whole number.
pub(crate) const fn whole_ratio(ratio: f32) -> u16 {
    // This saturates, and NaN becomes 0.
    let whole = (ratio + 0.5) as u16;
    if whole == 0 { 1 } else { whole }
}

impl Rhythm {
    /// Atrial impulses for each ventricular beat that they bring, at an AV ratio.
    pub(crate) const fn impulses_per_beat(&self, ratio: f32) -> f32 {
        let least = self.least_ratio();
        let ratio = whole_ratio(if ratio < least { least } else { ratio }) as f32;
        match self.av {
            AvNode::Decremental | AvNode::Dropping => ratio / (ratio - 1.0),
            AvNode::OneOf => ratio,
            // Mean of the ratios from 2 to the one set.
            AvNode::Varying if ratio > 2.0 => (2.0 + ratio) * 0.5,
            AvNode::Varying => ratio,
            AvNode::Conducting | AvNode::Irregular | AvNode::Blocked => 1.0,
        }
    }

    /// Least AV ratio at which the rhythm has beats: where one of each round is dropped, a round of one has none.
    pub(crate) const fn least_ratio(&self) -> f32 {
        match self.av {
            AvNode::Decremental | AvNode::Dropping => 2.0,
            _ => 1.0,
        }
    }

    /// Rate of the beats that fill normally, for a mean rate: where beats are dropped the others come faster than the mean.
    pub(crate) fn filling_bpm(&self, rate_bpm: f32, ratio: impl FnOnce() -> f32) -> f32 {
        match self.av {
            AvNode::Decremental | AvNode::Dropping => rate_bpm * self.impulses_per_beat(ratio()),
            _ => rate_bpm,
        }
    }

    /// Rate when none is set, bpm, in a body of this resting rate and at an AV ratio.
    pub const fn usual_rate(&self, resting_bpm: f32, ratio: f32) -> f32 {
        let (min, max) = self.allowed_bpm(resting_bpm, ratio);
        let rate = match self.usual {
            // To the whole beat, as a rate is read.
            UsualRate::Resting(factor) => (resting_bpm * factor + 0.5) as u32 as f32,
            UsualRate::Adult(rate, _) => (rate * self.by_age(resting_bpm) + 0.5) as u32 as f32,
            UsualRate::Atrial(rate, _) => {
                (rate * self.by_age(resting_bpm) + 0.5) as u32 as f32 / self.impulses_per_beat(ratio)
            }
        };
        if rate < min {
            min
        } else if rate > max {
            max
        } else {
            rate
        }
    }

    /// How much faster it is than an adult's in a body of this resting rate.
    const fn by_age(&self, resting_bpm: f32) -> f32 {
        match self.usual {
            UsualRate::Adult(_, share) | UsualRate::Atrial(_, share) => {
                1.0 + share * (resting_bpm / ADULT_RESTING_BPM - 1.0)
            }
            UsualRate::Resting(_) => 1.0,
        }
    }

    /// Lowest and highest rate allowed, bpm, in a body of this resting rate and at an AV ratio; the highest follows the body as
    /// the usual rate does.
    pub const fn allowed_bpm(&self, resting_bpm: f32, ratio: f32) -> (f32, f32) {
        let most = (self.max_bpm * self.by_age(resting_bpm)) as u32 as f32;
        let per_beat = match self.usual {
            UsualRate::Atrial(..) => self.impulses_per_beat(ratio),
            _ => 1.0,
        };
        let most = if most > MOST_ATRIAL_BPM { MOST_ATRIAL_BPM } else { most } / per_beat;
        (self.min_bpm / per_beat, if most > MOST_BPM { MOST_BPM } else { most })
    }

    /// The AV ratio of the record; 1 where it has no meaning.
    pub const fn usual_ratio(&self) -> f32 {
        let mut i = 0;
        while i < self.values.len() {
            let (field, value) = self.values[i];
            if matches!(field, Field::AvRatio) {
                return value;
            }
            i += 1;
        }
        1.0
    }

    /// Whether the rhythm has QRS complexes to count.
    pub const fn beats(&self) -> bool {
        let follows = !matches!(self.atria, Atria::Still) && !matches!(self.av, AvNode::Blocked);
        match self.ventricles {
            Ventricles::Focus { .. } => true,
            Ventricles::Following => follows || self.captures() || self.escape.is_some(),
            Ventricles::Flutter { .. } | Ventricles::Fibrillation { .. } => false,
        }
    }

    /// Whether a device's pulses bring beats.
    const fn captures(&self) -> bool {
        match self.pacing {
            Some(Pacing { fault: PacingFault::NoCapture(every), .. }) => every > 1,
            pacing => pacing.is_some(),
        }
    }

    /// Mean rate of QRS complexes, bpm, that the settings make; `None` when there are none to count.
    pub fn mean_bpm(&self, value: impl Fn(Field) -> f32, rate_bpm: f32) -> Option<f32> {
        match self.ventricles {
            Ventricles::Fibrillation { .. } | Ventricles::Flutter { .. } => return None,
            Ventricles::Focus { .. } => return Some(rate_bpm),
            Ventricles::Following => {}
        }
        if !self.beats() {
            return None;
        }
        if let Some(pacing) = self.pacing {
            return match pacing.fault {
                PacingFault::NoCapture(every) => Some(rate_bpm * (1.0 - 1.0 / f32::from(every.max(1)))),
                PacingFault::Oversensing(pulses) => {
                    let pulses = f32::from(pulses);
                    Some(60.0 * pulses / (60.0 / rate_bpm * (pulses - 1.0) + value(Field::PauseS)))
                }
                PacingFault::NoSensing => Some(value(Field::AtrialBpm)),
                // Where own beats compete, a little more than the faster of the two.
                PacingFault::None if matches!((self.atria, self.av), (Atria::Independent, AvNode::Conducting)) => {
                    Some(math::max(rate_bpm, value(Field::AtrialBpm)))
                }
                PacingFault::None | PacingFault::Loop => Some(rate_bpm),
            };
        }
        match (self.atria, self.av) {
            (Atria::Still, _) | (_, AvNode::Blocked) => return self.escape.map(|escape| escape.bpm),
            _ => {}
        }
        let period_s = 60.0 / rate_bpm;
        match self.sinus_fault {
            Some(SinusFault::Arrest(beats)) => {
                let beats = f32::from(beats.max(1));
                let pause_s = value(Field::PauseS);
                let escapes =
                    self.escape.map_or(0.0, |escape| math::max(pause_s * escape.bpm / 60.0 - 0.5, 0.0) as u16 as f32);
                return Some(60.0 * (beats + escapes) / (period_s * (beats - 1.0) + pause_s));
            }
            Some(SinusFault::ExitBlock(every)) => return Some(rate_bpm * (1.0 - 1.0 / f32::from(every.max(2)))),
            None => {}
        }
        let Some(ectopy) = self.ectopy else { return Some(rate_bpm) };
        // Beats and time of one round of the pattern, in sinus periods.
        let conducted = match ectopy.pattern {
            Pattern::AfterEvery(beats) => f32::from(beats.max(1)),
            Pattern::PerMinute(per_minute) => rate_bpm / per_minute,
        };
        let coupling = match ectopy.coupling {
            Coupling::Period(share) => share,
            Coupling::Qt(share) => share * value(Field::QtcMs) * 0.001 / period_s,
        };
        let run = f32::from(ectopy.run.max(1));
        let group = coupling + (run - 1.0) * ectopy.run_period;
        let periods = match ectopy.site {
            // The sinus node is reset: one period follows the last premature beat.
            EctopicSite::Atrium | EctopicSite::Junction => conducted + group,
            _ if ectopy.interpolated => conducted,
            // The sinus node goes on: conducted is the first beat whose impulse finds the node free again.
            _ => conducted - 1.0 + math::ceil(group + CONCEALED_SHARE + value(Field::PrMs) * 0.001 / period_s),
        };
        let come = if ectopy.conduction == EctopicConduction::Blocked { 0.0 } else { run };
        Some(rate_bpm * (conducted + come) / periods)
    }
}
