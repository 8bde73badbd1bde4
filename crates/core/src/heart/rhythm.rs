//! Rhythm records: the parameters of the conduction model that make each rhythm.
//!
//! A rhythm is data. A new one is a new record in [`super::catalogue`], not new control flow.

use crate::body::Body;

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
    /// This rate in any body, bpm.
    Fixed(f32),
}

/// The source of atrial impulses.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Atria {
    /// The sinus node, at the rate set.
    Sinus,
    /// The sinus node at its own rate, bpm, whatever the ventricles do.
    IndependentSinus(f32),
    /// Fibrillation: no P waves, fibrillatory waves of this dominant frequency, Hz, and peak amplitude in V1, mV.
    Fibrillation {
        /// Dominant frequency, Hz.
        hz: f32,
        /// Typical peak amplitude in V1, mV.
        mv: f32,
    },
    /// No atrial activity.
    Still,
}

/// How the AV node passes atrial impulses on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum AvNode {
    /// With the PR interval set.
    Conducting,
    /// Irregularly, as fibrillating atria make it: RR intervals without memory, mean as set.
    Irregular {
        /// Standard deviation of RR over its mean.
        spread: f32,
    },
    /// Not at all.
    Blocked,
}

/// Site of an ectopic impulse.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Site {
    /// Ventricular.
    Ventricle,
}

/// When ectopic beats come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pattern {
    /// After every `n`-th conducted beat: 1 is bigeminy, 2 trigeminy.
    AfterEvery(u16),
    /// At random, about this many a minute, never closer than two conducted beats.
    PerMinute(f32),
}

/// Premature beats.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ectopy {
    /// Where they come from.
    pub site: Site,
    /// When.
    pub pattern: Pattern,
    /// Coupling to the preceding QRS, share of the sinus period.
    pub coupling: f32,
}

/// What the ventricles do on their own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ventricles {
    /// Follow what reaches them.
    Following,
    /// A regular focus at the rate set, faster than what comes from above.
    Focus,
    /// Fibrillation of this dominant frequency, Hz, and peak-to-peak amplitude in lead II, mV.
    Fibrillation {
        /// Dominant frequency, Hz.
        hz: f32,
        /// Typical peak-to-peak amplitude in lead II, mV.
        mv: f32,
    },
}

/// A rhythm.
#[derive(Debug)]
pub struct Rhythm {
    /// Word in scripts and flags.
    pub id: &'static str,
    /// Trade name.
    pub name: &'static str,
    /// Rate when none is set.
    pub usual: UsualRate,
    /// Lowest rate allowed, bpm.
    pub min_bpm: f32,
    /// Highest rate allowed, bpm.
    pub max_bpm: f32,
    /// Alarm expected of a monitor with usual settings.
    pub alarm: Priority,
    /// Atrial source.
    pub atria: Atria,
    /// AV conduction.
    pub av: AvNode,
    /// Ventricular source.
    pub ventricles: Ventricles,
    /// Premature beats.
    pub ectopy: Option<Ectopy>,
    /// Stroke volume relative to sinus rhythm at the same filling time: 1 normal, 0 no ejection.
    pub ejection: f32,
}

impl Rhythm {
    /// Rate when none is set, bpm.
    pub const fn usual_rate(&self, body: &Body) -> f32 {
        let rate = match self.usual {
            UsualRate::Resting(factor) => body.resting_bpm * factor,
            UsualRate::Fixed(rate) => rate,
        };
        if rate < self.min_bpm {
            self.min_bpm
        } else if rate > self.max_bpm {
            self.max_bpm
        } else {
            rate
        }
    }

    /// Lowest and highest rate allowed, bpm.
    pub const fn allowed_bpm(&self) -> (f32, f32) {
        (self.min_bpm, self.max_bpm)
    }

    /// Whether the rhythm has QRS complexes, so that a mean rate can be expected.
    pub const fn beats(&self) -> bool {
        let driven = matches!(self.ventricles, Ventricles::Focus);
        let conducted = !matches!(self.atria, Atria::Still) && !matches!(self.av, AvNode::Blocked);
        driven || (conducted && matches!(self.ventricles, Ventricles::Following))
    }
}
