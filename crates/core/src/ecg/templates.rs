//! Wave shapes of the bodies, as deflections on the Frank vector.
//!
//! A [`Pathway`] says how the ventricles are activated, an [`AtrialOrigin`] where the atria are; each body draws each in
//! its own shape, one file per body. Nothing here knows when a beat comes.
//!
//! # How the waves were found
//! The published amplitudes of a kind of beat (R and S of each lead, sign and time of the first and last forces, notches)
//! were set as targets of a least-squares fit: a start set by hand from the usual order of activation, seen through
//! Dower's matrix, with start, flanks and vector of each wave free, held near that start and smooth (a small weight on the
//! vector's second difference); flutter and P waves other than the sinus node's were then set by hand, and one flank of left
//! bundle branch block. Adult R and S in the chest leads aim at 0.25/0.9, 0.5/1.4, 0.8/0.95, 1.45/0.5, 1.4/0.25,
//! 1.05/0.1 mV in V1 to V6 (older amplitude surveys, from memory). Bundle branch and fascicular blocks follow the
//! criteria of AHA/ACCF/HRS, Recommendations for the Standardization and Interpretation of the Electrocardiogram,
//! part III, 2009; the shapes of ventricular, paced and escape beats are common practice, no source. The steepest slope of a
//! normal adult R is 71 to 130 times its height a second, as in open recordings of the MIT-BIH and PTB databases. The script is
//! `tests/fitting/fit_templates.py`.
//!
//! # From the QRS into T
//! Repolarisation begins while the QRS still lasts, so there is no level ST segment: a low wave of its own direction rises
//! under the end of the QRS and falls under the T wave, and a tail of 3 % of the T wave lasts until about 1.7 times the QT.
//! In the same way a P wave is followed by the repolarisation of the atria, small and opposite to it.
//!
//! # What the intervals mean
//! - QRS onset and end, P onset and end: where the heart vector rises above, and last falls below, 5 % of its peak in that
//!   wave. A template starts up to 7 ms (P: 9 ms) before its visible onset, and the distance between its two visible
//!   edges is the duration that it says.
//! - QRS peak: the largest heart vector of the beat by itself; `measure.rs` finds it.
//! - T end: where the steepest tangent of the falling flank meets the base line (Lepeschkin and Surawicz 1952), 5 % of the T
//!   peak follows up to 12 ms later, as the tail fades slowly.

pub(crate) mod adult;
pub(crate) mod child;
pub(crate) mod neonate;
pub(crate) mod packed;
pub(crate) mod ranges;
pub(crate) mod residual;
pub(crate) mod shapes;
pub(crate) mod wave_list;

use crate::anatomy::{AtrialOrigin, Pathway};
use residual::Residuals;

/// Cycle for which the waves of [`AtrialOrigin::Flutter`](crate::anatomy::AtrialOrigin::Flutter) are drawn, ms: 300 a minute. Another cycle stretches them.
pub const FLUTTER_CYCLE_MS: f32 = 200.0;

/// One deflection of a template; times in ms, flanks as in `ecg/deflection.rs`, size in mV on X, Y, Z.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wave {
    /// Start after the template's start.
    pub at_ms: f32,
    /// Rise.
    pub rise_ms: f32,
    /// Plateau.
    pub hold_ms: f32,
    /// Fall.
    pub fall_ms: f32,
    /// Peak on X (left), Y (down), Z (back), mV.
    pub mv: [f32; 3],
}

/// QRS complex and T wave of one kind of beat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Complex {
    /// QRS waves, from QRS onset, at the nominal duration.
    pub qrs: &'static [Wave],
    /// Nominal QRS duration, ms: the waves stretch when another is set.
    pub qrs_ms: f32,
    /// The T wave, the ST segment's wave and the tail, from the end of the QRS, at the nominal JT (QT less QRS), with which they stretch.
    pub t: &'static [Wave; 3],
    /// Nominal QT, ms.
    pub qt_ms: f32,
}

impl Wave {
    /// The same wave, `time` times as long and `size` times as large.
    const fn scaled(&self, time: f32, size: f32) -> Wave {
        let [x, y, z] = self.mv;
        Wave {
            at_ms: self.at_ms * time,
            rise_ms: self.rise_ms * time,
            hold_ms: self.hold_ms * time,
            fall_ms: self.fall_ms * time,
            mv: [x * size, y * size, z * size],
        }
    }
}

/// A wave without a plateau.
const fn wave(at_ms: f32, rise_ms: f32, fall_ms: f32, mv: [f32; 3]) -> Wave {
    Wave { at_ms, rise_ms, hold_ms: 0.0, fall_ms, mv }
}

/// JT interval, ms, for which [`repolarisation`] and [`opposite`] are written down.
const JT_MS: f32 = 308.0;

/// ST segment, T wave and tail after a narrow QRS, from its end: the vectors of T and of the ST segment's wave.
const fn repolarisation(t_mv: [f32; 3], st_mv: [f32; 3]) -> [Wave; 3] {
    [wave(20.0, 198.0, 120.0, t_mv), wave(-60.0, 150.0, 210.0, st_mv), tail(t_mv)]
}

/// The same after a QRS that went through muscle: T against the QRS, with its onset under the QRS.
const fn opposite(t_mv: [f32; 3]) -> [Wave; 3] {
    let [x, y, z] = t_mv;
    let st = wave(-110.0, 140.0, 230.0, [0.12 * x, 0.12 * y, 0.12 * z]);
    [wave(-95.0, 299.0, 138.0, t_mv), st, tail(t_mv)]
}

/// The end of repolarisation, long and low.
const fn tail([x, y, z]: [f32; 3]) -> Wave {
    wave(220.0, 160.0, 300.0, [0.03 * x, 0.03 * y, 0.03 * z])
}

/// Repolarisation of the atria after a P wave of `length_ms`: 8 % of it, the other way.
const fn after_p(length_ms: f32, [x, y, z]: [f32; 3]) -> Wave {
    wave(0.5 * length_ms, 0.9 * length_ms, 1.4 * length_ms, [-0.08 * x, -0.08 * y, -0.08 * z])
}

/// A complex as written down: from it come the complexes of every body.
struct Shape<const N: usize> {
    qrs: [Wave; N],
    qrs_ms: f32,
    t: [Wave; 3],
    jt_ms: f32,
}

impl<const N: usize> Shape<N> {
    /// The same shape in a smaller heart: a shorter QRS, a shorter JT, another size.
    const fn scaled(mut self, qrs_time: f32, jt_time: f32, size: f32) -> Shape<N> {
        let mut i = 0;
        while i < N {
            self.qrs[i] = self.qrs[i].scaled(qrs_time, size);
            i += 1;
        }
        self.qrs_ms *= qrs_time;
        let mut i = 0;
        while i < self.t.len() {
            self.t[i] = self.t[i].scaled(jt_time, size);
            i += 1;
        }
        self.jt_ms *= jt_time;
        self
    }
}

/// The shapes of a body's beats.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Templates {
    /// QRS and T of each pathway, in the order of [`Pathway::ALL`].
    pub complexes: [&'static Complex; Pathway::ALL.len()],
    /// P wave of each origin, from its onset, in the order of [`AtrialOrigin::ALL`].
    pub p: [&'static [Wave]; AtrialOrigin::ALL.len()],
    /// What leads have beside these waves on the heart vector.
    pub residuals: Option<&'static Residuals>,
}

impl Templates {
    /// Each complex that is not the one of `base`, in the order of the pathways; a copy of it counts as another.
    pub fn own_complexes(&self, base: &Templates) -> impl Iterator<Item = Option<&'static Complex>> + use<> {
        let pairs = self.complexes.into_iter().zip(base.complexes);
        pairs.map(|(own, base)| (!core::ptr::eq(own, base)).then_some(own))
    }

    /// Each P wave that is not the one of `base`, likewise, in the order of the origins.
    pub fn own_p(&self, base: &Templates) -> impl Iterator<Item = Option<&'static [Wave]>> + use<> {
        self.p.into_iter().zip(base.p).map(|(own, base)| (!core::ptr::eq(own, base)).then_some(own))
    }

    /// How many shapes are those of `base`.
    pub(crate) fn shared(&self, base: &Templates) -> usize {
        self.own_complexes(base).filter(Option::is_none).count() + self.own_p(base).filter(Option::is_none).count()
    }
}

/// The templates of a body: one static for each shape, in the order of the pathways; before them the P waves.
macro_rules! templates {
    (p: $p:expr; $($pathway:ident = $name:ident: $shape:expr;)*) => {
        $(static $name: Complex = {
            const SHAPE: &Shape<{ $shape.qrs.len() }> = &$shape;
            Complex {
                qrs: &SHAPE.qrs,
                qrs_ms: SHAPE.qrs_ms,
                t: &SHAPE.t,
                qt_ms: SHAPE.qrs_ms + SHAPE.jt_ms,
            }
        };)*

        pub(crate) static TEMPLATES: Templates = Templates { complexes: [$(&$name,)*], p: $p, residuals: None };

        const _: () = {
            let mut i = 0;
            $(
                assert!(Pathway::$pathway as usize == i, "a shape out of order");
                i += 1;
            )*
            assert!(i == Pathway::ALL.len());
        };
    };
}
use templates;
