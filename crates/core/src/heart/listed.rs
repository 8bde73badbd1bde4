//! Beats of a list: each at its own time, in the place of those that the rhythm's own sources would bring.
//!
//! A rhythm that is played so keeps its shapes, and atria that beat on their own; every other source rests.
//! The player asks for each beat when the first sign of it is due: its P wave, the pulse of a device, or its QRS.

use super::conditions::ListedBeat;
use super::rhythm::{Atria, AvNode, Rhythm, Ventricles};
use super::{Activation, CAPTURE, Emit, Heart, HeartConditions, Impulse, JUNCTIONAL_PR};
use crate::anatomy::{AtrialOrigin, BeatCode, Chamber, EctopicSite, Pathway};
use crate::noise::Noise;
use crate::time::{Instant, Span};

/// PR of a beat that its P wave can lead to at all.
const SHORTEST_LED: Span = JUNCTIONAL_PR;

/// The first sign of a beat.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Sign {
    /// A P wave of the rhythm's own.
    OwnP,
    /// A P wave from elsewhere.
    P(AtrialOrigin),
    /// A pulse to the ventricles.
    Pulse,
    /// The QRS itself.
    Qrs,
}

/// How beats of a code begin and spread.
#[derive(Clone, Copy, Debug)]
struct Kind {
    sign: Sign,
    /// `None` spreads as the rhythm's conducted beats do.
    pathway: Option<Pathway>,
    /// From the ventricles.
    ventricular: bool,
    /// An impulse from above meets it.
    fuses: bool,
}

const fn kind(code: BeatCode) -> Kind {
    match code {
        BeatCode::Normal | BeatCode::Unclassifiable => from_above(Sign::OwnP, None),
        BeatCode::LeftBundleBranchBlock => from_above(Sign::OwnP, Some(Pathway::LeftBundleBranchBlock)),
        BeatCode::RightBundleBranchBlock => from_above(Sign::OwnP, Some(Pathway::RightBundleBranchBlock)),
        BeatCode::AtrialPremature | BeatCode::SupraventricularPremature => {
            from_above(Sign::P(AtrialOrigin::EctopicHigh), None)
        }
        BeatCode::AberratedAtrialPremature => {
            from_above(Sign::P(AtrialOrigin::EctopicHigh), Some(Pathway::RightBundleBranchBlock))
        }
        BeatCode::AtrialEscape => from_above(Sign::P(AtrialOrigin::EctopicLow), None),
        BeatCode::JunctionalPremature | BeatCode::JunctionalEscape | BeatCode::SupraventricularEscape => {
            from_above(Sign::P(AtrialOrigin::Junction), None)
        }
        BeatCode::VentricularPremature | BeatCode::ROnT => from_below(Sign::Qrs, Pathway::RightVentricle, false),
        BeatCode::Fusion => from_below(Sign::OwnP, Pathway::RightVentricle, true),
        BeatCode::VentricularEscape => from_below(Sign::Qrs, Pathway::Escape, false),
        BeatCode::Paced => from_below(Sign::Pulse, Pathway::Paced, false),
        BeatCode::PacedFusion => from_below(Sign::Pulse, Pathway::Paced, true),
    }
}

const fn from_above(sign: Sign, pathway: Option<Pathway>) -> Kind {
    Kind { sign, pathway, ventricular: false, fuses: false }
}

const fn from_below(sign: Sign, pathway: Pathway, fuses: bool) -> Kind {
    Kind { sign, pathway: Some(pathway), ventricular: true, fuses }
}

impl Rhythm {
    /// The same without a source of beats: their times come from a list.
    pub(crate) fn listed(&self) -> Rhythm {
        // Flutter waves and dissociated P waves go on by themselves, as fibrillation does.
        let atria = match self.atria {
            Atria::Driving(AtrialOrigin::Flutter) | Atria::Independent | Atria::Fibrillation { .. } => self.atria,
            Atria::Driving(_) | Atria::Multifocal(_) | Atria::Paced | Atria::Still => Atria::Still,
        };
        Rhythm {
            atria,
            sinus_fault: None,
            av: AvNode::Blocked,
            ventricles: Ventricles::Following,
            escape: None,
            ectopy: None,
            pacing: None,
            ..*self
        }
    }

    /// Where the atria start that lead to a conducted beat of a list; `None` where they do something else, or nothing.
    pub(crate) fn leading(&self) -> Option<AtrialOrigin> {
        match self.atria {
            Atria::Driving(AtrialOrigin::Flutter) | Atria::Independent | Atria::Fibrillation { .. } | Atria::Still => {
                None
            }
            Atria::Driving(origin) => Some(origin),
            Atria::Multifocal(_) => Some(AtrialOrigin::EctopicHigh),
            Atria::Paced => Some(AtrialOrigin::Paced),
        }
    }
}

impl ListedBeat {
    /// How long before the QRS onset of a beat its first sign comes, in a rhythm of these conditions.
    pub(crate) fn lead(code: BeatCode, rhythm: &Rhythm, pr: Span) -> Span {
        match kind(code).sign {
            Sign::OwnP if rhythm.leading().is_none() => Span::ZERO,
            Sign::P(AtrialOrigin::Junction) => JUNCTIONAL_PR,
            Sign::OwnP | Sign::P(_) => pr,
            Sign::Pulse => CAPTURE,
            Sign::Qrs => Span::ZERO,
        }
    }

    /// Where a beat begins.
    pub(crate) fn site(code: BeatCode) -> EctopicSite {
        match kind(code).sign {
            Sign::P(AtrialOrigin::Junction) => EctopicSite::Junction,
            Sign::OwnP | Sign::P(_) => EctopicSite::Atrium,
            Sign::Pulse | Sign::Qrs => EctopicSite::RightVentricle,
        }
    }

    /// How a beat spreads.
    pub(crate) fn pathway(code: BeatCode, rhythm: &Rhythm) -> Pathway {
        kind(code).pathway.unwrap_or(rhythm.pathway)
    }
}

impl Heart {
    /// A beat of the list whose QRS begins at `onset`; its first sign is due.
    pub(crate) fn play_listed(
        &mut self,
        now: Instant,
        onset: Instant,
        code: BeatCode,
        conditions: &HeartConditions<'_>,
        noise: &Noise,
        emit: Emit<'_>,
    ) {
        let kind = kind(code);
        let origin = match kind.sign {
            Sign::OwnP => conditions.leading,
            Sign::P(origin) => Some(origin),
            Sign::Pulse => {
                emit(Activation::Pace { at: now, chamber: Chamber::Ventricle, captures: true });
                None
            }
            Sign::Qrs => None,
        };
        // A P wave so late that nothing of it could have got through is none.
        let led = onset.since(now) >= SHORTEST_LED && self.atria_ready(now, conditions);
        let p_onset = origin.filter(|_| led).map(|origin| {
            self.activate_atria(now, origin, None, conditions, noise, emit);
            now
        });
        let above = self.conducted(onset, p_onset, code, conditions);
        let beat =
            Impulse { pathway: ListedBeat::pathway(code, conditions.rhythm), ventricular: kind.ventricular, ..above };
        if kind.ventricular {
            let meeting = Impulse { arrives: onset.plus(Span::from_ticks(1)), ..above };
            self.send(Impulse { p_onset: None, ..beat }, emit);
            if kind.fuses {
                self.send(meeting, emit);
            }
        } else {
            self.send(beat, emit);
        }
    }
}
