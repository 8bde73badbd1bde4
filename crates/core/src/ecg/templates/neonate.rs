//! Wave shapes of a newborn.

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

/// P of a newborn.
static P: &[Wave] = &[wave(0.0, 26.0, 28.0, [0.030, 0.085, -0.06]), wave(18.0, 26.0, 30.0, [0.045, 0.050, 0.025])];

/// QRS-T of a newborn: right-sided axis, dominant R in V1.
static NORMAL: Complex = Complex {
    qrs: &[
        wave(0.0, 10.0, 12.0, [0.25, -0.20, -0.20]),
        wave(8.0, 17.0, 15.0, [-0.25, 0.95, -0.95]),
        wave(26.0, 13.0, 15.0, [-0.55, 0.15, 0.35]),
    ],
    qrs_ms: 54.0,
    peak_ms: 25.0,
    t: &[wave(36.0, 90.0, 70.0, [0.14, 0.16, 0.02])],
    qt_ms: 250.0,
};

/// QRS-T of a newborn's ventricular beat.
static VENTRICULAR: Complex = Complex {
    qrs: &[wave(0.0, 30.0, 30.0, [0.40, 0.40, 0.25]), wave(18.0, 32.0, 36.0, [0.55, 0.60, 0.60])],
    qrs_ms: 82.0,
    peak_ms: 45.0,
    t: &[wave(6.0, 90.0, 75.0, [-0.22, -0.22, -0.20])],
    qt_ms: 250.0,
};
