//! Templates as an image packs them: read where they lie, with no copy.
//!
//! ```text
//! 20 places of 2 bytes: of each complex in the order of the pathways, then of each P wave in that of the origins, counted
//!     from the start of the templates; 0 where the shape is that of a body of this program
//!     where the body has residuals, 33 more: of each QRS, each T wave, then each P wave; 0 without one
//! a complex: number of QRS waves, three bytes of 0, QRS duration and QT (ms), the QRS waves, three waves of T
//! a P wave: number of waves, three bytes of 0, the waves
//! a wave: start, rise, plateau, fall (ms), X, Y, Z (mV)
//! a residual: how many numbers a lead has, three bytes of 0, start and step (ms), the eight leads' numbers, place by place
//! ```
//!
//! Numbers are `f32`, those of a residual's leads `i16` (uV), little-endian.

use super::ranges::{
    P_AT_MS, QRS_AT_MS, T_AT_MS, lengths_allowed, p_allowed, qrs_allowed, residual_allowed, t_allowed,
};
use super::residual::{Knot, PARTS, Residual, Residuals};
use super::wave_list::{ShapedComplex, WaveBytes, WaveList};
use super::{Complex, Templates, Wave};
use crate::anatomy::{AtrialOrigin, Pathway};

const PATHWAYS: usize = Pathway::ALL.len();
const SHAPES: usize = PATHWAYS + AtrialOrigin::ALL.len();
const WAVE: usize = size_of::<WaveBytes>();
const PLACE: usize = 2;
const COMPLEX_HEAD: usize = 12;
const P_HEAD: usize = 4;
const T_WAVES: usize = 3;
const RESIDUAL_HEAD: usize = 12;

/// Packed templates.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Packed<'a> {
    bytes: &'a [u8],
    /// How many residuals have a place.
    residuals: usize,
    /// Shapes that are left out.
    base: &'static Templates,
}

impl<'a> Packed<'a> {
    /// The templates that start with `bytes`, maybe with residuals; `base` has the shapes that they leave out.
    pub(crate) fn new(bytes: &'a [u8], residuals: bool, base: &'static Templates) -> Packed<'a> {
        Packed { bytes, residuals: if residuals { PARTS } else { 0 }, base }
    }

    /// Whether every shape is whole and can be drawn.
    pub(crate) fn allowed(&self) -> bool {
        let good = |index| match self.place(index) {
            None => false,
            Some(0) => true,
            Some(place) if index < PATHWAYS => self.complex_at(place).is_some_and(|complex| {
                lengths_allowed(complex.qrs_ms, complex.qt_ms)
                    && qrs_allowed(complex.qrs.len(), complex.qrs.iter())
                    && complex.t.iter().all(|wave| t_allowed(&wave, complex.qrs_ms))
            }),
            Some(place) => self.p_at(place).is_some_and(|waves| p_allowed(waves.len(), waves.iter())),
        };
        let residual = |part| match self.place(SHAPES + part) {
            None => false,
            Some(0) => true,
            Some(_) => self
                .residual(part)
                .is_some_and(|residual| allowed(part, &residual, |pathway| self.complex(pathway).qrs_ms)),
        };
        (0..SHAPES).all(good) && (0..self.residuals).all(residual)
    }

    /// See [`super::shapes::Shapes::residual`].
    pub(crate) fn residual(&self, part: usize) -> Option<Residual<'a>> {
        let place = self.place(SHAPES + part).filter(|place| part < self.residuals && *place > 0)?;
        let (head, knots) = self.bytes.get(place..)?.split_first_chunk::<RESIDUAL_HEAD>()?;
        let [count, _, _, _, a0, a1, a2, a3, s0, s1, s2, s3] = *head;
        let knots = knots.get(..size_of::<Knot>() * usize::from(count))?.as_chunks().0;
        let [at_ms, step_ms] = [[a0, a1, a2, a3], [s0, s1, s2, s3]].map(f32::from_le_bytes);
        Some(Residual { at_ms, step_ms, knots })
    }

    /// See [`super::shapes::Shapes::complex`].
    pub(crate) fn complex(&self, pathway: Pathway) -> ShapedComplex<'a> {
        let own = self.place(pathway as usize).filter(|place| *place > 0).and_then(|place| self.complex_at(place));
        own.unwrap_or_else(|| (*self.base.complexes[pathway as usize]).into())
    }

    /// See [`super::shapes::Shapes::p`].
    pub(crate) fn p(&self, origin: AtrialOrigin) -> WaveList<'a> {
        let own = self.place(PATHWAYS + origin as usize).filter(|place| *place > 0).and_then(|place| self.p_at(place));
        own.unwrap_or(WaveList::Known(self.base.p[origin as usize]))
    }

    fn place(&self, index: usize) -> Option<usize> {
        let bytes = self.bytes.get(PLACE * index..)?.first_chunk()?;
        Some(u16::from_le_bytes(*bytes).into())
    }

    fn complex_at(&self, place: usize) -> Option<ShapedComplex<'a>> {
        let (head, waves) = self.bytes.get(place..)?.split_first_chunk::<COMPLEX_HEAD>()?;
        let [count, _, _, _, q0, q1, q2, q3, t0, t1, t2, t3] = *head;
        let (qrs, rest) = waves.split_at_checked(WAVE * usize::from(count))?;
        Some(ShapedComplex {
            qrs: WaveList::Packed(qrs.as_chunks().0),
            qrs_ms: f32::from_le_bytes([q0, q1, q2, q3]),
            t: WaveList::Packed(rest.get(..T_WAVES * WAVE)?.as_chunks().0),
            qt_ms: f32::from_le_bytes([t0, t1, t2, t3]),
        })
    }

    fn p_at(&self, place: usize) -> Option<WaveList<'a>> {
        let ([count, ..], waves) = self.bytes.get(place..)?.split_first_chunk::<P_HEAD>()?;
        Some(WaveList::Packed(waves.get(..WAVE * usize::from(*count))?.as_chunks().0))
    }
}

/// Whether the residual of a part can be drawn; `qrs_ms` is the QRS duration of a pathway's complex.
fn allowed(part: usize, residual: &Residual<'_>, qrs_ms: impl Fn(Pathway) -> f32) -> bool {
    if part >= Residuals::p(0) {
        return residual_allowed(residual, &P_AT_MS);
    }
    match part.checked_sub(Residuals::t(0)).and_then(|pathway| Pathway::ALL.get(pathway)) {
        None => residual_allowed(residual, &QRS_AT_MS),
        Some(pathway) => residual_allowed(residual, &T_AT_MS) && residual.at_ms >= -qrs_ms(*pathway),
    }
}

fn residual_length(residual: &Residual<'_>) -> usize {
    RESIDUAL_HEAD + size_of_val(residual.knots)
}

fn complex_length(complex: &Complex) -> usize {
    COMPLEX_HEAD + WAVE * (complex.qrs.len() + T_WAVES)
}

fn p_length(waves: &[Wave]) -> usize {
    P_HEAD + WAVE * waves.len()
}

/// Whether every shape can be read once packed.
pub(crate) fn readable(templates: &Templates) -> bool {
    templates.complexes.iter().all(|complex| complex.allowed())
        && templates.p.iter().all(|waves| p_allowed(waves.len(), waves.iter().copied()))
        && residuals(templates).enumerate().all(|(part, residual)| {
            residual
                .is_none_or(|residual| allowed(part, &residual, |pathway| templates.complexes[pathway as usize].qrs_ms))
        })
}

/// The places of residuals: none of a body without any.
fn residuals(templates: &Templates) -> impl Iterator<Item = Option<Residual<'static>>> + use<> {
    templates.residuals.into_iter().flat_map(|residuals| residuals.0)
}

/// Bytes of templates, without the shapes that they share with `base`.
pub(crate) fn length(templates: &Templates, base: &Templates) -> usize {
    let complexes: usize = templates.own_complexes(base).flatten().map(complex_length).sum();
    let p: usize = templates.own_p(base).flatten().map(p_length).sum();
    let own_residuals: usize = residuals(templates).flatten().map(|residual| residual_length(&residual)).sum();
    PLACE * (SHAPES + residuals(templates).count()) + complexes + p + own_residuals
}

/// Puts out templates, without the shapes that they share with `base`.
pub(crate) fn put(templates: &Templates, base: &Templates, put: &mut dyn FnMut(&[u8])) {
    let complexes = templates.own_complexes(base).map(|own| own.map(complex_length));
    let p = templates.own_p(base).map(|own| own.map(p_length));
    let own_residuals = residuals(templates).map(|own| own.map(|residual| residual_length(&residual)));
    let mut place = PLACE * (SHAPES + residuals(templates).count());
    for own in complexes.chain(p).chain(own_residuals) {
        put(&(own.map_or(0, |_| place) as u16).to_le_bytes());
        place += own.unwrap_or(0);
    }
    for complex in templates.own_complexes(base).flatten() {
        put(&[complex.qrs.len() as u8, 0, 0, 0]);
        put(&complex.qrs_ms.to_le_bytes());
        put(&complex.qt_ms.to_le_bytes());
        complex.qrs.iter().chain(complex.t).for_each(|wave| put_wave(wave, put));
    }
    for waves in templates.own_p(base).flatten() {
        put(&[waves.len() as u8, 0, 0, 0]);
        waves.iter().for_each(|wave| put_wave(wave, put));
    }
    for Residual { at_ms, step_ms, knots } in residuals(templates).flatten() {
        put(&[knots.len() as u8, 0, 0, 0]);
        put(&at_ms.to_le_bytes());
        put(&step_ms.to_le_bytes());
        put(knots.as_flattened());
    }
}

fn put_wave(wave: &Wave, put: &mut dyn FnMut(&[u8])) {
    let [x, y, z] = wave.mv;
    for number in [wave.at_ms, wave.rise_ms, wave.hold_ms, wave.fall_ms, x, y, z] {
        put(&number.to_le_bytes());
    }
}
