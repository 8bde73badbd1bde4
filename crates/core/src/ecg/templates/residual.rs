//! Residuals: what leads have that no heart vector gives them, as sampled curves of the eight independent leads.
//!
//! A curve is a sum of bumps, one for each number: cubic B-splines, each four steps long and begun a step after the one before.
//! A list of equal numbers is a level of that height between its ends. Like any wave, a curve is exactly zero outside its support.
//!
//! The bodies of this program have none.

use crate::anatomy::{AtrialOrigin, Pathway};
use crate::frame::INDEPENDENT_LEADS;

/// The numbers of one place: leads I, II, V1 to V6, uV, each an `i16`, little-endian, as an image has them.
pub type Knot = [u8; 2 * INDEPENDENT_LEADS];

/// A knot of these leads, uV.
pub fn knot(leads_uv: [i16; INDEPENDENT_LEADS]) -> Knot {
    let mut bytes = [0; 2 * INDEPENDENT_LEADS];
    for (place, uv) in bytes.as_chunks_mut::<2>().0.iter_mut().zip(leads_uv) {
        *place = uv.to_le_bytes();
    }
    bytes
}

/// The leads of a knot, uV.
pub fn leads_uv(knot: &Knot) -> [i16; INDEPENDENT_LEADS] {
    let mut leads_uv = [0; INDEPENDENT_LEADS];
    for (uv, bytes) in leads_uv.iter_mut().zip(knot.as_chunks::<2>().0) {
        *uv = i16::from_le_bytes(*bytes);
    }
    leads_uv
}

/// Curves of the eight leads for a part of a beat. Times count and stretch as those of the part's waves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residual<'a> {
    /// Start of the first bump, ms.
    pub at_ms: f32,
    /// From one bump to the next, ms.
    pub step_ms: f32,
    /// The numbers, bump by bump.
    pub knots: &'a [Knot],
}

impl Residual<'_> {
    /// A potential that no lead goes beyond, mV.
    pub(crate) fn most_mv(&self) -> f32 {
        let most = self.knots.iter().flat_map(leads_uv).fold(0, |most: u16, uv| most.max(uv.unsigned_abs()));
        // Lead III is the difference of two.
        0.002 * f32::from(most)
    }
}

const PATHWAYS: usize = Pathway::ALL.len();

/// How many parts of beats can have a residual: QRS and T of each pathway, P of each origin.
pub const PARTS: usize = 2 * PATHWAYS + AtrialOrigin::ALL.len();

/// The residuals of a body.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residuals(pub [Option<Residual<'static>>; PARTS]);

impl Residuals {
    /// Of no part.
    pub const NONE: Residuals = Residuals([None; PARTS]);

    /// Place of the QRS of the pathway with a number.
    pub const fn qrs(pathway: usize) -> usize {
        pathway
    }

    /// Place of the T wave of the pathway with a number.
    pub const fn t(pathway: usize) -> usize {
        PATHWAYS + pathway
    }

    /// Place of the P wave of the origin with a number.
    pub const fn p(origin: usize) -> usize {
        2 * PATHWAYS + origin
    }
}
