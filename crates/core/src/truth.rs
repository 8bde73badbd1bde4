//! What is in the signal, told as it is made: never re-detected from samples.

use crate::time::{Instant, Span};

/// Beat type, in the codes of the open waveform-database annotation set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum BeatCode {
    /// `N`: normal.
    Normal,
    /// `L`: left bundle branch block.
    LeftBundleBranchBlock,
    /// `R`: right bundle branch block.
    RightBundleBranchBlock,
    /// `A`: atrial premature.
    AtrialPremature,
    /// `a`: aberrated atrial premature.
    AberratedAtrialPremature,
    /// `J`: nodal (junctional) premature.
    JunctionalPremature,
    /// `S`: supraventricular premature or ectopic.
    SupraventricularPremature,
    /// `V`: premature ventricular contraction.
    VentricularPremature,
    /// `r`: R-on-T premature ventricular contraction.
    ROnT,
    /// `F`: fusion of ventricular and normal.
    Fusion,
    /// `e`: atrial escape.
    AtrialEscape,
    /// `j`: nodal (junctional) escape.
    JunctionalEscape,
    /// `n`: supraventricular escape.
    SupraventricularEscape,
    /// `E`: ventricular escape.
    VentricularEscape,
    /// `/`: paced.
    Paced,
    /// `f`: fusion of paced and normal.
    PacedFusion,
    /// `Q`: unclassifiable.
    Unclassifiable,
}

impl BeatCode {
    /// The one-letter symbol.
    pub const fn symbol(self) -> char {
        match self {
            BeatCode::Normal => 'N',
            BeatCode::LeftBundleBranchBlock => 'L',
            BeatCode::RightBundleBranchBlock => 'R',
            BeatCode::AtrialPremature => 'A',
            BeatCode::AberratedAtrialPremature => 'a',
            BeatCode::JunctionalPremature => 'J',
            BeatCode::SupraventricularPremature => 'S',
            BeatCode::VentricularPremature => 'V',
            BeatCode::ROnT => 'r',
            BeatCode::Fusion => 'F',
            BeatCode::AtrialEscape => 'e',
            BeatCode::JunctionalEscape => 'j',
            BeatCode::SupraventricularEscape => 'n',
            BeatCode::VentricularEscape => 'E',
            BeatCode::Paced => '/',
            BeatCode::PacedFusion => 'f',
            BeatCode::Unclassifiable => 'Q',
        }
    }
}

/// A ventricular activation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beat {
    /// QRS onset.
    pub onset: Instant,
    /// Peak of the QRS: where the heart vector is longest. Detectors are scored against this.
    pub peak: Instant,
    /// QRS end (J point).
    pub end: Instant,
    /// T end.
    pub t_end: Instant,
    /// Onset of the P wave that was conducted to this beat.
    pub p_onset: Option<Instant>,
    /// Type.
    pub code: BeatCode,
}

/// An atrial activation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtrialBeat {
    /// P onset.
    pub onset: Instant,
    /// Where it started.
    pub origin: crate::ecg::templates::AtrialOrigin,
}

/// A stretch of rhythm without countable beats, or of time without breaths.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Episode {
    /// Atrial fibrillation.
    AtrialFibrillation,
    /// Atrial flutter.
    AtrialFlutter,
    /// Ventricular flutter.
    VentricularFlutter,
    /// Ventricular fibrillation.
    VentricularFibrillation,
    /// No breathing: from the end of a breath to the start of the next.
    Apnoea,
}

impl Episode {
    /// Every kind.
    pub const ALL: [Episode; 4] = [
        Episode::AtrialFibrillation,
        Episode::AtrialFlutter,
        Episode::VentricularFlutter,
        Episode::VentricularFibrillation,
    ];
}

/// A heart chamber that a device paces.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Chamber {
    /// Right atrium.
    Atrium,
    /// Right ventricle.
    Ventricle,
}

/// A breath.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Breath {
    /// Start of inspiration.
    pub start: Instant,
    /// End of inspiration: peak of the impedance.
    pub peak: Instant,
    /// End of expiration.
    pub end: Instant,
    /// Depth, ohm.
    pub depth_ohm: f32,
}

/// A pulse of a pressure, told when it ends: with the next pulse, or with the script.
///
/// Values are those in the vessel: without the level and the line of the transducer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pulse {
    /// Which pressure.
    pub site: crate::frame::PressureSite,
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

/// What the cuff is doing.
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
    /// What began.
    pub phase: CuffPhase,
    /// Pressure then, mmHg.
    pub cuff_mmhg: f32,
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
}

impl Event {
    /// When it happens (a beat at its QRS onset, a pulse at its end).
    pub const fn at(&self) -> Instant {
        match self {
            Event::Step { at, .. } | Event::Episode { at, .. } | Event::Pace { at, .. } => *at,
            Event::Atrial(atrial) => atrial.onset,
            Event::Beat(beat) => beat.onset,
            Event::Breath(breath) => breath.start,
            Event::Pulse(pulse) => pulse.end,
            Event::Cuff(cuff) => cuff.at,
        }
    }
}

/// Told of every event, in the order in which they happen.
pub trait Observer {
    /// Takes one event.
    fn observe(&mut self, event: Event);

    /// Whether it does anything with events: if not, what is only told need not be worked out.
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
