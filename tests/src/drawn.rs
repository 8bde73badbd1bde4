//! Templates drawn anew in `f64` from the formula in the documentation, lead by lead, so that neither the player's
//! arithmetic nor its timing can hide a fault of a shape.

use pulsewright_core::internal::ecg::DOWER;
use pulsewright_core::internal::ecg::{Complex, Wave};

/// Step of the drawing, ms.
pub const STEP_MS: f64 = 0.1;

/// A lead of the standard twelve.
#[derive(Clone, Copy, Debug, PartialEq)]
#[expect(missing_docs, reason = "leads have no other name")]
pub enum Lead {
    I,
    II,
    III,
    Avr,
    Avl,
    Avf,
    V1,
    V2,
    V3,
    V4,
    V5,
    V6,
}
use Lead::{Avf, Avl, Avr, I, II, III, V1};

fn height(wave: &Wave, t_ms: f64) -> f64 {
    let t = t_ms - f64::from(wave.at_ms);
    let (rise, hold, fall) = (f64::from(wave.rise_ms), f64::from(wave.hold_ms), f64::from(wave.fall_ms));
    let x = ((t - rise) / rise).min(0.0) + ((t - rise - hold) / fall).max(0.0);
    (1.0 - (x * x).min(1.0)).powi(3)
}

/// Heart vector of waves at a time, mV.
pub fn vector(waves: &[Wave], t_ms: f64) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for wave in waves {
        let height = height(wave, t_ms);
        for (sum, mv) in sum.iter_mut().zip(wave.mv) {
            *sum += f64::from(mv) * height;
        }
    }
    sum
}

/// A lead of a heart vector, mV.
pub fn lead_of(v: [f64; 3], lead: Lead) -> f64 {
    let independent =
        |row: usize| DOWER[row].iter().zip(v).map(|(weight, axis)| f64::from(*weight) * axis).sum::<f64>();
    let (i, ii) = (independent(0), independent(1));
    match lead {
        I => i,
        II => ii,
        III => ii - i,
        Avr => -(i + ii) / 2.0,
        Avl => i - ii / 2.0,
        Avf => ii - i / 2.0,
        chest => independent(2 + chest as usize - V1 as usize),
    }
}

/// A drawn stretch of waves: times, ms, and heart vectors, mV.
pub struct Drawn(pub Vec<(f64, [f64; 3])>);

impl Drawn {
    /// Draws from 0 to `until_ms`.
    pub fn new(waves: &[Wave], until_ms: f64) -> Drawn {
        let steps = (until_ms / STEP_MS) as usize;
        Drawn((0..=steps).map(|i| i as f64 * STEP_MS).map(|t| (t, vector(waves, t))).collect())
    }

    /// Times, ms, and values, mV, of a lead between two times.
    pub fn within(&self, lead: Lead, from_ms: f64, to_ms: f64) -> impl Iterator<Item = (f64, f64)> {
        self.0.iter().filter(move |(t, _)| (from_ms..=to_ms).contains(t)).map(move |(t, v)| (*t, lead_of(*v, lead)))
    }

    /// Largest value in a lead between two times, mV, never below zero: the height of an R.
    pub fn r(&self, lead: Lead, from_ms: f64, to_ms: f64) -> f64 {
        self.within(lead, from_ms, to_ms).fold(0.0, |most, (_, mv)| most.max(mv))
    }

    /// Depth of a Q or S, mV.
    pub fn s(&self, lead: Lead, from_ms: f64, to_ms: f64) -> f64 {
        -self.within(lead, from_ms, to_ms).fold(0.0, |least: f64, (_, mv)| least.min(mv))
    }

    /// Times, ms, and lengths of the heart vector, mV.
    pub fn magnitudes(&self) -> Vec<(f64, f64)> {
        self.0.iter().map(|(t, v)| (*t, v.iter().map(|axis| axis * axis).sum::<f64>().sqrt())).collect()
    }

    /// Visible onset, peak and end of the heart vector, ms: 5 % of its peak.
    pub fn edges(&self) -> (f64, f64, f64) {
        let magnitudes = self.magnitudes();
        let (peak, most) = magnitudes.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1)).expect("a drawn stretch");
        let seen: Vec<f64> = magnitudes.iter().filter(|(_, mv)| *mv > 0.05 * most).map(|(t, _)| *t).collect();
        (seen[0], peak, seen[seen.len() - 1])
    }
}

/// The QRS, from its onset.
pub fn qrs(complex: &Complex) -> Drawn {
    Drawn::new(complex.qrs, f64::from(complex.qrs_ms) * 1.4)
}

/// The T wave, from the end of the QRS.
pub fn t(complex: &Complex) -> Drawn {
    Drawn::new(complex.t, f64::from(complex.qt_ms - complex.qrs_ms) * 1.2)
}
