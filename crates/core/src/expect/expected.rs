//! Expected readings and alarms of a step.

use super::alarm::{AlarmKind, StepAlarm, StepAlarms};
use super::reading::{Cause, Reading};
use crate::anatomy::PressureSite;
use crate::frame::Lead;
use crate::heart::rhythm::Priority;
use crate::time::{Instant, Span};

/// Readings have settled this long after the start of a step, or after half of a step shorter than twice that: the time for
/// a read-out (EC13 4.1.2.1 e, IEC 60601-2-27 201.7.9.2.9.101 b 4).
pub(crate) const SETTLING: Span = Span::secs(20);

/// Readings of a pressure, mmHg.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pressure {
    /// Highest of each pulse.
    pub systolic: Reading,
    /// Lowest of each pulse.
    pub diastolic: Reading,
    /// Mean of each pulse.
    pub mean: Reading,
}

impl Pressure {
    pub(super) const NOT_PLAYED: Pressure = {
        let none = Reading::none(Cause::NotPlayed);
        Pressure { systolic: none, diastolic: none, mean: none }
    };
}

/// Readings and alarms of a correct monitor in a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// Index of the step among the script's items.
    pub item: usize,
    /// Start of the step.
    pub start: Instant,
    /// From here on the readings have settled.
    pub from: Instant,
    /// End of the step, or of what was played of it.
    pub end: Instant,
    /// Heart rate, bpm.
    pub rate: Reading,
    /// Rate of arterial pulses, bpm.
    pub pulse: Reading,
    /// Breaths a minute.
    pub breaths: Reading,
    /// From here on the reading of breaths has settled: its average holds no breath of the step before, or the apnoea is known.
    pub breaths_from: Instant,
    /// ST level by lead, in the order of [`Lead::ALL`], mV; only of the leads that were asked for.
    pub st: [Reading; Lead::ALL.len()],
    /// By site.
    pub pressures: [Pressure; PressureSite::COUNT],
    /// Reading of a cuff's deflation, if it came in the step: systolic, diastolic, mean, mmHg.
    pub cuff: [Reading; 3],
    /// Alarms that sound in the step, at the limits given.
    pub alarms: StepAlarms,
    /// Premature beats that the script asks for and that could not come.
    pub refused: u32,
}

impl Expected {
    /// The readings of a pressure.
    pub fn pressure(&self, site: PressureSite) -> &Pressure {
        self.pressures.get(site as usize).unwrap_or(&Pressure::NOT_PLAYED)
    }

    /// The most urgent alarm that a monitor must give in the first 20 s of the step; the most urgent of all when there is
    /// none by then.
    pub fn alarm(&self) -> Option<&StepAlarm> {
        self.alarm_of(None)
    }

    /// The same among the alarms of a priority.
    pub fn alarm_of(&self, priority: Option<Priority>) -> Option<&StepAlarm> {
        let soon = self.start.plus(SETTLING);
        let wanted = |kind: AlarmKind| priority.is_none_or(|priority| kind.priority() == priority);
        let mut sounding = self
            .alarms
            .iter()
            .filter(|sounded| wanted(sounded.first.kind) && self.sounds(sounded) && sounded.first.is_required());
        let first = sounding.clone().find(|sounded| sounded.first.onset <= soon);
        first.or(sounding.next())
    }

    /// Whether an alarm belongs to this step, and does not just end in it.
    pub fn sounds(&self, sounded: &StepAlarm) -> bool {
        let ending = self.start.plus(SETTLING.scaled(0.5));
        sounded.first.onset >= self.start || sounded.times > 1 || sounded.end.is_none_or(|end| end > ending)
    }
}
