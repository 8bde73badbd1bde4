//! The rhythms, each a record over the one conduction model.

use super::rhythm::{Atria, AvNode, Ectopy, Pattern, Priority, Rhythm, Site, UsualRate, Ventricles};

/// Regular sinus rhythm; from it the other records differ only where they say so.
pub static SINUS: Rhythm = SINUS_RECORD;

const SINUS_RECORD: Rhythm = Rhythm {
    id: "sinus",
    name: "Sinus rhythm",
    usual: UsualRate::Resting(1.0),
    min_bpm: 20.0,
    max_bpm: 350.0,
    alarm: Priority::None,
    atria: Atria::Sinus,
    av: AvNode::Conducting,
    ventricles: Ventricles::Following,
    ectopy: None,
    ejection: 1.0,
};

/// Atrial fibrillation: f waves of 4 to 9 Hz (Goldberger, Clinical Electrocardiography), no P, RR without memory.
pub static ATRIAL_FIBRILLATION: Rhythm = Rhythm {
    id: "atrial-fibrillation",
    name: "Atrial fibrillation",
    usual: UsualRate::Resting(1.3),
    min_bpm: 30.0,
    max_bpm: 220.0,
    alarm: Priority::Low,
    atria: Atria::Fibrillation { hz: 6.5, mv: 0.1 },
    av: AvNode::Irregular { spread: 0.18 },
    ..SINUS_RECORD
};

/// Single ventricular premature beats with full compensatory pause.
pub static VENTRICULAR_PREMATURE: Rhythm = VENTRICULAR_PREMATURE_RECORD;

const VENTRICULAR_PREMATURE_RECORD: Rhythm = Rhythm {
    id: "ventricular-premature",
    name: "Ventricular premature beats",
    min_bpm: 30.0,
    max_bpm: 180.0,
    alarm: Priority::Low,
    ectopy: Some(Ectopy { site: Site::Ventricle, pattern: Pattern::PerMinute(6.0), coupling: 0.6 }),
    ..SINUS_RECORD
};

/// Every other beat a ventricular premature beat.
pub static VENTRICULAR_BIGEMINY: Rhythm = Rhythm {
    id: "ventricular-bigeminy",
    name: "Ventricular bigeminy",
    ectopy: Some(Ectopy { site: Site::Ventricle, pattern: Pattern::AfterEvery(1), coupling: 0.6 }),
    ..VENTRICULAR_PREMATURE_RECORD
};

/// Monomorphic ventricular tachycardia; 140 to 220 bpm typical, over 100 by definition.
pub static VENTRICULAR_TACHYCARDIA: Rhythm = Rhythm {
    id: "ventricular-tachycardia",
    name: "Ventricular tachycardia, monomorphic",
    usual: UsualRate::Resting(2.5),
    min_bpm: 100.0,
    max_bpm: 300.0,
    alarm: Priority::High,
    atria: Atria::IndependentSinus(80.0),
    av: AvNode::Conducting,
    ventricles: Ventricles::Focus,
    ectopy: None,
    ejection: 0.5,
};

/// Coarse ventricular fibrillation: dominant frequency 4 to 6 Hz (Clayton 1995), amplitude about 1 mV (Strohmenger 1997).
pub static VENTRICULAR_FIBRILLATION: Rhythm = Rhythm {
    id: "ventricular-fibrillation",
    name: "Ventricular fibrillation",
    min_bpm: 5.0,
    max_bpm: 400.0,
    alarm: Priority::High,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: Ventricles::Fibrillation { hz: 4.8, mv: 1.0 },
    ejection: 0.0,
    ..SINUS_RECORD
};

/// Asystole: no electrical activity.
pub static ASYSTOLE: Rhythm = Rhythm {
    id: "asystole",
    name: "Asystole",
    min_bpm: 5.0,
    max_bpm: 400.0,
    alarm: Priority::High,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ejection: 0.0,
    ..SINUS_RECORD
};

/// Every rhythm.
pub static RHYTHMS: &[&Rhythm] = &[
    &SINUS,
    &ATRIAL_FIBRILLATION,
    &VENTRICULAR_PREMATURE,
    &VENTRICULAR_BIGEMINY,
    &VENTRICULAR_TACHYCARDIA,
    &VENTRICULAR_FIBRILLATION,
    &ASYSTOLE,
];

/// The rhythm with this word.
pub fn find(id: &str) -> Option<&'static Rhythm> {
    RHYTHMS.iter().copied().find(|rhythm| rhythm.id == id)
}
