//! Wave shapes of an adult.

use super::{AtrialOrigin, Complex, Pathway, Wave, wave};

/// QRS and T of a beat that comes down `pathway`.
pub fn complex(pathway: Pathway) -> &'static Complex {
    match pathway {
        Pathway::RightVentricle | Pathway::LeftVentricle | Pathway::Paced | Pathway::Escape | Pathway::Agonal => {
            &VENTRICULAR
        }
        _ => &NORMAL,
    }
}

/// P wave of an atrial activation from `origin`.
pub fn p(_origin: AtrialOrigin) -> &'static [Wave] {
    P
}

/// P of an adult: right atrium to the front, left atrium to the back.
static P: &[Wave] = &[wave(0.0, 38.0, 42.0, [0.035, 0.085, -0.055]), wave(28.0, 40.0, 48.0, [0.065, 0.060, 0.045])];

/// QRS-T of an adult with a normal axis.
static NORMAL: Complex = Complex {
    qrs: &[
        wave(0.0, 16.0, 18.0, [-0.16, -0.06, -0.30]),
        wave(14.0, 26.0, 24.0, [1.05, 1.00, 0.05]),
        wave(36.0, 22.0, 24.0, [0.10, 0.05, 0.85]),
        wave(58.0, 16.0, 20.0, [-0.10, -0.16, 0.30]),
    ],
    qrs_ms: 92.0,
    peak_ms: 40.0,
    t: &[wave(58.0, 155.0, 100.0, [0.28, 0.22, -0.16])],
    qt_ms: 394.0,
};

/// QRS-T of an adult's beat from the right ventricle: wide, superior to the left, T opposite.
static VENTRICULAR: Complex = Complex {
    qrs: &[wave(0.0, 50.0, 50.0, [0.55, 0.45, 0.25]), wave(30.0, 55.0, 60.0, [0.80, 0.70, 0.75])],
    qrs_ms: 140.0,
    peak_ms: 75.0,
    t: &[wave(10.0, 150.0, 110.0, [-0.32, -0.30, -0.30])],
    qt_ms: 410.0,
};
