//! Rhythms of the AV junction: narrow QRS, P inverted before, within or after it.

use super::record::*;

/// Junctional premature beats: early narrow QRS, P inverted with PR under 120 ms (textbooks, from memory).
pub static JUNCTIONAL_PREMATURE: Rhythm = Rhythm {
    id: "junctional-premature",
    name: "Junctional premature beats",
    min_bpm: 40.0,
    max_bpm: 180.0,
    ectopy: premature(EctopicSite::Junction, Pattern::PerMinute(8.0)),
    ..SINUS_RECORD
};

/// Junctional escape rhythm: 40 to 60 bpm.
pub static JUNCTIONAL_ESCAPE: Rhythm = Rhythm {
    id: "junctional-escape",
    name: "Junctional escape rhythm",
    usual: UsualRate::Resting(0.68),
    min_bpm: 30.0,
    max_bpm: 90.0,
    alarm: Priority::Medium,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: junction(JunctionalP::Before, BeatCode::JunctionalEscape),
    ..SINUS_RECORD
};

/// Accelerated junctional rhythm: 60 to 100 bpm.
pub static JUNCTIONAL_ACCELERATED: Rhythm = Rhythm {
    id: "junctional-accelerated",
    name: "Accelerated junctional rhythm",
    usual: UsualRate::Resting(1.15),
    min_bpm: 60.0,
    max_bpm: 150.0,
    alarm: Priority::None,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: junction(JunctionalP::Within, BeatCode::JunctionalPremature),
    ..SINUS_RECORD
};

/// Junctional tachycardia: over 100 bpm.
pub static JUNCTIONAL_TACHYCARDIA: Rhythm = Rhythm {
    id: "junctional-tachycardia",
    name: "Junctional tachycardia",
    usual: UsualRate::Resting(1.75),
    min_bpm: 100.0,
    max_bpm: 220.0,
    alarm: Priority::Medium,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: junction(JunctionalP::After, BeatCode::JunctionalPremature),
    ejection: 0.9,
    ..SINUS_RECORD
};
