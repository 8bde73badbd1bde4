//! Wave shapes of an adult; those of smaller bodies that have no shape of their own are made from them.

use super::{Complex, Shape, Wave, complexes, held, wave};
use crate::anatomy::{AtrialOrigin, Pathway};

complexes! {
    Normal = NORMAL_COMPLEX: NORMAL;
    RightBundleBranchBlock = RIGHT_BUNDLE_COMPLEX: RIGHT_BUNDLE;
    LeftBundleBranchBlock = LEFT_BUNDLE_COMPLEX: LEFT_BUNDLE;
    LeftAnteriorFascicular = LEFT_ANTERIOR_COMPLEX: LEFT_ANTERIOR;
    LeftPosteriorFascicular = LEFT_POSTERIOR_COMPLEX: LEFT_POSTERIOR;
    PreExcited = PRE_EXCITED_COMPLEX: PRE_EXCITED;
    RightVentricle = RIGHT_VENTRICLE_COMPLEX: RIGHT_VENTRICLE;
    LeftVentricle = LEFT_VENTRICLE_COMPLEX: LEFT_VENTRICLE;
    Paced = PACED_COMPLEX: PACED;
    Escape = ESCAPE_COMPLEX: ESCAPE;
    Agonal = AGONAL_COMPLEX: AGONAL;
}

/// Both bundle branches: septum to the front and right, then left and down, then back; rS in V1 and V2, transition in V3 to
/// V4, tallest R in V4 and V5, a septal q in I, V5, V6; frontal axis about 50 degrees.
pub(super) const NORMAL: Shape<4> = Shape {
    qrs: [
        wave(0.0, 20.9, 17.4, [-0.07, -0.03, -0.31]),
        wave(13.7, 29.0, 25.5, [1.04, 0.71, -0.01]),
        wave(32.8, 32.7, 20.4, [0.41, 0.13, 0.80]),
        wave(61.1, 19.6, 21.8, [-0.20, -0.04, 0.43]),
    ],
    qrs_ms: 92.0,
    peak_ms: 46.6,
    t: [wave(55.0, 168.0, 98.2, [0.35, 0.22, -0.2])],
    jt_ms: 308.0,
};

/// As normal until the left ventricle is done, then slowly to the front and right: rsR' in V1 and V2, a broad S in I, V5, V6.
pub(super) const RIGHT_BUNDLE: Shape<4> = Shape {
    qrs: [
        wave(0.0, 15.4, 21.1, [-0.04, 0.01, -0.30]),
        wave(22.5, 24.2, 20.0, [1.05, 0.71, 0.08]),
        wave(46.9, 26.9, 23.6, [0.26, -0.12, 0.46]),
        wave(61.7, 28.6, 53.1, [-0.37, -0.02, -0.51]),
    ],
    qrs_ms: 130.0,
    peak_ms: 46.7,
    t: [wave(55.0, 168.0, 98.2, [0.3, 0.2, 0.12])],
    jt_ms: 308.0,
};

/// From right to left through the septum: no q, a broad notched R in I, aVL, V5, V6, QS in V1 and V2; ST and T opposite.
pub(super) const LEFT_BUNDLE: Shape<3> = Shape {
    qrs: [
        wave(0.0, 29.1, 34.4, [0.58, -0.07, 0.59]),
        wave(21.4, 44.4, 43.2, [0.69, 0.34, 1.03]),
        wave(65.0, 42.2, 48.0, [0.88, 0.17, 1.19]),
    ],
    qrs_ms: 144.0,
    peak_ms: 91.4,
    t: [wave(-36.0, 241.0, 118.9, [-0.28, -0.06, -0.4])],
    jt_ms: 308.0,
};

/// First down and right, then up and left: qR in I and aVL, rS in II, III, aVF; frontal axis about -55 degrees.
pub(super) const LEFT_ANTERIOR: Shape<4> = Shape {
    qrs: [
        wave(0.0, 16.9, 20.9, [-0.02, 0.24, -0.31]),
        wave(8.9, 26.7, 30.3, [1.04, -0.12, 0.21]),
        wave(35.2, 28.1, 28.6, [0.09, -0.75, 0.81]),
        wave(64.8, 23.8, 24.0, [-0.28, -0.26, 0.11]),
    ],
    qrs_ms: 104.0,
    peak_ms: 60.9,
    t: [wave(55.0, 168.0, 98.2, [0.28, 0.26, -0.2])],
    jt_ms: 308.0,
};

/// First up and left, then down and right: rS in I and aVL, qR in II, III, aVF; frontal axis beyond +90 degrees.
pub(super) const LEFT_POSTERIOR: Shape<4> = Shape {
    qrs: [
        wave(0.0, 17.2, 20.5, [0.28, -0.21, -0.34]),
        wave(13.8, 24.4, 35.8, [0.57, 0.68, -0.09]),
        wave(29.6, 29.7, 30.7, [0.18, 0.52, 0.85]),
        wave(55.7, 28.2, 27.3, [-0.46, 0.88, 0.39]),
    ],
    qrs_ms: 104.0,
    peak_ms: 52.7,
    t: [wave(55.0, 168.0, 98.2, [0.32, 0.1, -0.2])],
    jt_ms: 308.0,
};

/// A slow start through muscle, the delta wave, upright in I, II, V1 to V6, before the normal wave front takes over; T low or
/// against the delta wave.
pub(super) const PRE_EXCITED: Shape<5> = Shape {
    qrs: [
        held(0.0, 8.2, 6.6, 39.7, [0.06, 0.05, -0.06]),
        wave(10.2, 53.7, 29.8, [0.41, 0.36, -0.32]),
        wave(39.8, 30.6, 33.4, [0.73, 0.47, 0.50]),
        wave(71.5, 24.8, 29.5, [0.08, 0.13, 0.56]),
        wave(97.1, 21.9, 26.7, [-0.14, -0.06, 0.08]),
    ],
    qrs_ms: 130.0,
    peak_ms: 68.1,
    t: [wave(-36.0, 241.0, 118.9, [-0.05, -0.1, -0.22])],
    jt_ms: 308.0,
};

/// From the right ventricle's outflow tract: like left bundle branch block, downward axis; T opposite.
pub(super) const RIGHT_VENTRICLE: Shape<3> = Shape {
    qrs: [
        wave(0.0, 20.4, 50.4, [0.26, 0.60, -0.09]),
        wave(18.2, 43.9, 49.7, [0.76, 1.27, 1.02]),
        wave(68.1, 34.2, 61.2, [0.40, 0.76, 0.89]),
    ],
    qrs_ms: 150.0,
    peak_ms: 58.7,
    t: [wave(-36.0, 241.0, 118.9, [-0.25, -0.38, -0.32])],
    jt_ms: 308.0,
};

/// From the back and bottom of the left ventricle: like right bundle branch block, upward axis, R in V1 to V3, rS or QS in V5
/// and V6; T opposite.
pub(super) const LEFT_VENTRICLE: Shape<3> = Shape {
    qrs: [
        held(0.0, 27.9, 6.7, 44.9, [0.08, 0.00, -0.62]),
        wave(23.3, 51.5, 62.7, [-0.42, -1.01, -0.95]),
        wave(83.9, 35.8, 51.5, [-0.27, -0.03, -0.04]),
    ],
    qrs_ms: 150.0,
    peak_ms: 69.7,
    t: [wave(-36.0, 241.0, 118.9, [0.14, 0.34, 0.32])],
    jt_ms: 308.0,
};

/// From an electrode in the right ventricle's apex: like left bundle branch block, upward axis, QS in II, III, aVF; T opposite.
pub(super) const PACED: Shape<3> = Shape {
    qrs: [
        held(0.0, 30.6, 6.2, 46.9, [0.31, -0.48, 0.27]),
        wave(24.2, 58.4, 62.2, [0.54, -0.85, 0.80]),
        wave(86.2, 39.5, 47.6, [-0.03, -0.33, 0.65]),
    ],
    qrs_ms: 160.0,
    peak_ms: 69.3,
    t: [wave(-36.0, 241.0, 118.9, [-0.2, 0.28, -0.28])],
    jt_ms: 308.0,
};

/// A slow focus in the left ventricle's conduction fibres: broad, like right bundle branch block, downward axis; T opposite.
pub(super) const ESCAPE: Shape<3> = Shape {
    qrs: [
        held(0.0, 32.1, 8.1, 51.8, [0.39, 0.57, 0.11]),
        wave(28.4, 58.9, 65.9, [0.08, 0.66, -0.65]),
        wave(93.0, 40.0, 49.1, [-0.32, 0.39, -0.32]),
    ],
    qrs_ms: 170.0,
    peak_ms: 72.7,
    t: [wave(-36.0, 241.0, 118.9, [0.03, -0.24, 0.22])],
    jt_ms: 308.0,
};

/// A dying heart: QRS without edges, low, running into T.
pub(super) const AGONAL: Shape<2> = Shape {
    qrs: [wave(0.0, 52.9, 120.9, [0.30, 0.30, -0.06]), wave(71.4, 89.1, 121.3, [0.27, 0.26, 0.25])],
    qrs_ms: 260.0,
    peak_ms: 142.6,
    t: [wave(-36.0, 241.0, 118.9, [-0.1, -0.12, -0.1])],
    jt_ms: 308.0,
};

/// P wave of an atrial activation from `origin`.
pub fn p(origin: AtrialOrigin) -> &'static [Wave] {
    match origin {
        AtrialOrigin::Sinus => &SINUS,
        AtrialOrigin::EctopicHigh => &HIGH,
        AtrialOrigin::EctopicLow => &LOW,
        AtrialOrigin::EctopicLeft => &LEFT,
        AtrialOrigin::Junction => &JUNCTION,
        AtrialOrigin::Flutter => &FLUTTER,
        AtrialOrigin::Paced => &PACED_ATRIUM,
    }
}

/// From the sinus node: right atrium to the front, left atrium to the back, so that V1 is biphasic; 100 ms.
pub(super) const SINUS: [Wave; 2] =
    [wave(0.0, 36.5, 42.6, [0.045, 0.092, -0.065]), wave(33.1, 37.1, 40.0, [0.095, 0.060, 0.022])];

/// From high in the right atrium: steeper downwards, tall in II and III.
pub(super) const HIGH: [Wave; 2] =
    [wave(0.0, 35.9, 42.7, [0.030, 0.145, -0.060]), wave(32.7, 35.5, 39.4, [0.040, 0.075, 0.012])];

/// From low in the right atrium: upwards, so negative in II, III, aVF, upright in I.
pub(super) const LOW: [Wave; 2] =
    [wave(0.0, 33.7, 41.6, [0.070, -0.085, -0.060]), wave(32.0, 35.2, 38.8, [0.035, -0.090, 0.012])];

/// From the left atrium: to the right and the front, so negative in I and V6, upright in V1.
pub(super) const LEFT: [Wave; 2] =
    [wave(0.0, 43.3, 48.1, [-0.066, 0.060, -0.101]), wave(37.1, 39.5, 43.5, [-0.020, 0.020, -0.054])];

/// Backwards from the AV junction: deep in II, III, aVF, upright in V1, next to nothing in I.
pub(super) const JUNCTION: [Wave; 2] =
    [wave(0.0, 33.9, 42.5, [-0.030, -0.136, -0.050]), wave(29.3, 34.2, 37.5, [0.020, -0.075, -0.020])];

/// From an electrode in the right atrium's appendage: low, long, late part to the back.
pub(super) const PACED_ATRIUM: [Wave; 2] =
    [wave(0.0, 36.2, 50.6, [0.080, 0.075, -0.040]), wave(37.3, 39.0, 47.2, [0.085, 0.045, 0.030])];

/// One turn of flutter: down slowly, up fast, so a sawtooth that is mostly negative in II, III, aVF; a small upright wave in
/// V1. The upright part reaches over into the next turn, so that no level stretch is left between two.
pub(super) const FLUTTER: [Wave; 2] =
    [wave(0.0, 147.0, 54.0, [-0.07, -0.22, -0.01]), wave(144.0, 36.0, 110.0, [0.01, 0.03, -0.14])];
