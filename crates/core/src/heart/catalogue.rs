//! The rhythms, each a record over the one conduction model, grouped as textbooks group them.
//!
//! [`RHYTHMS`] has all of them; [`find`] and [`named`] find one by its word. A few have names of their own here.

mod atrial;
mod block;
mod bundle;
mod junctional;
mod paced;
mod record;
mod sinus;
mod ventricular;

pub use atrial::ATRIAL_FIBRILLATION;
pub use paced::{PACED_DDD, PACED_VVI};
pub use sinus::SINUS;
pub use ventricular::{ASYSTOLE, VENTRICULAR_FIBRILLATION};

use atrial::*;
use block::*;
use bundle::*;
use junctional::*;
use paced::*;
use sinus::*;
use ventricular::*;

use super::rhythm::Rhythm;

/// The heart of a step that plays a recording: its beats are those of the recording. It is no rhythm of the catalogue.
pub static RECORDED: Rhythm = Rhythm { id: "recording", name: "Recording", ..Rhythm::SINUS };

/// Every rhythm.
pub static RHYTHMS: &[&Rhythm] = &[
    &SINUS,
    &SINUS_BRADYCARDIA,
    &SINUS_TACHYCARDIA,
    &SINUS_ARRHYTHMIA,
    &SINUS_ARREST,
    &SINUS_EXIT_BLOCK,
    &ATRIAL_PREMATURE,
    &ATRIAL_PREMATURE_ABERRANT,
    &ATRIAL_PREMATURE_BLOCKED,
    &MULTIFOCAL_ATRIAL_TACHYCARDIA,
    &ATRIAL_FIBRILLATION,
    &ATRIAL_FIBRILLATION_FINE,
    &ATRIAL_FIBRILLATION_PRE_EXCITED,
    &ATRIAL_FIBRILLATION_BLOCK,
    &ATRIAL_FLUTTER,
    &ATRIAL_FLUTTER_VARYING,
    &SUPRAVENTRICULAR_TACHYCARDIA,
    &SUPRAVENTRICULAR_TACHYCARDIA_ABERRANT,
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
    &VENTRICULAR_TACHYCARDIA_RIGHT,
    &VENTRICULAR_TACHYCARDIA_POLYMORPHIC,
    &VENTRICULAR_TACHYCARDIA_BIDIRECTIONAL,
    &TORSADES,
    &VENTRICULAR_FLUTTER,
    &VENTRICULAR_FIBRILLATION,
    &VENTRICULAR_FIBRILLATION_FINE,
    &AGONAL,
    &PULSELESS_ELECTRICAL_ACTIVITY,
    &VENTRICULAR_STANDSTILL,
    &ASYSTOLE,
    &RIGHT_BUNDLE_BRANCH_BLOCK,
    &LEFT_BUNDLE_BRANCH_BLOCK,
    &LEFT_ANTERIOR_FASCICULAR_BLOCK,
    &LEFT_POSTERIOR_FASCICULAR_BLOCK,
    &BIFASCICULAR_BLOCK,
    &PRE_EXCITATION,
    &LONG_QT,
    &SHORT_QT,
    &PACED_AAI,
    &PACED_VVI,
    &PACED_VVI_COMPETING,
    &PACED_DDD,
    &PACED_DDD_COMPETING,
    &PACED_TRACKING,
    &PACED_BIVENTRICULAR,
    &PACED_LOOP,
    &PACED_NO_CAPTURE,
    &PACED_NO_RESPONSE,
    &PACED_NO_SENSING,
    &PACED_OVERSENSING,
];

/// The rhythm with this word.
pub const fn find(id: &str) -> Option<&'static Rhythm> {
    let mut i = 0;
    while i < RHYTHMS.len() {
        if equal(RHYTHMS[i].id, id) {
            return Some(RHYTHMS[i]);
        }
        i += 1;
    }
    None
}

/// As [`find`] for constants: a wrong word does not compile.
pub const fn named(id: &str) -> &'static Rhythm {
    match find(id) {
        Some(rhythm) => rhythm,
        None => panic!("no rhythm of this name"),
    }
}

/// Whether two texts are the same.
const fn equal(a: &str, b: &str) -> bool {
    let (a, b) = (a.as_bytes(), b.as_bytes());
    let mut i = 0;
    while i < a.len() && i < b.len() && a[i] == b[i] {
        i += 1;
    }
    i == a.len() && i == b.len()
}
