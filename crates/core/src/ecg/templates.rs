//! Wave shapes of the bodies, as deflections on the Frank vector.

/// One deflection of a template; times in ms, flanks as in [`super::deflection`], size in mV on X, Y, Z.
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
#[derive(Debug)]
pub struct Complex {
    /// QRS waves, from QRS onset, at the nominal duration.
    pub qrs: &'static [Wave],
    /// Nominal QRS duration, ms: the waves stretch when another is set.
    pub qrs_ms: f32,
    /// Peak of the heart vector after QRS onset at the nominal duration, ms.
    pub peak_ms: f32,
    /// ST and T waves, from QRS onset, at the nominal QT; they stretch with QT, beginning after the QRS.
    pub t: &'static [Wave],
    /// Nominal QT, ms.
    pub qt_ms: f32,
}

const fn wave(at_ms: f32, rise_ms: f32, fall_ms: f32, mv: [f32; 3]) -> Wave {
    Wave { at_ms, rise_ms, hold_ms: 0.0, fall_ms, mv }
}

/// P of an adult: right atrium to the front, left atrium to the back.
pub static ADULT_P: &[Wave] =
    &[wave(0.0, 38.0, 42.0, [0.035, 0.085, -0.055]), wave(28.0, 40.0, 48.0, [0.065, 0.060, 0.045])];

/// QRS-T of an adult with a normal axis.
pub static ADULT_NORMAL: Complex = Complex {
    qrs: &[
        wave(0.0, 16.0, 18.0, [-0.16, -0.06, -0.30]),
        wave(14.0, 26.0, 24.0, [1.05, 1.00, 0.05]),
        wave(36.0, 22.0, 24.0, [0.10, 0.05, 0.85]),
        wave(58.0, 16.0, 20.0, [-0.10, -0.16, 0.30]),
    ],
    qrs_ms: 92.0,
    peak_ms: 40.0,
    t: &[wave(150.0, 155.0, 100.0, [0.28, 0.22, -0.16])],
    qt_ms: 394.0,
};

/// QRS-T of an adult's beat from the right ventricle: wide, superior to the left, T opposite.
pub static ADULT_VENTRICULAR: Complex = Complex {
    qrs: &[wave(0.0, 50.0, 50.0, [0.55, 0.45, 0.25]), wave(30.0, 55.0, 60.0, [0.80, 0.70, 0.75])],
    qrs_ms: 140.0,
    peak_ms: 75.0,
    t: &[wave(150.0, 150.0, 110.0, [-0.32, -0.30, -0.30])],
    qt_ms: 410.0,
};

/// P of a newborn.
pub static NEONATE_P: &[Wave] =
    &[wave(0.0, 26.0, 28.0, [0.030, 0.085, -0.06]), wave(18.0, 26.0, 30.0, [0.045, 0.050, 0.025])];

/// QRS-T of a newborn: right-sided axis, dominant R in V1.
pub static NEONATE_NORMAL: Complex = Complex {
    qrs: &[
        wave(0.0, 10.0, 12.0, [0.25, -0.20, -0.20]),
        wave(8.0, 17.0, 15.0, [-0.25, 0.95, -0.95]),
        wave(26.0, 13.0, 15.0, [-0.55, 0.15, 0.35]),
    ],
    qrs_ms: 54.0,
    peak_ms: 25.0,
    t: &[wave(90.0, 90.0, 70.0, [0.14, 0.16, 0.02])],
    qt_ms: 250.0,
};

/// QRS-T of a newborn's ventricular beat.
pub static NEONATE_VENTRICULAR: Complex = Complex {
    qrs: &[wave(0.0, 30.0, 30.0, [0.40, 0.40, 0.25]), wave(18.0, 32.0, 36.0, [0.55, 0.60, 0.60])],
    qrs_ms: 82.0,
    peak_ms: 45.0,
    t: &[wave(88.0, 90.0, 75.0, [-0.22, -0.22, -0.20])],
    qt_ms: 250.0,
};
