//! Conditions of the heart, and its activations.

use super::recovery::Length;
use super::rhythm::{Atria, Rhythm};
use super::variability::{Life, Variability};
use crate::anatomy::{AtrialOrigin, BeatCode, Chamber, EctopicSite, Episode, Pathway, Refusal};
use crate::time::{Instant, Span};

/// Settings of the heart at an instant, resolved to plain numbers.
#[derive(Clone, Copy)]
pub(crate) struct HeartConditions<'r> {
    /// The rhythm.
    pub rhythm: &'r Rhythm,
    /// Identifies the rhythm: the address of its record in the catalogue, the script or the image. Contents would not do, as a
    /// copy of a rhythm starts anew, nor would the address of `rhythm`, as each step of an image holds a record of its own.
    pub which: usize,
    /// Rate, bpm.
    pub rate_bpm: f32,
    /// Rate of atria that beat on their own, bpm.
    pub atrial_bpm: f32,
    /// AV ratio.
    pub ratio: f32,
    /// Length of a pause.
    pub pause: Span,
    /// From P onset to QRS onset.
    pub pr: Span,
    /// QT at 60 bpm, ms.
    pub qtc_ms: f32,
    /// QRS duration of a normally conducted beat, ms.
    pub qrs_ms: f32,
    /// Whose heart it is.
    pub body: &'r dyn Conduction,
    /// Premature beats a minute, where the rhythm leaves their number to chance; 0 takes the rhythm's own.
    pub premature_per_min: f32,
    /// From the beat before to a premature beat; zero takes the rhythm's own.
    pub coupling: Span,
    /// Standard deviation of RR over its mean in atrial fibrillation.
    pub irregularity: f32,
    /// Sinus variability.
    pub variability: Variability,
    /// Variability of everything else.
    pub life: Life,
    /// The next beat of a list, where beats come from one.
    pub listed: Option<ListedBeat>,
    /// Where the P waves start that lead to conducted beats of a list, if anywhere.
    pub leading: Option<AtrialOrigin>,
}

/// The next beat of a list that has not been asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct ListedBeat {
    /// QRS onset; [`Instant::NEVER`] where none is to come.
    pub onset: Instant,
    /// Whether it is to fall on the T wave before.
    pub on_t: bool,
}

/// How wide the beats of a body are.
pub(crate) trait Conduction {
    /// QRS duration of a beat that takes this pathway, ms.
    fn qrs_ms(&self, pathway: Pathway) -> f32;
}

impl HeartConditions<'_> {
    /// Mean interval between beats at the rate set.
    pub(crate) fn period(&self) -> Span {
        Span::period(self.rate_bpm)
    }

    /// Period of the atrial source.
    pub(super) fn atrial_period(&self) -> Span {
        match self.rhythm.atria {
            Atria::Independent => Span::period(self.atrial_bpm),
            _ => Span::period(self.rate_bpm * self.rhythm.impulses_per_beat(self.ratio)),
        }
    }
}

/// An action of the heart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Activation {
    /// Atria activated: a P wave starts.
    Atria {
        /// P onset.
        at: Instant,
        /// Where it started.
        origin: AtrialOrigin,
        /// How long one atrial cycle is; flutter waves stretch to it.
        cycle: Span,
    },
    /// Ventricles activated: a QRS starts.
    Ventricles {
        /// QRS onset.
        at: Instant,
        /// How it spreads.
        pathway: Pathway,
        /// The other pathway of a fusion beat, and its share of the ventricles.
        fused: Option<(Pathway, f32)>,
        /// Whether it is one of every second activations.
        odd: bool,
        /// Turn of the axis in the frontal plane, in 2^-32 turns.
        turn: u32,
        /// Since the activation before; `None` for the first.
        interval: Option<Span>,
        /// How long it takes.
        length: Length,
        /// Onset of the P wave that led to it.
        p_onset: Option<Instant>,
        /// Type.
        code: BeatCode,
    },
    /// The device gave a pulse.
    Pace {
        /// When.
        at: Instant,
        /// Where.
        chamber: Chamber,
        /// Whether the chamber answers.
        captures: bool,
    },
    /// An episode starts or ends.
    Episode {
        /// Which.
        episode: Episode,
        /// When.
        at: Instant,
        /// Start or end.
        starts: bool,
    },
    /// A beat that was asked for does not come.
    Refused {
        /// When that is decided.
        at: Instant,
        /// The request.
        asked: RequestedBeat,
        /// Why.
        why: Refusal,
    },
}

/// A premature beat asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct RequestedBeat {
    /// When its focus was to fire.
    pub at: Instant,
    /// Where.
    pub site: EctopicSite,
}

/// Takes what the heart did.
pub(crate) type Emit<'e> = &'e mut dyn FnMut(Activation);
