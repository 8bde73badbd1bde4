//! Wave shapes of an adult; those of smaller bodies that have no shape of their own are made from them.

use super::{Complex, JT_MS, Shape, Templates, Wave, after_p, opposite, repolarisation, templates, wave};
use crate::anatomy::Pathway;

templates! {
    p: [&SINUS, &HIGH, &LOW, &LEFT, &JUNCTION, &FLUTTER, &PACED_ATRIUM];
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
    Bifascicular = BIFASCICULAR_COMPLEX: BIFASCICULAR;
    Biventricular = BIVENTRICULAR_COMPLEX: BIVENTRICULAR;
}

/// Both bundle branches: septum to the front and right, then left and down, then back; rS in V1 and V2, transition in V3 to
/// V4, tallest R in V4 and V5, a septal q in I, V5, V6; frontal axis about 50 degrees.
pub(super) const NORMAL: Shape<6> = Shape {
    qrs: [
        wave(0.0, 15.9, 16.2, [-0.080, -0.050, -0.251]),
        wave(12.9, 26.5, 14.6, [0.290, -0.138, -0.748]),
        wave(20.3, 22.3, 20.1, [0.428, 0.290, 0.633]),
        wave(28.9, 18.8, 23.0, [0.504, 0.703, 0.345]),
        wave(45.2, 15.0, 27.8, [-0.185, -0.015, 0.751]),
        wave(60.4, 20.4, 27.6, [-0.072, -0.119, 0.338]),
    ],
    qrs_ms: 92.0,
    t: repolarisation([0.32, 0.17, -0.20], [0.042, 0.022, -0.056]),
    jt_ms: JT_MS,
};

/// As normal until the left ventricle is done, then slowly to the front and right: rsR' in V1 and V2, a broad S in I, V5, V6.
pub(super) const RIGHT_BUNDLE: Shape<4> = Shape {
    qrs: [
        wave(0.0, 17.1, 24.9, [-0.047, 0.006, -0.306]),
        wave(20.7, 27.9, 23.6, [1.062, 0.719, 0.081]),
        wave(46.5, 26.7, 30.0, [0.280, -0.125, 0.499]),
        wave(52.3, 43.1, 56.4, [-0.364, -0.023, -0.501]),
    ],
    qrs_ms: 130.0,
    t: repolarisation([0.30, 0.19, 0.12], [0.045, 0.03, 0.03]),
    jt_ms: JT_MS,
};

/// From right to left through the septum: no q, a broad notched R in I, aVL, V5, V6, QS in V1 and V2; ST and T opposite.
pub(super) const LEFT_BUNDLE: Shape<3> = Shape {
    qrs: [
        wave(0.0, 18.9, 60.0, [0.329, -0.190, 0.228]),
        wave(0.0, 54.4, 75.4, [0.633, 0.321, 0.942]),
        wave(46.3, 64.0, 51.7, [0.834, 0.158, 1.130]),
    ],
    qrs_ms: 144.0,
    t: opposite([-0.28, -0.06, -0.4]),
    jt_ms: JT_MS,
};

/// First down and right, then up and left: qR in I and aVL, rS in II, III, aVF; frontal axis about -55 degrees.
pub(super) const LEFT_ANTERIOR: Shape<4> = Shape {
    qrs: [
        wave(0.0, 17.3, 23.0, [-0.125, 0.241, -0.315]),
        wave(3.0, 34.6, 35.8, [1.049, -0.066, 0.148]),
        wave(29.6, 35.9, 33.3, [0.075, -0.756, 0.818]),
        wave(63.5, 27.2, 28.0, [-0.282, -0.253, 0.099]),
    ],
    qrs_ms: 104.0,
    t: repolarisation([0.28, 0.22, -0.20], [0.036, 0.028, -0.056]),
    jt_ms: JT_MS,
};

/// First up and left, then down and right: rS in I and aVL, qR in II, III, aVF; frontal axis beyond +90 degrees.
pub(super) const LEFT_POSTERIOR: Shape<5> = Shape {
    qrs: [
        wave(0.0, 12.9, 32.7, [0.021, -0.185, -0.156]),
        wave(6.2, 23.6, 56.5, [0.184, -0.031, -0.222]),
        wave(18.9, 30.2, 32.5, [0.471, 0.131, 0.180]),
        wave(33.0, 30.2, 41.9, [-0.496, 1.193, 0.775]),
        wave(64.5, 28.4, 30.4, [-0.148, 0.161, 0.112]),
    ],
    qrs_ms: 104.0,
    t: repolarisation([0.32, 0.10, -0.20], [0.042, 0.013, -0.056]),
    jt_ms: JT_MS,
};

/// A slow start through muscle, the delta wave, upright in I, II, V1 to V6, before the normal wave front takes over; T low or
/// against the delta wave.
pub(super) const PRE_EXCITED: Shape<5> = Shape {
    qrs: [
        wave(0.0, 10.1, 51.7, [0.056, 0.023, -0.037]),
        wave(0.0, 50.3, 62.2, [0.374, 0.137, -0.340]),
        wave(38.7, 29.4, 24.9, [0.602, 0.212, -0.632]),
        wave(43.0, 32.5, 47.9, [0.178, 0.180, 0.656]),
        wave(80.0, 20.1, 56.9, [-0.204, -0.100, 0.249]),
    ],
    qrs_ms: 130.0,
    t: opposite([-0.05, -0.1, -0.22]),
    jt_ms: JT_MS,
};

/// From the right ventricle's outflow tract: like left bundle branch block, downward axis; T opposite.
pub(super) const RIGHT_VENTRICLE: Shape<3> = Shape {
    qrs: [
        wave(0.0, 19.9, 58.6, [0.247, 0.594, -0.107]),
        wave(13.2, 48.1, 57.2, [0.768, 1.279, 1.003]),
        wave(70.0, 36.0, 67.0, [0.419, 0.792, 0.920]),
    ],
    qrs_ms: 150.0,
    t: opposite([-0.25, -0.38, -0.32]),
    jt_ms: JT_MS,
};

/// From the back and bottom of the left ventricle: like right bundle branch block, upward axis, R in V1 to V3, rS or QS in V5
/// and V6; T opposite.
pub(super) const LEFT_VENTRICLE: Shape<3> = Shape {
    qrs: [
        wave(0.0, 23.0, 62.0, [0.080, 0.040, -0.590]),
        wave(17.0, 56.0, 69.0, [-0.420, -1.010, -0.950]),
        wave(82.5, 43.0, 50.0, [-0.330, -0.110, -0.110]),
    ],
    qrs_ms: 150.0,
    t: opposite([0.14, 0.34, 0.32]),
    jt_ms: JT_MS,
};

/// From an electrode in the right ventricle's apex: like left bundle branch block, upward axis, QS in II, III, aVF; T opposite.
pub(super) const PACED: Shape<3> = Shape {
    qrs: [
        wave(0.0, 18.6, 139.5, [0.192, -0.314, 0.109]),
        wave(0.0, 78.0, 80.5, [0.485, -0.737, 0.747]),
        wave(84.0, 48.0, 47.0, [-0.026, -0.343, 0.661]),
    ],
    qrs_ms: 160.0,
    t: opposite([-0.2, 0.28, -0.28]),
    jt_ms: JT_MS,
};

/// A slow focus in the left ventricle's conduction fibres: broad, like right bundle branch block, downward axis; T opposite.
pub(super) const ESCAPE: Shape<4> = Shape {
    qrs: [
        wave(0.0, 21.0, 66.4, [0.200, 0.280, 0.080]),
        wave(8.0, 47.3, 84.5, [0.260, 0.400, 0.100]),
        wave(20.1, 68.4, 78.5, [0.080, 0.550, -0.660]),
        wave(92.5, 50.3, 46.0, [-0.325, 0.360, -0.314]),
    ],
    qrs_ms: 170.0,
    t: opposite([0.03, -0.24, 0.22]),
    jt_ms: JT_MS,
};

/// A dying heart: QRS without edges, low, running into T.
pub(super) const AGONAL: Shape<4> = Shape {
    qrs: [
        wave(0.0, 24.0, 100.8, [0.180, 0.200, 0.020]),
        wave(8.1, 50.4, 141.1, [0.240, 0.300, 0.000]),
        wave(60.5, 72.6, 141.1, [0.080, 0.090, 0.100]),
        wave(126.0, 68.0, 86.7, [-0.160, 0.020, 0.200]),
    ],
    qrs_ms: 249.0,
    t: opposite([-0.08, -0.10, -0.065]),
    jt_ms: JT_MS,
};

/// First down and right, then up and left as behind a blocked anterior fascicle, then slowly to the front and right as behind a
/// blocked right bundle: rS in II, III, aVF, rsR' in V1, a broad S in I and V6.
pub(super) const BIFASCICULAR: Shape<4> = Shape {
    qrs: [
        wave(0.0, 17.3, 23.0, [-0.125, 0.241, -0.315]),
        wave(3.0, 34.6, 35.8, [0.950, -0.020, 0.100]),
        wave(29.6, 35.9, 36.0, [0.120, -0.700, 0.620]),
        wave(58.0, 42.0, 54.0, [-0.400, -0.120, -0.620]),
    ],
    qrs_ms: 136.5,
    t: repolarisation([0.26, 0.16, 0.12], [0.04, 0.03, 0.03]),
    jt_ms: JT_MS,
};

/// From the side of the left ventricle and the right ventricle's apex together: Q in I, R in V1, negative in II, III, aVF, narrower
/// than from the apex alone; T opposite.
pub(super) const BIVENTRICULAR: Shape<4> = Shape {
    qrs: [
        wave(0.0, 17.9, 67.2, [-0.100, -0.160, -0.220]),
        wave(2.2, 44.8, 56.0, [-0.520, -0.300, -0.420]),
        wave(31.4, 42.6, 53.8, [0.160, -0.460, 0.420]),
        wave(73.9, 33.6, 40.3, [0.140, -0.180, 0.300]),
    ],
    qrs_ms: 130.5,
    t: opposite([0.12, 0.16, 0.12]),
    jt_ms: JT_MS,
};

/// From the sinus node: right atrium to the front, left atrium to the back, so that V1 is biphasic; 100 ms.
pub(super) const SINUS: [Wave; 3] = [
    wave(0.0, 40.4, 47.2, [0.045, 0.092, -0.065]),
    wave(33.0, 41.1, 44.3, [0.095, 0.060, 0.022]),
    after_p(109.0, [0.14, 0.152, -0.043]),
];

/// From high in the right atrium: steeper downwards, tall in II and III.
pub(super) const HIGH: [Wave; 3] = [
    wave(0.0, 39.8, 47.3, [0.030, 0.145, -0.060]),
    wave(32.7, 39.3, 43.7, [0.040, 0.075, 0.012]),
    after_p(107.0, [0.07, 0.22, -0.048]),
];

/// From low in the right atrium: upwards, so negative in II, III, aVF, upright in I.
pub(super) const LOW: [Wave; 3] = [
    wave(0.0, 37.3, 46.1, [0.070, -0.085, -0.060]),
    wave(31.8, 39.0, 43.0, [0.035, -0.090, 0.012]),
    after_p(105.0, [0.105, -0.175, -0.048]),
];

/// From the left atrium: to the right and the front, so negative in I and V6, upright in V1.
pub(super) const LEFT: [Wave; 3] = [
    wave(0.0, 48.0, 53.3, [-0.066, 0.060, -0.101]),
    wave(37.5, 43.8, 48.2, [-0.020, 0.020, -0.054]),
    after_p(120.0, [-0.086, 0.08, -0.155]),
];

/// Backwards from the AV junction: deep in II, III, aVF, upright in V1, next to nothing in I.
pub(super) const JUNCTION: [Wave; 2] =
    [wave(0.0, 37.6, 47.1, [-0.030, -0.136, -0.110]), wave(29.3, 37.9, 41.6, [0.020, -0.075, -0.020])];

/// From an electrode in the right atrium's appendage: low, long, late part to the back.
pub(super) const PACED_ATRIUM: [Wave; 3] = [
    wave(0.0, 40.1, 56.1, [0.080, 0.075, -0.040]),
    wave(37.0, 43.2, 52.3, [0.085, 0.045, 0.030]),
    after_p(122.0, [0.165, 0.12, -0.01]),
];

/// One turn of flutter: down slowly, up fast, so a sawtooth that is mostly negative in II, III, aVF; a small upright wave in
/// V1. The upright part reaches over into the next turn, so that no level stretch is left between two.
pub(super) const FLUTTER: [Wave; 2] =
    [wave(0.0, 147.0, 54.0, [-0.07, -0.22, -0.01]), wave(144.0, 36.0, 110.0, [0.01, 0.03, -0.14])];
