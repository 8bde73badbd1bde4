//! Paced rhythms: a device at the rate set over a heart that needs it.

use super::record::*;

/// AAI: a pulse, then P and the own QRS after a normal PR.
pub static PACED_AAI: Rhythm = Rhythm {
    id: "paced-aai",
    name: "Atrial pacing (AAI)",
    min_bpm: 30.0,
    max_bpm: 150.0,
    atria: Atria::Paced,
    pacing: Some(Pacing { mode: PacingMode::Aai, fault: PacingFault::None }),
    ..SINUS_RECORD
};

/// VVI: a pulse, then a wide QRS like left bundle branch block with superior axis; P waves go their own way.
pub static PACED_VVI: Rhythm = Rhythm {
    id: "paced-vvi",
    name: "Ventricular pacing (VVI)",
    min_bpm: 30.0,
    max_bpm: 150.0,
    values: &[(Field::AtrialBpm, 82.0)],
    atria: Atria::Independent,
    av: AvNode::Blocked,
    pacing: Some(Pacing { mode: PacingMode::Vvi, fault: PacingFault::None }),
    ejection: 0.9,
    ..SINUS_RECORD
};

/// VVI beside a sinus node of nearly the same rate that conducts: the device is inhibited by own beats, paces their pauses, and some
/// beats are fusion or a pulse in an own QRS.
pub static PACED_VVI_COMPETING: Rhythm = Rhythm {
    id: "paced-vvi-competing",
    name: "Ventricular pacing (VVI), own rhythm competing",
    usual: UsualRate::Adult(60.0, 1.0),
    min_bpm: 30.0,
    max_bpm: 120.0,
    values: &[(Field::AtrialBpm, 62.0)],
    atria: Atria::Independent,
    pacing: Some(Pacing { mode: PacingMode::Vvi, fault: PacingFault::None }),
    ejection: 0.95,
    ..SINUS_RECORD
};

/// DDD: a pulse and P, then after the AV delay a pulse and QRS.
pub static PACED_DDD: Rhythm = Rhythm {
    id: "paced-ddd",
    name: "Dual-chamber pacing (DDD)",
    min_bpm: 30.0,
    max_bpm: 150.0,
    atria: Atria::Paced,
    av: AvNode::Blocked,
    pacing: Some(Pacing { mode: PacingMode::Ddd, fault: PacingFault::None }),
    ejection: 0.95,
    ..SINUS_RECORD
};

/// DDD beside a conduction that is as fast as its AV delay, now a little faster, now slower: own beats inhibit the ventricular
/// pulse, some pulses fall in an own QRS, some beats fuse.
pub static PACED_DDD_COMPETING: Rhythm = Rhythm {
    id: "paced-ddd-competing",
    name: "Dual-chamber pacing (DDD), own conduction competing",
    min_bpm: 30.0,
    max_bpm: 120.0,
    values: &[(Field::PrMs, 180.0), (Field::PrSdMs, 20.0)],
    pacing: Some(Pacing { mode: PacingMode::Ddd, fault: PacingFault::None }),
    ejection: 0.95,
    ..SINUS_RECORD
};

/// DDD that follows the sinus node: own P, then after the AV delay a pulse and QRS.
pub static PACED_TRACKING: Rhythm = Rhythm {
    id: "paced-tracking",
    name: "Dual-chamber pacing, atrial tracking (DDD)",
    min_bpm: 30.0,
    max_bpm: 150.0,
    av: AvNode::Blocked,
    pacing: Some(Pacing { mode: PacingMode::Ddd, fault: PacingFault::None }),
    ejection: 0.95,
    ..SINUS_RECORD
};

/// Biventricular pacing that follows the sinus node: after the AV delay, shorter than one's own, both ventricles together.
pub static PACED_BIVENTRICULAR: Rhythm = Rhythm {
    id: "paced-biventricular",
    name: "Biventricular pacing",
    min_bpm: 30.0,
    max_bpm: 150.0,
    values: &[(Field::PrMs, 130.0)],
    av: AvNode::Blocked,
    pacing: Some(Pacing { mode: PacingMode::Biventricular, fault: PacingFault::None }),
    ..SINUS_RECORD
};

/// Pacemaker-mediated tachycardia: each paced beat activates the atria backwards, and the device follows at its upper rate.
pub static PACED_LOOP: Rhythm = Rhythm {
    id: "paced-loop",
    name: "Pacemaker-mediated tachycardia",
    usual: UsualRate::Adult(140.0, 0.25),
    min_bpm: 90.0,
    max_bpm: 150.0,
    alarm: Priority::Medium,
    atria: Atria::Still,
    av: AvNode::Blocked,
    pacing: Some(Pacing { mode: PacingMode::Ddd, fault: PacingFault::Loop }),
    ejection: 0.8,
    ..SINUS_RECORD
};

/// Failure to capture: every third pulse is followed by no beat.
pub static PACED_NO_CAPTURE: Rhythm = Rhythm {
    id: "paced-no-capture",
    name: "Pacing, failure to capture",
    min_bpm: 30.0,
    max_bpm: 120.0,
    alarm: Priority::Medium,
    values: &[(Field::AtrialBpm, 82.0)],
    atria: Atria::Independent,
    av: AvNode::Blocked,
    pacing: Some(Pacing { mode: PacingMode::Vvi, fault: PacingFault::NoCapture(3) }),
    ejection: 0.9,
    ..SINUS_RECORD
};

/// Failure to sense: pulses at a fixed rate regardless of the own beats, some on the T wave.
pub static PACED_NO_SENSING: Rhythm = Rhythm {
    id: "paced-no-sensing",
    name: "Pacing, failure to sense",
    usual: UsualRate::Adult(60.0, 1.0),
    min_bpm: 30.0,
    max_bpm: 120.0,
    alarm: Priority::Medium,
    values: &[(Field::AtrialBpm, 78.0)],
    atria: Atria::Independent,
    pacing: Some(Pacing { mode: PacingMode::Vvi, fault: PacingFault::NoSensing }),
    ..SINUS_RECORD
};

/// Oversensing: after six pulses the device takes noise for beats and is silent for the pause set.
pub static PACED_OVERSENSING: Rhythm = Rhythm {
    id: "paced-oversensing",
    name: "Pacing, oversensing",
    min_bpm: 30.0,
    max_bpm: 120.0,
    alarm: Priority::Medium,
    values: &[(Field::AtrialBpm, 82.0), (Field::PauseS, 4.0)],
    atria: Atria::Independent,
    av: AvNode::Blocked,
    pacing: Some(Pacing { mode: PacingMode::Vvi, fault: PacingFault::Oversensing(6) }),
    ejection: 0.9,
    ..SINUS_RECORD
};

/// Pacing without any response: pulses on time, and no capture. The rate set is that of the pulses.
pub static PACED_NO_RESPONSE: Rhythm = Rhythm {
    id: "paced-no-response",
    name: "Ventricular pacing without response",
    usual: UsualRate::Adult(70.0, 1.0),
    min_bpm: 30.0,
    max_bpm: 150.0,
    alarm: Priority::High,
    atria: Atria::Still,
    av: AvNode::Blocked,
    pacing: Some(Pacing { mode: PacingMode::Vvi, fault: PacingFault::NoCapture(1) }),
    ejection: 0.0,
    ..SINUS_RECORD
};
