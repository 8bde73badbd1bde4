//! The rhythms, each a record over the one conduction model, grouped as textbooks group them.

mod atrial;
mod block;
mod bundle;
mod junctional;
mod paced;
mod sinus;
mod ventricular;

pub use atrial::*;
pub use block::*;
pub use bundle::*;
pub use junctional::*;
pub use paced::*;
pub use sinus::*;
pub use ventricular::*;

use super::rhythm::{
    Atria, AvNode, Coupling, EctopicSite, Ectopy, Escape, Focus, JunctionalP, Pacing, PacingFault, PacingMode, Pattern,
    Priority, Rhythm, SinusFault, UsualRate, Ventricles,
};
use crate::anatomy::{AtrialOrigin, BeatCode, Pathway};
use crate::field::Field;

/// Regular sinus rhythm; from it the other records differ only where they say so.
const SINUS_RECORD: Rhythm = Rhythm {
    id: "sinus",
    name: "Sinus rhythm",
    usual: UsualRate::Resting(1.0),
    min_bpm: 20.0,
    max_bpm: 350.0,
    alarm: Priority::None,
    values: &[],
    atria: Atria::Driving(AtrialOrigin::Sinus),
    sinus_fault: None,
    av: AvNode::Conducting,
    pathway: Pathway::Normal,
    code: BeatCode::Normal,
    ventricles: Ventricles::Following,
    escape: None,
    ectopy: None,
    pacing: None,
    ejection: 1.0,
};

/// A focus in the ventricles, annotated as given.
const fn focus(pathway: Pathway, code: BeatCode) -> Ventricles {
    Ventricles::Focus { focus: Focus::Ventricle(pathway), code, spread: 0.0 }
}

/// Single premature beats from a site with a full beat between them.
const fn premature(site: EctopicSite, pattern: Pattern) -> Option<Ectopy> {
    Some(Ectopy { site, pattern, coupling: Coupling::Period(0.6), run: 1, run_period: 0.5, interpolated: false })
}

/// Every rhythm.
pub static RHYTHMS: &[&Rhythm] = &[
    &SINUS,
    &SINUS_BRADYCARDIA,
    &SINUS_TACHYCARDIA,
    &SINUS_ARRHYTHMIA,
    &SINUS_ARREST,
    &SINUS_EXIT_BLOCK,
    &ATRIAL_PREMATURE,
    &MULTIFOCAL_ATRIAL_TACHYCARDIA,
    &ATRIAL_FIBRILLATION,
    &ATRIAL_FIBRILLATION_FINE,
    &ATRIAL_FLUTTER,
    &ATRIAL_FLUTTER_VARYING,
    &SUPRAVENTRICULAR_TACHYCARDIA,
    &ATRIAL_TACHYCARDIA,
    &JUNCTIONAL_PREMATURE,
    &JUNCTIONAL_ESCAPE,
    &JUNCTIONAL_ACCELERATED,
    &JUNCTIONAL_TACHYCARDIA,
    &AV_BLOCK_FIRST,
    &AV_BLOCK_TYPE_ONE,
    &AV_BLOCK_TYPE_TWO,
    &AV_BLOCK_TWO_TO_ONE,
    &AV_BLOCK_HIGH_GRADE,
    &AV_BLOCK_THIRD_JUNCTIONAL,
    &AV_BLOCK_THIRD_VENTRICULAR,
    &VENTRICULAR_PREMATURE,
    &VENTRICULAR_PREMATURE_LEFT,
    &VENTRICULAR_MULTIFOCAL,
    &VENTRICULAR_INTERPOLATED,
    &VENTRICULAR_R_ON_T,
    &VENTRICULAR_COUPLET,
    &VENTRICULAR_RUN,
    &VENTRICULAR_BIGEMINY,
    &VENTRICULAR_BIGEMINY_ALTERNATING,
    &VENTRICULAR_TRIGEMINY,
    &VENTRICULAR_QUADRIGEMINY,
    &IDIOVENTRICULAR,
    &IDIOVENTRICULAR_ACCELERATED,
    &VENTRICULAR_TACHYCARDIA,
    &VENTRICULAR_TACHYCARDIA_POLYMORPHIC,
    &VENTRICULAR_TACHYCARDIA_BIDIRECTIONAL,
    &TORSADES,
    &VENTRICULAR_FLUTTER,
    &VENTRICULAR_FIBRILLATION,
    &VENTRICULAR_FIBRILLATION_FINE,
    &AGONAL,
    &VENTRICULAR_STANDSTILL,
    &ASYSTOLE,
    &RIGHT_BUNDLE_BRANCH_BLOCK,
    &LEFT_BUNDLE_BRANCH_BLOCK,
    &LEFT_ANTERIOR_FASCICULAR_BLOCK,
    &LEFT_POSTERIOR_FASCICULAR_BLOCK,
    &PRE_EXCITATION,
    &LONG_QT,
    &SHORT_QT,
    &PACED_AAI,
    &PACED_VVI,
    &PACED_DDD,
    &PACED_TRACKING,
    &PACED_NO_CAPTURE,
    &PACED_NO_RESPONSE,
    &PACED_NO_SENSING,
    &PACED_OVERSENSING,
];

/// The rhythm with this word.
pub fn find(id: &str) -> Option<&'static Rhythm> {
    RHYTHMS.iter().copied().find(|rhythm| rhythm.id == id)
}
