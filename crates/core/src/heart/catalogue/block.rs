//! Atrioventricular block.

use super::record::*;

/// First-degree block: PR over 200 ms, every P conducts.
pub static AV_BLOCK_FIRST: Rhythm = Rhythm {
    id: "av-block-1",
    name: "First-degree AV block",
    min_bpm: 30.0,
    max_bpm: 120.0,
    values: &[(Field::PrMs, 280.0)],
    ..SINUS_RECORD
};

/// Second-degree block type I: PR grows, RR shortens, then a P is lost. The AV ratio counts the P waves of a round: 4 is 4:3.
pub static AV_BLOCK_TYPE_ONE: Rhythm = Rhythm {
    id: "av-block-2-type-1",
    name: "Second-degree AV block, type I",
    usual: UsualRate::Atrial(80.0, 0.8),
    min_bpm: 50.0,
    max_bpm: 140.0,
    alarm: Priority::Low,
    values: &[(Field::AvRatio, 4.0), (Field::PrMs, 190.0)],
    av: AvNode::Decremental,
    ..SINUS_RECORD
};

/// Second-degree block type II: constant PR, now and then a P is lost, the QRS wide.
pub static AV_BLOCK_TYPE_TWO: Rhythm = Rhythm {
    id: "av-block-2-type-2",
    name: "Second-degree AV block, type II",
    usual: UsualRate::Atrial(80.0, 0.8),
    min_bpm: 50.0,
    max_bpm: 140.0,
    alarm: Priority::Low,
    values: &[(Field::AvRatio, 4.0)],
    av: AvNode::Dropping,
    pathway: Pathway::RightBundleBranchBlock,
    code: BeatCode::RightBundleBranchBlock,
    ..SINUS_RECORD
};

/// Second-degree block 2:1: every other P conducts.
pub static AV_BLOCK_TWO_TO_ONE: Rhythm = Rhythm {
    id: "av-block-2-1",
    name: "Second-degree AV block, 2:1",
    usual: UsualRate::Atrial(84.0, 0.8),
    min_bpm: 50.0,
    max_bpm: 160.0,
    alarm: Priority::Medium,
    values: &[(Field::AvRatio, 2.0)],
    av: AvNode::OneOf,
    ..SINUS_RECORD
};

/// High-grade block: two or more P in a row are lost; 4:1 unless the AV ratio is set.
pub static AV_BLOCK_HIGH_GRADE: Rhythm = Rhythm {
    id: "av-block-high-grade",
    name: "High-grade AV block",
    usual: UsualRate::Atrial(100.0, 0.8),
    min_bpm: 60.0,
    max_bpm: 160.0,
    alarm: Priority::High,
    values: &[(Field::AvRatio, 4.0)],
    av: AvNode::OneOf,
    ..SINUS_RECORD
};

/// Third-degree block with junctional escape of 40 to 60 bpm: P and QRS each regular and independent.
pub static AV_BLOCK_THIRD_JUNCTIONAL: Rhythm = Rhythm {
    id: "av-block-3-junctional",
    name: "Third-degree AV block, junctional escape",
    usual: UsualRate::Adult(45.0, 0.5),
    min_bpm: 30.0,
    max_bpm: 70.0,
    alarm: Priority::Medium,
    values: &[(Field::AtrialBpm, 80.0)],
    atria: Atria::Independent,
    av: AvNode::Blocked,
    ventricles: junction(JunctionalP::Absent, BeatCode::JunctionalEscape),
    ..SINUS_RECORD
};

/// Third-degree block with ventricular escape of 20 to 40 bpm.
pub static AV_BLOCK_THIRD_VENTRICULAR: Rhythm = Rhythm {
    id: "av-block-3-ventricular",
    name: "Third-degree AV block, ventricular escape",
    usual: UsualRate::Adult(34.0, 0.5),
    min_bpm: 15.0,
    max_bpm: 50.0,
    alarm: Priority::High,
    // Not a simple multiple of the escape's 34: P must fall anywhere between two QRS.
    values: &[(Field::AtrialBpm, 82.0)],
    atria: Atria::Independent,
    av: AvNode::Blocked,
    ventricles: focus(Pathway::Escape, BeatCode::VentricularEscape),
    ejection: 0.9,
    ..SINUS_RECORD
};
