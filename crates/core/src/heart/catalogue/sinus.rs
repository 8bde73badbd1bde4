//! Rhythms of the sinus node.

use super::record::*;

/// Regular sinus rhythm. Any rate that a monitor is stepped through, so wider than the 60 to 100 bpm of a resting adult.
pub static SINUS: Rhythm = Rhythm { ..SINUS_RECORD };

/// Sinus bradycardia: below 60 bpm (textbooks), 50 the working limit.
pub static SINUS_BRADYCARDIA: Rhythm = Rhythm {
    id: "sinus-bradycardia",
    name: "Sinus bradycardia",
    usual: UsualRate::Resting(0.6),
    min_bpm: 20.0,
    max_bpm: 100.0,
    alarm: Priority::Medium,
    ..SINUS_RECORD
};

/// Sinus tachycardia: over 100 bpm in an adult, to about 220 less the age.
pub static SINUS_TACHYCARDIA: Rhythm = Rhythm {
    id: "sinus-tachycardia",
    name: "Sinus tachycardia",
    usual: UsualRate::Adult(130.0, 0.55),
    min_bpm: 100.0,
    max_bpm: 260.0,
    alarm: Priority::Medium,
    ..SINUS_RECORD
};

/// Sinus arrhythmia: longest less shortest PP over 120 ms, in step with breathing (textbooks, from memory).
pub static SINUS_ARRHYTHMIA: Rhythm = Rhythm {
    id: "sinus-arrhythmia",
    name: "Sinus arrhythmia",
    min_bpm: 40.0,
    max_bpm: 180.0,
    values: &[(Field::BreathingRrMs, 250.0)],
    ..SINUS_RECORD
};

/// Sinus arrest: a pause of 2 to 3 s or more without P waves, ended by the sinus node or an escape.
pub static SINUS_ARREST: Rhythm = Rhythm {
    id: "sinus-arrest",
    name: "Sinus pause and arrest",
    min_bpm: 40.0,
    max_bpm: 120.0,
    alarm: Priority::Medium,
    values: &[(Field::PauseS, 3.5)],
    sinus_fault: Some(SinusFault::Arrest(8)),
    escape: Some(Escape { focus: Focus::Junction(JunctionalP::Absent), bpm: 16.0, code: BeatCode::JunctionalEscape }),
    ..SINUS_RECORD
};

/// Sinoatrial exit block: now and then a whole P-QRS-T is missing, so that PP doubles.
pub static SINUS_EXIT_BLOCK: Rhythm = Rhythm {
    id: "sinus-exit-block",
    name: "Sinoatrial exit block",
    min_bpm: 40.0,
    max_bpm: 120.0,
    alarm: Priority::Low,
    sinus_fault: Some(SinusFault::ExitBlock(5)),
    ..SINUS_RECORD
};
