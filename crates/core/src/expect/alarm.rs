//! Alarms: name, priority, begin and end of each.

use crate::heart::rhythm::Priority;
use crate::math::max;
use crate::time::Instant;

macro_rules! kinds {
    ($($name:ident: $id:literal, $words:literal, $priority:ident;)*) => {
        /// An alarm, the most urgent first.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[allow(missing_docs)] // The table below describes each.
        #[repr(u8)]
        pub enum AlarmKind { $($name,)* }

        impl AlarmKind {
            /// Every alarm, the most urgent first.
            pub const ALL: &'static [AlarmKind] = &[$(AlarmKind::$name,)*];
            /// How many there are.
            pub const COUNT: usize = Self::ALL.len();

            /// Word in documents and tables.
            pub const fn id(self) -> &'static str {
                match self { $(AlarmKind::$name => $id,)* }
            }

            /// Name for people.
            pub const fn name(self) -> &'static str {
                match self { $(AlarmKind::$name => $words,)* }
            }

            /// Priority: makers' printed defaults, in the names of IEC 60601-1-8.
            pub const fn priority(self) -> Priority {
                match self { $(AlarmKind::$name => Priority::$priority,)* }
            }
        }
    };
}

kinds! {
    VentricularFibrillation: "ventricular-fibrillation", "Ventricular fibrillation", High;
    Asystole: "asystole", "Asystole", High;
    VentricularTachycardia: "ventricular-tachycardia", "Ventricular tachycardia", High;
    ExtremeTachycardia: "extreme-tachycardia", "Extreme tachycardia", High;
    ExtremeBradycardia: "extreme-bradycardia", "Extreme bradycardia", High;
    Apnoea: "apnoea", "Apnoea", High;
    VentricularRhythm: "ventricular-rhythm", "Ventricular rhythm", Medium;
    VentricularRun: "ventricular-run", "Ventricular run", Medium;
    ROnT: "r-on-t", "R-on-T ventricular beat", Medium;
    NoSensing: "pacing-no-sensing", "Pacing without sensing", Medium;
    NoCapture: "pacing-no-capture", "Pacing without capture", Medium;
    Pause: "pause", "Pause", Medium;
    HighRate: "high-rate", "High heart rate", Medium;
    LowRate: "low-rate", "Low heart rate", Medium;
    HighBreathing: "high-respiration-rate", "High respiration rate", Medium;
    LowBreathing: "low-respiration-rate", "Low respiration rate", Medium;
    ArterialHigh: "arterial-high", "Arterial pressure high", Medium;
    ArterialLow: "arterial-low", "Arterial pressure low", Medium;
    PulmonaryHigh: "pulmonary-high", "Pulmonary artery pressure high", Medium;
    PulmonaryLow: "pulmonary-low", "Pulmonary artery pressure low", Medium;
    VenousHigh: "venous-high", "Central venous pressure high", Medium;
    VenousLow: "venous-low", "Central venous pressure low", Medium;
    IntracranialHigh: "intracranial-high", "Intracranial pressure high", Medium;
    IntracranialLow: "intracranial-low", "Intracranial pressure low", Medium;
    Couplet: "ventricular-couplet", "Ventricular couplet", Low;
    Bigeminy: "ventricular-bigeminy", "Ventricular bigeminy", Low;
    Trigeminy: "ventricular-trigeminy", "Ventricular trigeminy", Low;
    VentricularPremature: "ventricular-premature", "Ventricular premature beat", Low;
    MissedBeat: "missed-beat", "Missed beat", Low;
    AtrialFibrillation: "atrial-fibrillation", "Atrial fibrillation", Low;
    Irregular: "irregular-rhythm", "Irregular rhythm", Low;
}

impl AlarmKind {
    /// The alarm with this word.
    pub fn find(word: &str) -> Option<AlarmKind> {
        AlarmKind::ALL.iter().copied().find(|kind| kind.id() == word)
    }
}

/// One time that an alarm's condition held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alarm {
    /// Which.
    pub kind: AlarmKind,
    /// When the condition began: the last QRS before an asystole, the first beat of a run.
    pub begin: Instant,
    /// When the limit is reached, so that a monitor must know.
    pub onset: Instant,
    /// When the condition ended; `None` while it holds.
    pub end: Option<Instant>,
}

/// Longest time from the begin of a condition to its alarm, by default (IEC 60601-2-27 / EC13 4.2.8, from memory).
const USUAL_DELAY_S: f32 = 10.0;

/// Shortest time that a monitor is given once its limit is reached, s (common practice, no source).
const SHORTEST_S: f32 = 2.0;

impl Alarm {
    /// Longest time from the onset to the alarm, s, by default: 10 s after the begin of a condition of the rate, of the
    /// ventricles or of asystole; after the onset where the limit is itself a delay, as for apnoea.
    pub fn usual_within_s(&self) -> f32 {
        let known_s = self.onset.since(self.begin).as_secs();
        if self.kind <= AlarmKind::ExtremeBradycardia || matches!(self.kind, AlarmKind::HighRate | AlarmKind::LowRate) {
            max(USUAL_DELAY_S - known_s, SHORTEST_S)
        } else {
            USUAL_DELAY_S
        }
    }

    /// Whether a monitor must give it. Monitors average differently, so a rate that lies beyond its limit for less than the
    /// time they have may go without an alarm.
    pub fn is_required(&self) -> bool {
        let of_average = matches!(
            self.kind,
            AlarmKind::ExtremeTachycardia
                | AlarmKind::ExtremeBradycardia
                | AlarmKind::HighRate
                | AlarmKind::LowRate
                | AlarmKind::HighBreathing
                | AlarmKind::LowBreathing
                | AlarmKind::AtrialFibrillation
                | AlarmKind::Irregular
        );
        let lasts_s = self.end.map_or(f32::INFINITY, |end| end.since(self.onset).as_secs());
        !of_average || lasts_s >= self.usual_within_s()
    }

    /// Earliest time of a correct alarm: half of the way from begin to onset.
    pub fn soonest(&self) -> Instant {
        self.begin.plus(self.onset.since(self.begin).scaled(0.5))
    }
}

/// An alarm in one step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StepAlarm {
    /// The first time, maybe from the step before.
    pub first: Alarm,
    /// End of the last time; `None` while it holds.
    pub end: Option<Instant>,
    /// How many times.
    pub times: u32,
}

/// Receives each alarm once its condition is over.
pub trait AlarmSink {
    /// Takes one.
    fn take(&mut self, alarm: Alarm);
}

/// Takes no notice.
impl AlarmSink for () {
    fn take(&mut self, _: Alarm) {}
}

impl<F: FnMut(Alarm)> AlarmSink for F {
    fn take(&mut self, alarm: Alarm) {
        self(alarm);
    }
}

/// The alarms of a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StepAlarms([Option<StepAlarm>; AlarmKind::COUNT]);

impl StepAlarms {
    /// Those that sound, the most urgent first.
    pub fn iter(&self) -> impl Iterator<Item = &StepAlarm> + Clone {
        self.0.iter().flatten()
    }

    /// One of them.
    pub fn get(&self, kind: AlarmKind) -> Option<&StepAlarm> {
        self.0.get(kind as usize)?.as_ref()
    }
}

/// Which alarms hold now, and which held in the step.
#[derive(Clone, Debug)]
pub(super) struct AlarmBoard {
    holds: [Option<Alarm>; AlarmKind::COUNT],
    step: StepAlarms,
}

impl AlarmBoard {
    pub(super) fn new() -> AlarmBoard {
        AlarmBoard { holds: [None; AlarmKind::COUNT], step: StepAlarms([None; AlarmKind::COUNT]) }
    }

    /// A step begins; alarms that hold continue in it.
    pub(super) fn begin(&mut self) {
        self.step = StepAlarms(self.holds.map(|holds| holds.map(|first| StepAlarm { first, end: None, times: 1 })));
    }

    pub(super) fn step(&self) -> &StepAlarms {
        &self.step
    }

    pub(super) fn holds(&self, kind: AlarmKind) -> bool {
        self.holds.get(kind as usize).is_some_and(Option::is_some)
    }

    /// The condition holds from `begin` on; a monitor must know it from `onset` on.
    pub(super) fn raise(&mut self, kind: AlarmKind, begin: Instant, onset: Instant) {
        let (Some(holds), Some(step)) = (self.holds.get_mut(kind as usize), self.step.0.get_mut(kind as usize)) else {
            return;
        };
        if holds.is_some() {
            return;
        }
        let alarm = Alarm { kind, begin, onset, end: None };
        *holds = Some(alarm);
        let before = *step;
        *step = Some(match before {
            Some(sounded) => StepAlarm { end: None, times: sounded.times.saturating_add(1), ..sounded },
            None => StepAlarm { first: alarm, end: None, times: 1 },
        });
    }

    /// The condition no longer holds.
    pub(super) fn clear(&mut self, kind: AlarmKind, at: Instant, sink: &mut dyn AlarmSink) {
        let (Some(holds), Some(step)) = (self.holds.get_mut(kind as usize), self.step.0.get_mut(kind as usize)) else {
            return;
        };
        if let Some(alarm) = holds.take() {
            let end = Some(at.max(alarm.onset));
            sink.take(Alarm { end, ..alarm });
            if let Some(sounded) = step {
                sounded.end = end;
                if sounded.times == 1 {
                    sounded.first.end = end;
                }
            }
        }
    }

    /// The condition holds or not.
    pub(super) fn set(&mut self, kind: AlarmKind, since: Option<Instant>, now: Instant, sink: &mut dyn AlarmSink) {
        match since {
            Some(begin) => self.raise(kind, begin, now),
            None => self.clear(kind, now, sink),
        }
    }

    /// The condition held once, until now.
    pub(super) fn flash(
        &mut self,
        kind: AlarmKind,
        begin: Instant,
        onset: Instant,
        now: Instant,
        sink: &mut dyn AlarmSink,
    ) {
        self.raise(kind, begin, onset);
        self.clear(kind, now, sink);
    }

    /// All that still holds at the end.
    pub(super) fn finish(&mut self, sink: &mut dyn AlarmSink) {
        for alarm in self.holds.iter_mut().filter_map(Option::take) {
            sink.take(alarm);
        }
    }
}
