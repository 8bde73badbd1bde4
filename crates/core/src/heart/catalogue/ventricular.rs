//! Ventricular rhythms.

use super::record::*;

/// Single ventricular premature beats from the right ventricle, with full compensatory pause.
pub static VENTRICULAR_PREMATURE: Rhythm = Rhythm {
    id: "ventricular-premature",
    name: "Ventricular premature beats",
    min_bpm: 30.0,
    max_bpm: 180.0,
    alarm: Priority::Low,
    ectopy: premature(EctopicSite::RightVentricle, Pattern::PerMinute(6.0)),
    ..SINUS_RECORD
};

/// Single ventricular premature beats from the left ventricle.
pub static VENTRICULAR_PREMATURE_LEFT: Rhythm = Rhythm {
    id: "ventricular-premature-left",
    name: "Ventricular premature beats, left",
    min_bpm: 30.0,
    max_bpm: 180.0,
    alarm: Priority::Low,
    ectopy: premature(EctopicSite::LeftVentricle, Pattern::PerMinute(6.0)),
    ..SINUS_RECORD
};

/// Ventricular premature beats from four foci, two in each ventricle, by chance.
pub static VENTRICULAR_MULTIFOCAL: Rhythm = Rhythm {
    id: "ventricular-multifocal",
    name: "Ventricular premature beats, multifocal",
    min_bpm: 30.0,
    max_bpm: 180.0,
    alarm: Priority::Low,
    ectopy: Some(Ectopy {
        site: EctopicSite::BothVentricles,
        pattern: Pattern::PerMinute(12.0),
        coupling: Coupling::Period(0.6),
        foci: 4,
        run: 1,
        run_period: 0.5,
        interpolated: false,
        conduction: EctopicConduction::Normal,
    }),
    ..SINUS_RECORD
};

/// Interpolated ventricular premature beats: between two sinus beats that come on time.
pub static VENTRICULAR_INTERPOLATED: Rhythm = Rhythm {
    id: "ventricular-interpolated",
    name: "Ventricular premature beats, interpolated",
    usual: UsualRate::Resting(0.8),
    min_bpm: 30.0,
    max_bpm: 70.0,
    alarm: Priority::Low,
    ectopy: Some(Ectopy {
        site: EctopicSite::RightVentricle,
        pattern: Pattern::PerMinute(6.0),
        coupling: Coupling::Period(0.42),
        foci: 1,
        run: 1,
        run_period: 0.5,
        interpolated: true,
        conduction: EctopicConduction::Normal,
    }),
    ..SINUS_RECORD
};

/// R-on-T: premature beats on the T wave before.
pub static VENTRICULAR_R_ON_T: Rhythm = Rhythm {
    id: "ventricular-r-on-t",
    name: "Ventricular premature beats, R-on-T",
    min_bpm: 40.0,
    max_bpm: 100.0,
    alarm: Priority::Medium,
    ectopy: Some(Ectopy {
        site: EctopicSite::RightVentricle,
        pattern: Pattern::PerMinute(6.0),
        coupling: Coupling::Qt(0.85),
        foci: 1,
        run: 1,
        run_period: 0.5,
        interpolated: false,
        conduction: EctopicConduction::Normal,
    }),
    ..SINUS_RECORD
};

/// Ventricular couplets: two premature beats in a row.
pub static VENTRICULAR_COUPLET: Rhythm = Rhythm {
    id: "ventricular-couplet",
    name: "Ventricular couplets",
    min_bpm: 30.0,
    max_bpm: 180.0,
    alarm: Priority::Low,
    ectopy: Some(Ectopy {
        site: EctopicSite::RightVentricle,
        pattern: Pattern::PerMinute(5.0),
        coupling: Coupling::Period(0.6),
        foci: 1,
        run: 2,
        run_period: 0.5,
        interpolated: false,
        conduction: EctopicConduction::Normal,
    }),
    ..SINUS_RECORD
};

/// Runs of five ventricular beats.
pub static VENTRICULAR_RUN: Rhythm = Rhythm {
    id: "ventricular-run",
    name: "Ventricular runs",
    min_bpm: 40.0,
    max_bpm: 120.0,
    alarm: Priority::High,
    ectopy: Some(Ectopy {
        site: EctopicSite::RightVentricle,
        pattern: Pattern::PerMinute(3.0),
        coupling: Coupling::Period(0.6),
        foci: 1,
        run: 5,
        run_period: 0.45,
        interpolated: false,
        conduction: EctopicConduction::Normal,
    }),
    ejection: 1.0,
    ..SINUS_RECORD
};

/// Every other beat a ventricular premature beat.
pub static VENTRICULAR_BIGEMINY: Rhythm = Rhythm {
    id: "ventricular-bigeminy",
    name: "Ventricular bigeminy",
    min_bpm: 30.0,
    max_bpm: 180.0,
    alarm: Priority::Low,
    ectopy: premature(EctopicSite::RightVentricle, Pattern::AfterEvery(1)),
    ..SINUS_RECORD
};

/// Every other beat a ventricular premature beat, from the right and the left ventricle in turn.
pub static VENTRICULAR_BIGEMINY_ALTERNATING: Rhythm = Rhythm {
    id: "ventricular-bigeminy-alternating",
    name: "Ventricular bigeminy, alternating",
    min_bpm: 30.0,
    max_bpm: 180.0,
    alarm: Priority::Low,
    ectopy: premature(EctopicSite::BothVentricles, Pattern::AfterEvery(1)),
    ..SINUS_RECORD
};

/// Every third beat a ventricular premature beat.
pub static VENTRICULAR_TRIGEMINY: Rhythm = Rhythm {
    id: "ventricular-trigeminy",
    name: "Ventricular trigeminy",
    min_bpm: 30.0,
    max_bpm: 180.0,
    alarm: Priority::Low,
    ectopy: premature(EctopicSite::RightVentricle, Pattern::AfterEvery(2)),
    ..SINUS_RECORD
};

/// Every fourth beat a ventricular premature beat.
pub static VENTRICULAR_QUADRIGEMINY: Rhythm = Rhythm {
    id: "ventricular-quadrigeminy",
    name: "Ventricular quadrigeminy",
    min_bpm: 30.0,
    max_bpm: 180.0,
    alarm: Priority::Low,
    ectopy: premature(EctopicSite::RightVentricle, Pattern::AfterEvery(3)),
    ..SINUS_RECORD
};

/// Idioventricular rhythm: 20 to 40 bpm, wide, no P.
pub static IDIOVENTRICULAR: Rhythm = Rhythm {
    id: "idioventricular",
    name: "Idioventricular rhythm",
    usual: UsualRate::Adult(35.0, 0.5),
    min_bpm: 15.0,
    max_bpm: 60.0,
    alarm: Priority::High,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: focus(Pathway::Escape, BeatCode::VentricularEscape),
    ejection: 0.8,
    ..SINUS_RECORD
};

/// Accelerated idioventricular rhythm: 40 to 100 bpm, with fusion and capture where the sinus node competes.
pub static IDIOVENTRICULAR_ACCELERATED: Rhythm = Rhythm {
    id: "idioventricular-accelerated",
    name: "Accelerated idioventricular rhythm",
    usual: UsualRate::Adult(80.0, 1.0),
    min_bpm: 40.0,
    max_bpm: 120.0,
    alarm: Priority::Medium,
    values: &[(Field::AtrialBpm, 72.0)],
    atria: Atria::Independent,
    // A little uneven, or each competition with the sinus node would end as the one before.
    ventricles: Ventricles::Focus {
        focus: Focus::Ventricle(Pathway::LeftVentricle),
        code: BeatCode::VentricularPremature,
        spread: 0.03,
    },
    ejection: 0.85,
    ..SINUS_RECORD
};

/// Monomorphic ventricular tachycardia: over 100 bpm by definition, typically 140 to 220, P independent.
pub static VENTRICULAR_TACHYCARDIA: Rhythm = Rhythm {
    id: "ventricular-tachycardia",
    name: "Ventricular tachycardia, monomorphic",
    usual: UsualRate::Adult(175.0, 0.4),
    min_bpm: 100.0,
    max_bpm: 300.0,
    alarm: Priority::High,
    values: &[(Field::AtrialBpm, 80.0)],
    atria: Atria::Independent,
    ventricles: focus(Pathway::LeftVentricle, BeatCode::VentricularPremature),
    ejection: 0.5,
    ..SINUS_RECORD
};

/// Monomorphic ventricular tachycardia from the right ventricle's outflow tract: like left bundle branch block, axis down, P independent.
pub static VENTRICULAR_TACHYCARDIA_RIGHT: Rhythm = Rhythm {
    id: "ventricular-tachycardia-right",
    name: "Ventricular tachycardia, right ventricle",
    usual: UsualRate::Adult(165.0, 0.4),
    min_bpm: 100.0,
    max_bpm: 300.0,
    alarm: Priority::High,
    values: &[(Field::AtrialBpm, 80.0)],
    atria: Atria::Independent,
    ventricles: focus(Pathway::RightVentricle, BeatCode::VentricularPremature),
    ejection: 0.55,
    ..SINUS_RECORD
};

/// Polymorphic ventricular tachycardia: irregular, another axis with each beat and no regular twist, QT normal before it.
pub static VENTRICULAR_TACHYCARDIA_POLYMORPHIC: Rhythm = Rhythm {
    id: "ventricular-tachycardia-polymorphic",
    name: "Ventricular tachycardia, polymorphic",
    usual: UsualRate::Adult(200.0, 0.3),
    min_bpm: 120.0,
    max_bpm: 300.0,
    alarm: Priority::High,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: Ventricles::Focus { focus: Focus::Shifting, code: BeatCode::VentricularPremature, spread: 0.08 },
    ejection: 0.2,
    ..SINUS_RECORD
};

/// Bidirectional ventricular tachycardia: the axis turns over from each beat to the next.
pub static VENTRICULAR_TACHYCARDIA_BIDIRECTIONAL: Rhythm = Rhythm {
    id: "ventricular-tachycardia-bidirectional",
    name: "Ventricular tachycardia, bidirectional",
    usual: UsualRate::Adult(150.0, 0.4),
    min_bpm: 80.0,
    max_bpm: 250.0,
    alarm: Priority::High,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: Ventricles::Focus { focus: Focus::Twisting(1.0), code: BeatCode::VentricularPremature, spread: 0.0 },
    ejection: 0.5,
    ..SINUS_RECORD
};

/// Torsades de pointes: 200 to 250 bpm, the axis twisting over in 5 to 20 beats; play a long QT before it.
pub static TORSADES: Rhythm = Rhythm {
    id: "torsades",
    name: "Torsades de pointes",
    usual: UsualRate::Adult(220.0, 0.25),
    min_bpm: 150.0,
    max_bpm: 280.0,
    alarm: Priority::High,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: Ventricles::Focus { focus: Focus::Twisting(10.0), code: BeatCode::VentricularPremature, spread: 0.04 },
    ejection: 0.15,
    ..SINUS_RECORD
};

/// Ventricular flutter: a large sine at 180 to 300 a minute without QRS and T.
pub static VENTRICULAR_FLUTTER: Rhythm = Rhythm {
    id: "ventricular-flutter",
    name: "Ventricular flutter",
    usual: UsualRate::Adult(280.0, 0.2),
    min_bpm: 180.0,
    max_bpm: 350.0,
    alarm: Priority::High,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: Ventricles::Flutter { mv: 2.0 },
    ejection: 0.0,
    ..SINUS_RECORD
};

/// Coarse ventricular fibrillation: dominant frequency 4 to 6 Hz (Clayton 1995), amplitude about 1 mV (Strohmenger 1997).
pub static VENTRICULAR_FIBRILLATION: Rhythm = Rhythm {
    id: "ventricular-fibrillation",
    name: "Ventricular fibrillation, coarse",
    min_bpm: 5.0,
    max_bpm: 400.0,
    alarm: Priority::High,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: Ventricles::Fibrillation { hz: 4.8, mv: 1.0 },
    ejection: 0.0,
    ..SINUS_RECORD
};

/// Fine ventricular fibrillation: 4 to 6 Hz as coarse (Clayton 1995), below 0.2 mV peak to peak (Kerber 1997, from memory).
pub static VENTRICULAR_FIBRILLATION_FINE: Rhythm = Rhythm {
    id: "ventricular-fibrillation-fine",
    name: "Ventricular fibrillation, fine",
    min_bpm: 5.0,
    max_bpm: 400.0,
    alarm: Priority::High,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: Ventricles::Fibrillation { hz: 4.6, mv: 0.12 },
    ejection: 0.0,
    ..SINUS_RECORD
};

/// Agonal rhythm: below 20 bpm, very wide and low (textbooks, from memory).
pub static AGONAL: Rhythm = Rhythm {
    id: "agonal",
    name: "Agonal rhythm",
    usual: UsualRate::Adult(12.0, 0.0),
    min_bpm: 5.0,
    max_bpm: 25.0,
    alarm: Priority::High,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: Ventricles::Focus {
        focus: Focus::Ventricle(Pathway::Agonal),
        code: BeatCode::VentricularEscape,
        spread: 0.15,
    },
    ejection: 0.1,
    ..SINUS_RECORD
};

/// Pulseless electrical activity: organised beats, slow and wide, that eject nothing; what an ECG alone takes for a rhythm.
pub static PULSELESS_ELECTRICAL_ACTIVITY: Rhythm = Rhythm {
    id: "pulseless-electrical-activity",
    name: "Pulseless electrical activity",
    usual: UsualRate::Adult(35.0, 0.5),
    min_bpm: 20.0,
    max_bpm: 120.0,
    alarm: Priority::High,
    atria: Atria::Still,
    av: AvNode::Blocked,
    ventricles: focus(Pathway::Escape, BeatCode::VentricularEscape),
    ejection: 0.0,
    ..SINUS_RECORD
};

/// Ventricular standstill: P waves only. The rate set is that of the P waves.
pub static VENTRICULAR_STANDSTILL: Rhythm = Rhythm {
    id: "ventricular-standstill",
    name: "Ventricular standstill",
    min_bpm: 20.0,
    max_bpm: 200.0,
    alarm: Priority::High,
    av: AvNode::Blocked,
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
