//! Wave shapes of a child of school age.
//!
//! Blocks and ventricular beats are an adult's, shorter: bundle branch block is over 100 ms at 4 to 16 years (AHA/ACCF/HRS
//! part III, 2009).

use super::{Complex, JT_MS, Shape, Templates, Wave, adult, after_p, repolarisation, templates, wave};
use crate::anatomy::Pathway;

/// QRS duration over an adult's.
const QRS_TIME: f32 = 0.85;
/// JT interval over an adult's.
const JT_TIME: f32 = 264.0 / JT_MS;
/// Amplitude over an adult's.
const SIZE: f32 = 1.05;

templates! {
    p: [&SINUS, &HIGH, &LOW, &LEFT, &JUNCTION, &adult::FLUTTER, &PACED_ATRIUM];
    Normal = NORMAL_COMPLEX: NORMAL;
    RightBundleBranchBlock = RIGHT_BUNDLE_COMPLEX: adult::RIGHT_BUNDLE.scaled(QRS_TIME, JT_TIME, SIZE);
    LeftBundleBranchBlock = LEFT_BUNDLE_COMPLEX: adult::LEFT_BUNDLE.scaled(QRS_TIME, JT_TIME, SIZE);
    LeftAnteriorFascicular = LEFT_ANTERIOR_COMPLEX: adult::LEFT_ANTERIOR.scaled(QRS_TIME, JT_TIME, SIZE);
    LeftPosteriorFascicular = LEFT_POSTERIOR_COMPLEX: adult::LEFT_POSTERIOR.scaled(QRS_TIME, JT_TIME, SIZE);
    PreExcited = PRE_EXCITED_COMPLEX: adult::PRE_EXCITED.scaled(QRS_TIME, JT_TIME, SIZE);
    RightVentricle = RIGHT_VENTRICLE_COMPLEX: adult::RIGHT_VENTRICLE.scaled(QRS_TIME, JT_TIME, SIZE);
    LeftVentricle = LEFT_VENTRICLE_COMPLEX: adult::LEFT_VENTRICLE.scaled(QRS_TIME, JT_TIME, SIZE);
    Paced = PACED_COMPLEX: adult::PACED.scaled(QRS_TIME, JT_TIME, SIZE);
    Escape = ESCAPE_COMPLEX: adult::ESCAPE.scaled(QRS_TIME, JT_TIME, SIZE);
    Agonal = AGONAL_COMPLEX: adult::AGONAL.scaled(QRS_TIME, JT_TIME, SIZE);
    Bifascicular = BIFASCICULAR_COMPLEX: adult::BIFASCICULAR.scaled(QRS_TIME, JT_TIME, SIZE);
    Biventricular = BIVENTRICULAR_COMPLEX: adult::BIVENTRICULAR.scaled(QRS_TIME, JT_TIME, SIZE);
}

/// Both bundle branches: taller R than an adult's in every chest lead, an RS in V1; T still inverted in V1 and V2.
const NORMAL: Shape<4> = Shape {
    qrs: [
        wave(0.0, 17.3, 18.3, [-0.181, 0.212, -0.612]),
        wave(4.4, 30.9, 26.0, [1.561, 0.972, 0.122]),
        wave(27.1, 31.3, 18.3, [0.025, 0.047, 1.195]),
        wave(54.4, 15.5, 20.0, [-0.290, -0.073, 0.195]),
    ],
    qrs_ms: 76.0,
    t: repolarisation([0.36, 0.3, 0.14], [0.05, 0.042, 0.02]),
    jt_ms: JT_MS,
}
.scaled(1.0, JT_TIME, 1.0);

/// P duration over an adult's.
const P_TIME: f32 = 0.84;

/// From the sinus node; 84 ms.
const SINUS: [Wave; 3] = [
    wave(0.0, 34.2, 41.1, [0.055, 0.096, -0.080]),
    wave(28.4, 33.4, 38.3, [0.095, 0.040, 0.010]),
    after_p(92.0, [0.15, 0.136, -0.07]),
];
const HIGH: [Wave; 3] = shorter(&adult::HIGH);
const LOW: [Wave; 3] = shorter(&adult::LOW);
const LEFT: [Wave; 3] = shorter(&adult::LEFT);
const JUNCTION: [Wave; 2] = shorter(&adult::JUNCTION);
const PACED_ATRIUM: [Wave; 3] = shorter(&adult::PACED_ATRIUM);

/// An adult's P wave in a smaller heart.
const fn shorter<const N: usize>(waves: &[Wave; N]) -> [Wave; N] {
    let mut waves = *waves;
    let mut i = 0;
    while i < N {
        waves[i] = waves[i].scaled(P_TIME, 1.0);
        i += 1;
    }
    waves
}
