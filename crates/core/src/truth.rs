//! Truth about the signal, reported as it is made: never re-detected from samples.

use crate::anatomy::{AtrialOrigin, PressureSite};
use crate::frame::Lead;
use crate::time::{Instant, Span};

pub use crate::anatomy::{BeatCode, Chamber, Episode, Refusal};

/// A ventricular activation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beat {
    /// QRS onset.
    pub onset: Instant,
    /// Peak of the QRS: where the heart vector of this beat by itself is longest, between its QRS onset and end. Detectors are scored
    /// against this.
    pub peak: Instant,
    /// QRS end (J point).
    pub end: Instant,
    /// T end.
    pub t_end: Instant,
    /// Onset of the P wave that was conducted to this beat.
    pub p_onset: Option<Instant>,
    /// Type.
    pub code: BeatCode,
    /// Whether it is a beat of a recording, of which the peak alone is known: onset, ends and P wave say nothing.
    pub is_recorded: bool,
}

impl Beat {
    /// A beat of a recording, of which only the time of an annotation is known.
    pub(crate) const fn recorded(at: Instant, code: BeatCode) -> Beat {
        Beat { onset: at, peak: at, end: at, t_end: at, p_onset: None, code, is_recorded: true }
    }
}

/// A beat in one lead, from the closed form of its waves and the rest of waves that began before it (its P wave, the T wave
/// before). Pacing pulses, fibrillatory waves, artefacts and waves that begin after its QRS onset do not count.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeadBeat {
    /// QRS onset.
    pub onset: Instant,
    /// Peak of the QRS, by which the beat is known: [`Beat::peak`].
    pub peak: Instant,
    /// The lead.
    pub lead: Lead,
    /// When the lead is furthest from its value at QRS onset, between QRS onset and end.
    pub r_at: Instant,
    /// The difference then, mV; negative where the lead goes down.
    pub r_mv: f32,
    /// Value 60 ms after the J point less that at QRS onset, mV.
    pub st_mv: f32,
}

/// An atrial activation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtrialBeat {
    /// P onset.
    pub onset: Instant,
    /// Where it started.
    pub origin: AtrialOrigin,
}

/// A breath.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Breath {
    /// Start of inspiration.
    pub start: Instant,
    /// End of inspiration: peak of the impedance, or its lowest value where the throat is closed.
    pub peak: Instant,
    /// End of expiration.
    pub end: Instant,
    /// Depth, ohm.
    pub depth_ohm: f32,
    /// Whether the throat is closed: the chest moves, no air flows, and the impedance falls instead of rising.
    pub obstructed: bool,
}

/// A pulse of a pressure, reported when it ends: with the next pulse, or with the script.
///
/// Values are those in the vessel: without the level and the line of the transducer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pulse {
    /// Which pressure.
    pub site: PressureSite,
    /// Foot of the upstroke.
    pub foot: Instant,
    /// Pressure at the foot, mmHg: the diastolic pressure before this pulse.
    pub foot_mmhg: f32,
    /// Time from the foot to the highest pressure.
    pub rise: Span,
    /// Pressure at the peak, mmHg.
    pub systolic_mmhg: f32,
    /// Foot of the next pulse, or end of the script.
    pub end: Instant,
    /// Lowest pressure from the foot to the end, mmHg.
    pub lowest_mmhg: f32,
    /// Mean from the foot to the end by integral, mmHg.
    pub mean_mmhg: f32,
}

/// Phase of the cuff.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum CuffPhase {
    /// Being inflated.
    Inflating,
    /// Being deflated, or held when the rate of deflation is zero.
    Deflating,
    /// Too much pressure: the valve opened.
    OverPressure,
    /// The valve is open.
    Vented,
}

/// The cuff began a phase.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CuffEvent {
    /// When.
    pub at: Instant,
    /// The phase.
    pub phase: CuffPhase,
    /// Pressure then, mmHg.
    pub cuff_mmhg: f32,
}

/// A pulse of the artery that the deflating cuff feels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CuffPulse {
    /// Foot of the upstroke under the cuff.
    pub foot: Instant,
    /// Pressure of the cuff at the foot, without oscillations, mmHg.
    pub cuff_mmhg: f32,
    /// Height of the oscillation, foot to peak, mmHg.
    pub oscillation_mmhg: f32,
    /// Systolic pressure of this pulse, mmHg.
    pub systolic_mmhg: f32,
    /// Diastolic pressure of this pulse, mmHg.
    pub diastolic_mmhg: f32,
    /// Share of the largest oscillation that the arm has at the systolic pressure.
    pub systolic_share: f32,
    /// Share of it at the diastolic pressure.
    pub diastolic_share: f32,
}

/// A beat that was asked for and does not come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RefusedBeat {
    /// Time of the decision: when its focus was to fire, or when its impulse is lost on the way down.
    pub at: Instant,
    /// When its focus was to fire.
    pub asked: Instant,
    /// Where.
    pub site: crate::anatomy::EctopicSite,
    /// Why.
    pub why: Refusal,
}

/// Something that happened.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Event {
    /// A step starts; item index in the script.
    Step {
        /// Index among the script's items.
        item: usize,
        /// When.
        at: Instant,
    },
    /// A P wave starts.
    Atrial(AtrialBeat),
    /// A QRS starts.
    Beat(Beat),
    /// The beat just reported, in a lead: one event for each lead requested, in the usual order.
    Lead(LeadBeat),
    /// An episode starts or ends.
    Episode {
        /// Which.
        episode: Episode,
        /// When.
        at: Instant,
        /// Start or end.
        starts: bool,
    },
    /// A pacing device gives a pulse.
    Pace {
        /// Start of the pulse.
        at: Instant,
        /// Where.
        chamber: Chamber,
        /// Whether the chamber answers.
        captures: bool,
    },
    /// A breath starts.
    Breath(Breath),
    /// A pulse ends.
    Pulse(Pulse),
    /// The cuff begins a phase.
    Cuff(CuffEvent),
    /// The deflating cuff feels a pulse, which begins soon.
    CuffPulse(CuffPulse),
    /// A beat that was asked for does not come.
    Refused(RefusedBeat),
}

impl Event {
    /// When it happens (a beat at its QRS onset, a pulse at its end).
    pub const fn at(&self) -> Instant {
        match self {
            Event::Step { at, .. } | Event::Episode { at, .. } | Event::Pace { at, .. } => *at,
            Event::Atrial(atrial) => atrial.onset,
            Event::Beat(beat) => beat.onset,
            Event::Lead(lead) => lead.onset,
            Event::Breath(breath) => breath.start,
            Event::Pulse(pulse) => pulse.end,
            Event::Cuff(cuff) => cuff.at,
            Event::CuffPulse(pulse) => pulse.foot,
            Event::Refused(beat) => beat.at,
        }
    }
}

/// Receives every event, in the order in which they happen.
pub trait Observer {
    /// Takes one event.
    fn observe(&mut self, event: Event);

    /// Whether it uses events: if not, values for events alone need not be computed.
    fn listens(&self) -> bool {
        true
    }
}

/// Takes no notice.
impl Observer for () {
    fn observe(&mut self, _: Event) {}

    fn listens(&self) -> bool {
        false
    }
}

impl<F: FnMut(Event)> Observer for F {
    fn observe(&mut self, event: Event) {
        self(event);
    }
}
