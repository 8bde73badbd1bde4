//! Wave shapes of a child of school age.
//!
//! Blocks and ventricular beats are an adult's, shorter: bundle branch block is over 100 ms at 4 to 16 years (AHA/ACCF/HRS
//! part III, 2009).

use super::{Complex, Shape, Wave, adult, complexes, wave};
use crate::anatomy::{AtrialOrigin, Pathway};

/// QRS duration over an adult's.
const QRS_TIME: f32 = 0.85;
/// JT interval over an adult's.
const JT_TIME: f32 = 264.0 / 308.0;
/// Amplitude over an adult's.
const SIZE: f32 = 1.05;

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

/// Both bundle branches: taller R than an adult's in every chest lead, an RS in V1; T still inverted in V1 and V2.
const NORMAL: Shape<4> = Shape {
    qrs: [
        wave(0.0, 15.6, 16.0, [-0.12, 0.24, -0.61]),
        wave(7.6, 25.5, 20.5, [1.54, 0.96, 0.17]),
        wave(30.6, 24.2, 17.3, [0.16, 0.11, 1.14]),
        wave(49.5, 15.8, 19.5, [-0.32, -0.09, 0.22]),
    ],
    qrs_ms: 76.0,
    peak_ms: 33.8,
    t: [wave(47.0, 144.2, 84.1, [0.36, 0.3, 0.14])],
    jt_ms: 264.0,
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
const P_TIME: f32 = 0.84;

/// From the sinus node; 84 ms.
const SINUS: [Wave; 2] = [wave(0.0, 30.9, 37.1, [0.055, 0.096, -0.080]), wave(28.3, 30.1, 34.6, [0.095, 0.040, 0.010])];
const HIGH: [Wave; 2] = shorter(&adult::HIGH);
const LOW: [Wave; 2] = shorter(&adult::LOW);
const LEFT: [Wave; 2] = shorter(&adult::LEFT);
const JUNCTION: [Wave; 2] = shorter(&adult::JUNCTION);
const PACED_ATRIUM: [Wave; 2] = shorter(&adult::PACED_ATRIUM);

/// An adult's P wave in a smaller heart.
const fn shorter(waves: &[Wave; 2]) -> [Wave; 2] {
    [waves[0].scaled(P_TIME, 1.0), waves[1].scaled(P_TIME, 1.0)]
}
