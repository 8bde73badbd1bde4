//! Wave shapes of a newborn.
//!
//! Blocks and ventricular beats are an adult's, shorter and lower: bundle branch block is over 90 ms under 4 years
//! (AHA/ACCF/HRS part III, 2009).

use super::{Complex, Shape, Wave, adult, complexes, wave};
use crate::anatomy::{AtrialOrigin, Pathway};

/// QRS duration over an adult's.
const QRS_TIME: f32 = 0.72;
/// JT interval over an adult's.
const JT_TIME: f32 = 196.0 / 308.0;
/// Amplitude over an adult's.
const SIZE: f32 = 0.8;

complexes! {
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
}

/// The right ventricle outweighs the left: tall R in V1 and V2, deep S in V5 and V6, frontal axis about +110 degrees; T inverted
/// in V1.
const NORMAL: Shape<4> = Shape {
    qrs: [
        wave(0.0, 10.4, 13.3, [0.58, 0.37, -0.46]),
        wave(6.9, 17.4, 13.4, [0.00, 0.32, -1.16]),
        wave(18.7, 16.9, 13.5, [-0.59, 0.41, 0.09]),
        wave(33.4, 11.9, 12.0, [-0.35, 0.00, 0.72]),
    ],
    qrs_ms: 54.0,
    peak_ms: 24.9,
    t: [wave(35.0, 107.0, 62.5, [0.2, 0.17, 0.1])],
    jt_ms: 196.0,
};

/// P wave of an atrial activation from `origin`.
pub fn p(origin: AtrialOrigin) -> &'static [Wave] {
    match origin {
        AtrialOrigin::Sinus => &SINUS,
        AtrialOrigin::EctopicHigh => &HIGH,
        AtrialOrigin::EctopicLow => &LOW,
        AtrialOrigin::EctopicLeft => &LEFT,
        AtrialOrigin::Junction => &JUNCTION,
        AtrialOrigin::Flutter => &adult::FLUTTER,
        AtrialOrigin::Paced => &PACED_ATRIUM,
    }
}

/// P duration over an adult's.
const P_TIME: f32 = 0.64;

/// From the sinus node; 64 ms, tall for the size of the heart.
const SINUS: [Wave; 2] =
    [wave(0.0, 25.6, 30.0, [0.050, 0.093, -0.085]), wave(19.7, 25.1, 26.9, [0.085, 0.050, -0.005])];
const HIGH: [Wave; 2] = shorter(&adult::HIGH);
const LOW: [Wave; 2] = shorter(&adult::LOW);
const LEFT: [Wave; 2] = shorter(&adult::LEFT);
const JUNCTION: [Wave; 2] = shorter(&adult::JUNCTION);
const PACED_ATRIUM: [Wave; 2] = shorter(&adult::PACED_ATRIUM);

/// An adult's P wave in a smaller heart.
const fn shorter(waves: &[Wave; 2]) -> [Wave; 2] {
    [waves[0].scaled(P_TIME, 1.0), waves[1].scaled(P_TIME, 1.0)]
}
