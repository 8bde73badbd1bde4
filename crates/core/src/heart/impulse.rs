//! Impulses between atria and ventricles, and the places of sinus impulses in time.

use super::conditions::RequestedBeat;
use crate::anatomy::{BeatCode, Pathway};
use crate::time::{Instant, Span};

/// How an impulse goes down from the atria.
#[derive(Clone, Copy, Debug)]
pub(super) struct Descent {
    pub(super) pr: Span,
    /// How it spreads; `None` as the rhythm's conducted beats.
    pub(super) pathway: Option<Pathway>,
    pub(super) code: BeatCode,
    /// The beat asked for that it is to bring.
    pub(super) asked: Option<RequestedBeat>,
}

impl Descent {
    /// As the rhythm's conducted beats go down.
    pub(super) const fn new(pr: Span, code: BeatCode) -> Descent {
        Descent { pr, pathway: None, code, asked: None }
    }
}

/// An impulse on its way to the ventricles.
#[derive(Clone, Copy, Debug)]
pub(super) struct Impulse {
    pub(super) arrives: Instant,
    pub(super) p_onset: Option<Instant>,
    pub(super) pathway: Pathway,
    pub(super) code: BeatCode,
    /// From a focus or device in the ventricles, not from above.
    pub(super) ventricular: bool,
    /// Turn of its axis in the frontal plane, 2^-32 turns.
    pub(super) turn: u32,
    /// The beat asked for that it is to bring.
    pub(super) asked: Option<RequestedBeat>,
}

/// Where a sinus impulse lies but for breathing, and where it would lie without any variability.
#[derive(Clone, Copy, Debug)]
pub(super) struct SinusPosition {
    pub(super) due: Instant,
    pub(super) regular: Instant,
}

impl SinusPosition {
    pub(super) const fn regular(at: Instant) -> SinusPosition {
        SinusPosition { due: at, regular: at }
    }
}
