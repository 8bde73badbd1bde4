//! Atrial rhythms.

use super::record::*;

/// Atrial premature beats: early P of another shape, narrow QRS, the pause less than compensatory (textbooks, from memory).
pub static ATRIAL_PREMATURE: Rhythm = Rhythm {
    id: "atrial-premature",
    name: "Atrial premature beats",
    min_bpm: 40.0,
    max_bpm: 180.0,
    ectopy: premature(EctopicSite::Atrium, Pattern::PerMinute(8.0)),
    ..SINUS_RECORD
};

/// Atrial premature beats so early that the right bundle branch does not conduct them: wide, like right bundle branch block.
pub static ATRIAL_PREMATURE_ABERRANT: Rhythm = Rhythm {
    id: "atrial-premature-aberrant",
    name: "Atrial premature beats, aberrant",
    min_bpm: 40.0,
    max_bpm: 120.0,
    ectopy: early(0.6, EctopicConduction::Aberrant),
    ..SINUS_RECORD
};

/// Atrial premature beats that the AV node does not conduct: a P wave on T, and a pause that is not one of the sinus node.
pub static ATRIAL_PREMATURE_BLOCKED: Rhythm = Rhythm {
    id: "atrial-premature-blocked",
    name: "Atrial premature beats, not conducted",
    min_bpm: 40.0,
    max_bpm: 120.0,
    ectopy: early(0.5, EctopicConduction::Blocked),
    alarm: Priority::Low,
    ..SINUS_RECORD
};

/// Premature beats of the atria after this share of a period, their P wave on the T wave before. A node that is to conduct them has
/// recovered after 0.6 of a period.
const fn early(share: f32, conduction: EctopicConduction) -> Option<Ectopy> {
    Some(Ectopy {
        site: EctopicSite::Atrium,
        pattern: Pattern::PerMinute(8.0),
        coupling: Coupling::Period(share),
        foci: 1,
        run: 1,
        run_period: 0.5,
        interpolated: false,
        conduction,
    })
}

/// Multifocal atrial tachycardia: three or more P shapes, varying PP and PR, over 100 bpm.
pub static MULTIFOCAL_ATRIAL_TACHYCARDIA: Rhythm = Rhythm {
    id: "multifocal-atrial-tachycardia",
    name: "Multifocal atrial tachycardia",
    usual: UsualRate::Resting(1.75),
    min_bpm: 100.0,
    max_bpm: 220.0,
    alarm: Priority::Medium,
    atria: Atria::Multifocal(0.15),
    code: BeatCode::SupraventricularPremature,
    ejection: 0.9,
    ..SINUS_RECORD
};

/// Atrial fibrillation: f waves of 4 to 9 Hz (Goldberger, Clinical Electrocardiography), no P, RR without memory.
pub static ATRIAL_FIBRILLATION: Rhythm = Rhythm {
    id: "atrial-fibrillation",
    name: "Atrial fibrillation",
    usual: UsualRate::Resting(1.3),
    min_bpm: 30.0,
    max_bpm: 220.0,
    alarm: Priority::Low,
    atria: Atria::Fibrillation { hz: 6.0, mv: 0.095 },
    av: AvNode::Irregular,
    ..SINUS_RECORD
};

/// Atrial fibrillation with fine f waves.
pub static ATRIAL_FIBRILLATION_FINE: Rhythm = Rhythm {
    id: "atrial-fibrillation-fine",
    name: "Atrial fibrillation, fine",
    usual: UsualRate::Resting(1.3),
    min_bpm: 30.0,
    max_bpm: 220.0,
    alarm: Priority::Low,
    atria: Atria::Fibrillation { hz: 7.5, mv: 0.05 },
    av: AvNode::Irregular,
    ..SINUS_RECORD
};

/// Atrial fibrillation over an accessory pathway: fast, irregular, wide with delta waves (textbooks, from memory).
pub static ATRIAL_FIBRILLATION_PRE_EXCITED: Rhythm = Rhythm {
    id: "atrial-fibrillation-pre-excited",
    name: "Atrial fibrillation, pre-excited",
    usual: UsualRate::Adult(190.0, 0.2),
    min_bpm: 120.0,
    max_bpm: 220.0,
    alarm: Priority::High,
    values: &[(Field::FibrillationPercent, 20.0)],
    atria: Atria::Fibrillation { hz: 6.5, mv: 0.07 },
    av: AvNode::Irregular,
    pathway: Pathway::PreExcited,
    ejection: 0.6,
    ..SINUS_RECORD
};

/// Atrial fibrillation with complete block: f waves, and a slow, regular, narrow escape rhythm of the junction.
pub static ATRIAL_FIBRILLATION_BLOCK: Rhythm = Rhythm {
    id: "atrial-fibrillation-complete-block",
    name: "Atrial fibrillation, complete block",
    usual: UsualRate::Adult(42.0, 0.55),
    min_bpm: 25.0,
    max_bpm: 60.0,
    alarm: Priority::Medium,
    atria: Atria::Fibrillation { hz: 6.0, mv: 0.095 },
    av: AvNode::Blocked,
    ventricles: junction(JunctionalP::Absent, BeatCode::JunctionalEscape),
    ..SINUS_RECORD
};

/// Atrial flutter: atria at 250 to 350 a minute, 300 typical (Goldberger), n:1 to the ventricles; 4:1 unless the AV ratio is set.
pub static ATRIAL_FLUTTER: Rhythm = Rhythm {
    id: "atrial-flutter",
    name: "Atrial flutter",
    usual: UsualRate::Atrial(300.0, 0.5),
    min_bpm: 240.0,
    max_bpm: 350.0,
    alarm: Priority::None,
    values: &[(Field::AvRatio, 4.0)],
    atria: Atria::Driving(AtrialOrigin::Flutter),
    av: AvNode::OneOf,
    ..SINUS_RECORD
};

/// Atrial flutter with block that varies between 2:1 and the AV ratio.
pub static ATRIAL_FLUTTER_VARYING: Rhythm = Rhythm {
    id: "atrial-flutter-varying",
    name: "Atrial flutter, varying block",
    usual: UsualRate::Atrial(300.0, 0.5),
    min_bpm: 240.0,
    max_bpm: 350.0,
    alarm: Priority::Low,
    values: &[(Field::AvRatio, 4.0)],
    atria: Atria::Driving(AtrialOrigin::Flutter),
    av: AvNode::Varying,
    ..SINUS_RECORD
};

/// Supraventricular tachycardia by re-entry: 140 to 250 bpm, regular, narrow, P hidden in the QRS end (Goldberger); begins and ends abruptly.
pub static SUPRAVENTRICULAR_TACHYCARDIA: Rhythm = SUPRAVENTRICULAR_TACHYCARDIA_RECORD;

const SUPRAVENTRICULAR_TACHYCARDIA_RECORD: Rhythm = Rhythm {
    id: "supraventricular-tachycardia",
    name: "Supraventricular tachycardia",
    usual: UsualRate::Adult(182.0, 0.55),
    min_bpm: 140.0,
    max_bpm: 300.0,
    alarm: Priority::High,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: junction(JunctionalP::After, BeatCode::SupraventricularPremature),
    ejection: 0.75,
    ..SINUS_RECORD
};

/// The same with the right bundle branch blocked by the rate: wide, and no tachycardia of the ventricles.
pub static SUPRAVENTRICULAR_TACHYCARDIA_ABERRANT: Rhythm = Rhythm {
    id: "supraventricular-tachycardia-aberrant",
    name: "Supraventricular tachycardia, aberrant",
    max_bpm: 250.0,
    pathway: Pathway::RightBundleBranchBlock,
    ventricles: junction(JunctionalP::After, BeatCode::AberratedAtrialPremature),
    ejection: 0.7,
    ..SUPRAVENTRICULAR_TACHYCARDIA_RECORD
};

/// Atrial tachycardia from one ectopic focus: P of another shape before each QRS.
pub static ATRIAL_TACHYCARDIA: Rhythm = Rhythm {
    id: "atrial-tachycardia",
    name: "Atrial tachycardia",
    usual: UsualRate::Adult(154.0, 0.5),
    min_bpm: 100.0,
    max_bpm: 250.0,
    alarm: Priority::High,
    atria: Atria::Driving(AtrialOrigin::EctopicLow),
    code: BeatCode::SupraventricularPremature,
    values: &[(Field::PrMs, 130.0)],
    ejection: 0.85,
    ..SINUS_RECORD
};
