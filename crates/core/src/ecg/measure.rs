//! Measurements of one beat from the closed form of its waves: where its heart vector is longest, and its R and ST in a lead.
//!
//! Its own waves are QRS, lost forces, T, ST and its shift, as they were started: stretched, turned, fused and changed by chance.
//! Pacing pulses, fibrillatory waves, artefacts and later waves do not count.

use super::deflection::{Bump, Deflection};
use super::leads::{DOWER, lead_of};
use super::residuals::UnderWay;
use super::templates::wave_list::ShapedComplex;
use crate::frame::{Channel, Frame, INDEPENDENT_LEADS, Lead};
use crate::math::{abs, clamp};
use crate::time::{Instant, Span};

/// Points at a time: the second look is 31 times as fine as the first.
const POINTS: usize = 64;

/// ST is read so long after the J point (IEC 60601-2-27 leaves it to the monitor; 60 or 80 ms are common practice, no source).
pub(crate) const ST_AFTER_J: Span = Span::millis(60);

/// No wave of the heart is as short, s; a pacing pulse never lasts longer.
const LONGEST_PULSE_S: f32 = 0.0025;

/// A beat and the waves that count.
pub(crate) struct Qrs<'a> {
    /// Its own, alone or with those before it. Pacing pulses among them are left out.
    pub waves: &'a [Deflection],
    /// What leads have beside the heart vector.
    pub residuals: Option<&'a UnderWay<'a>>,
    /// QRS onset.
    pub onset: Instant,
    /// QRS end.
    pub end: Instant,
}

impl Qrs<'_> {
    /// Where the heart vector is longest between QRS onset and end.
    pub(crate) fn peak(&self) -> Instant {
        self.largest(|[x, y, z], _| x * x + y * y + z * z)
    }

    /// Where a lead is furthest from its value at QRS onset, between QRS onset and end.
    pub(crate) fn r_at(&self, weights: &Weights) -> Instant {
        let base_mv = self.value(weights, self.onset);
        self.largest(|vector, clock| abs(self.lead_mv(weights, vector, clock) - base_mv))
    }

    /// A lead at an instant, mV.
    pub(crate) fn value(&self, weights: &Weights, at: Instant) -> f32 {
        let mut vector = [[0.0; 1]; 3];
        self.add_to(&[at.clock()], &mut vector);
        self.lead_mv(weights, vector.map(|[value]| value), at.clock())
    }

    /// A lead of a heart vector at a frame clock, mV.
    fn lead_mv(&self, weights: &Weights, vector: [f32; 3], clock: u32) -> f32 {
        let mut mv = lead_of(weights.vector, vector);
        if let Some(residuals) = self.residuals.filter(|residuals| !residuals.is_empty()) {
            for (weight, lead_mv) in weights.eight.into_iter().zip(residuals.leads_mv(clock)) {
                mv += weight * lead_mv;
            }
        }
        mv
    }

    fn add_to<const N: usize>(&self, clocks: &[u32; N], [x, y, z]: &mut [[f32; N]; 3]) {
        let of_heart = |wave: &&Deflection| wave.bump.length_s() > LONGEST_PULSE_S;
        for Deflection { bump, vector_mv: [mv_x, mv_y, mv_z] } in self.waves.iter().filter(of_heart) {
            bump.add_to(clocks, &mut [(&mut *x, *mv_x), (&mut *y, *mv_y), (&mut *z, *mv_z)]);
        }
    }

    /// Where `size` of the heart vector is largest. A first look finds the tallest of its tops, a second one its place.
    fn largest(&self, size: impl Fn([f32; 3], u32) -> f32) -> Instant {
        let mut from = self.onset;
        let mut length = self.end.since(self.onset);
        let mut place = 0.0;
        for look in 0..2 {
            let at = |point: u64| from.plus(Span::from_ticks(length.ticks() * point / (POINTS as u64 - 1)));
            let clocks: [u32; POINTS] = core::array::from_fn(|point| at(point as u64).clock());
            let mut vectors = [[0.0; POINTS]; 3];
            self.add_to(&clocks, &mut vectors);
            let [x, y, z] = &vectors;
            let mut sizes = [0.0; POINTS];
            for ((((sum, x), y), z), clock) in sizes.iter_mut().zip(x).zip(y).zip(z).zip(clocks) {
                *sum = size([*x, *y, *z], clock);
            }
            let (point, offset) = top(&sizes);
            place = point as f32 + offset;
            if look == 0 {
                let (first, last) =
                    (at((point as u64).saturating_sub(1)), at((point as u64 + 1).min(POINTS as u64 - 1)));
                (from, length) = (first, last.since(first));
            }
        }
        from.shifted(place * (1.0 / (POINTS as f32 - 1.0)) * length.as_secs())
    }
}

/// Most waves of a template's beat that are looked at.
const WAVES: usize = 16;

/// From QRS onset to the peak of a template's beat, s, at its nominal durations.
pub(crate) fn peak_s(complex: ShapedComplex<'_>) -> f32 {
    let onset = Instant::ZERO.plus(Span::secs(1));
    let end = onset.shifted(0.001 * complex.qrs_ms);
    let mut waves = [Deflection { bump: Bump::new(onset, 0.0, 0.0, 0.0), vector_mv: [0.0; 3] }; WAVES];
    let all = complex.qrs.iter().map(|wave| (onset, wave)).chain(complex.t.iter().map(|wave| (end, wave)));
    for (place, (from, wave)) in waves.iter_mut().zip(all) {
        let [at_s, rise_s, hold_s, fall_s] =
            [wave.at_ms, wave.rise_ms, wave.hold_ms, wave.fall_ms].map(|ms| 0.001 * ms);
        let bump = Bump::new(from.shifted(at_s), rise_s, hold_s, fall_s);
        *place = Deflection { bump, vector_mv: wave.mv };
    }
    Qrs { waves: &waves, residuals: None, onset, end }.peak().since(onset).as_secs()
}

/// The largest of consecutive values, as the top of a parabola where its neighbours are lower: which, and how far beside it.
fn top(values: &[f32; POINTS]) -> (usize, f32) {
    let mut best = (0, 0.0, f32::NEG_INFINITY);
    for (point, value) in values.iter().enumerate() {
        let before = point.checked_sub(1).and_then(|before| values.get(before));
        let (mut offset, mut height) = (0.0, *value);
        if let (Some(before), Some(after)) = (before, values.get(point + 1)) {
            let bend = 2.0 * value - before - after;
            if value >= before && value >= after && bend > 0.0 {
                offset = clamp(0.5 * (after - before) / bend, -0.5, 0.5);
                height += 0.25 * (after - before) * offset;
            }
        }
        if height > best.2 {
            best = (point, offset, height);
        }
    }
    (best.0, best.1)
}

/// A lead of eight independent ones, in their unit.
pub(crate) fn lead_of_eight(lead: Lead, leads_mv: [f32; INDEPENDENT_LEADS]) -> f32 {
    Frame { leads_mv, ..Frame::default() }.sample(Channel::Lead(lead))
}

/// How a lead sees the heart.
pub(crate) struct Weights {
    /// Weights of X, Y and Z.
    vector: [f32; 3],
    /// Weights of the eight independent leads.
    eight: [f32; INDEPENDENT_LEADS],
}

impl Weights {
    /// Of a lead, with the electrodes as they are worn.
    pub(crate) fn of(lead: Lead, worn: impl Fn([f32; INDEPENDENT_LEADS]) -> [f32; INDEPENDENT_LEADS]) -> Weights {
        let seen = |eight| lead_of_eight(lead, worn(eight));
        let vector = [0, 1, 2].map(|axis| seen(DOWER.map(|row| row.get(axis).copied().unwrap_or(0.0))));
        let alone = |place: usize| core::array::from_fn(|other| f32::from(u8::from(other == place)));
        Weights { vector, eight: core::array::from_fn(|place| seen(alone(place))) }
    }
}
