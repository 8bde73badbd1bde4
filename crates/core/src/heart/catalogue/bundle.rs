//! Intraventricular conduction and repolarisation.

use super::record::*;

/// Right bundle branch block (criteria: AHA/ACCF/HRS recommendations part III, 2009).
pub static RIGHT_BUNDLE_BRANCH_BLOCK: Rhythm = Rhythm {
    id: "right-bundle-branch-block",
    name: "Right bundle branch block",
    min_bpm: 30.0,
    max_bpm: 180.0,
    pathway: Pathway::RightBundleBranchBlock,
    code: BeatCode::RightBundleBranchBlock,
    ..SINUS_RECORD
};

/// Left bundle branch block (criteria: AHA/ACCF/HRS recommendations part III, 2009).
pub static LEFT_BUNDLE_BRANCH_BLOCK: Rhythm = Rhythm {
    id: "left-bundle-branch-block",
    name: "Left bundle branch block",
    min_bpm: 30.0,
    max_bpm: 180.0,
    pathway: Pathway::LeftBundleBranchBlock,
    code: BeatCode::LeftBundleBranchBlock,
    ..SINUS_RECORD
};

/// Left anterior fascicular block: axis -45 to -90 degrees.
pub static LEFT_ANTERIOR_FASCICULAR_BLOCK: Rhythm = Rhythm {
    id: "left-anterior-fascicular-block",
    name: "Left anterior fascicular block",
    min_bpm: 30.0,
    max_bpm: 180.0,
    pathway: Pathway::LeftAnteriorFascicular,
    ..SINUS_RECORD
};

/// Left posterior fascicular block: axis +90 to +180 degrees.
pub static LEFT_POSTERIOR_FASCICULAR_BLOCK: Rhythm = Rhythm {
    id: "left-posterior-fascicular-block",
    name: "Left posterior fascicular block",
    min_bpm: 30.0,
    max_bpm: 180.0,
    pathway: Pathway::LeftPosteriorFascicular,
    ..SINUS_RECORD
};

/// Bifascicular block: right bundle branch block with left anterior fascicular block (AHA/ACCF/HRS recommendations part III, 2009).
pub static BIFASCICULAR_BLOCK: Rhythm = Rhythm {
    id: "bifascicular-block",
    name: "Bifascicular block",
    min_bpm: 30.0,
    max_bpm: 180.0,
    pathway: Pathway::Bifascicular,
    code: BeatCode::RightBundleBranchBlock,
    ..SINUS_RECORD
};

/// Pre-excitation: PR below 120 ms, delta wave, wide QRS.
pub static PRE_EXCITATION: Rhythm = Rhythm {
    id: "pre-excitation",
    name: "Pre-excitation",
    min_bpm: 30.0,
    max_bpm: 180.0,
    values: &[(Field::PrMs, 100.0)],
    pathway: Pathway::PreExcited,
    ..SINUS_RECORD
};

/// Long QT: QTc 520 ms (over 500 ms is high risk).
pub static LONG_QT: Rhythm = Rhythm {
    id: "long-qt",
    name: "Long QT",
    min_bpm: 30.0,
    max_bpm: 120.0,
    values: &[(Field::QtcMs, 520.0)],
    ..SINUS_RECORD
};

/// Short QT: QTc 320 ms.
pub static SHORT_QT: Rhythm = Rhythm {
    id: "short-qt",
    name: "Short QT",
    min_bpm: 30.0,
    max_bpm: 180.0,
    values: &[(Field::QtcMs, 320.0)],
    ..SINUS_RECORD
};
