//! The shapes of a body as they are drawn: of a body of this program, or packed in an image.

use super::Templates;
use super::packed::Packed;
use super::residual::Residual;
use super::wave_list::{ShapedComplex, WaveList};
use crate::anatomy::{AtrialOrigin, Pathway};

/// Shapes of a body's beats, wherever they lie.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Shapes<'a> {
    /// In this program.
    Known(&'static Templates),
    /// In an image.
    Packed(Packed<'a>),
}

impl<'a> Shapes<'a> {
    /// QRS and T of a beat that comes down `pathway`.
    pub(crate) fn complex(&self, pathway: Pathway) -> ShapedComplex<'a> {
        match self {
            Shapes::Known(templates) => (*templates.complexes[pathway as usize]).into(),
            Shapes::Packed(packed) => packed.complex(pathway),
        }
    }

    /// QRS duration of such a beat, ms.
    pub(crate) fn qrs_ms(&self, pathway: Pathway) -> f32 {
        match self {
            Shapes::Known(templates) => templates.complexes[pathway as usize].qrs_ms,
            Shapes::Packed(packed) => packed.complex(pathway).qrs_ms,
        }
    }

    /// P wave of an atrial activation from `origin`, from its onset.
    pub(crate) fn p(&self, origin: AtrialOrigin) -> WaveList<'a> {
        match self {
            Shapes::Known(templates) => WaveList::Known(templates.p[origin as usize]),
            Shapes::Packed(packed) => packed.p(origin),
        }
    }

    /// What leads have beside the waves of the part at a place of [`Residuals`](super::residual::Residuals).
    pub(crate) fn residual(&self, part: usize) -> Option<Residual<'a>> {
        match self {
            Shapes::Known(templates) => *templates.residuals?.0.get(part)?,
            Shapes::Packed(packed) => packed.residual(part),
        }
    }
}
