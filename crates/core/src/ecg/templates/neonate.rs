//! Wave shapes of a newborn.
//!
//! Blocks and ventricular beats are an adult's, shorter and lower: bundle branch block is over 90 ms under 4 years
//! (AHA/ACCF/HRS part III, 2009).

use super::{Complex, JT_MS, Shape, Templates, Wave, adult, after_p, repolarisation, templates, wave};
use crate::anatomy::Pathway;

/// QRS duration over an adult's.
const QRS_TIME: f32 = 0.72;
/// JT interval over an adult's.
const JT_TIME: f32 = 196.0 / JT_MS;
/// Amplitude over an adult's.
const SIZE: f32 = 0.8;

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

/// The right ventricle outweighs the left: tall R in V1 and V2, deep S in V5 and V6, frontal axis about +110 degrees; T inverted
/// in V1.
const NORMAL: Shape<4> = Shape {
    qrs: [
        wave(0.0, 12.6, 16.0, [0.583, 0.363, -0.426]),
        wave(5.2, 21.5, 16.1, [-0.008, 0.311, -1.187]),
        wave(16.9, 21.7, 14.5, [-0.604, 0.401, 0.186]),
        wave(33.8, 14.1, 13.0, [-0.336, -0.008, 0.698]),
    ],
    qrs_ms: 54.0,
    t: repolarisation([0.2, 0.17, 0.1], [0.028, 0.024, 0.014]),
    jt_ms: JT_MS,
}
.scaled(1.0, JT_TIME, 1.0);

/// P duration over an adult's.
const P_TIME: f32 = 0.64;

/// From the sinus node; 64 ms, tall for the size of the heart.
const SINUS: [Wave; 3] = [
    wave(0.0, 28.4, 33.2, [0.050, 0.093, -0.085]),
    wave(19.8, 27.8, 29.8, [0.085, 0.050, -0.005]),
    after_p(71.0, [0.135, 0.143, -0.09]),
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
