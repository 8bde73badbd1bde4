//! Where to look after a failure: the likely faults along the chain from rig to display.
//!
//! Common practice of the trade, no source; the manufacturer's service manual goes first.

use crate::judge::{JudgedItem, Judgement, Verdict};
use crate::plan::{PlanItem, PlanReading};

/// The places to look, most likely first; empty when the item did not fail.
pub fn guide(judgement: &Judgement<'_>, item: PlanItem<'_>, judged: &JudgedItem<'_>) -> Vec<&'static str> {
    if judged.verdict != Verdict::Fail {
        return Vec::new();
    }
    match item {
        PlanItem::Alarm(_) => alarm(&judged.why),
        PlanItem::Silence(_) => vec![
            "Signal: is it clean on the display? Noise, T waves and pacing pulses are taken for beats.",
            "Limit setting: is the limit where the plan assumes it? Compare with its alarm limits.",
            "Latching: is it an alarm of the step before that was not acknowledged?",
        ],
        // What to look at after a check by hand only its own manual can say.
        item if item.is_manual() => Vec::new(),
        PlanItem::Check(_) => Vec::new(),
        PlanItem::Clear(_) => vec![
            "Latching: many monitors hold an alarm until it is acknowledged; is it set so?",
            "Averaging: the reading must come back within its limit first.",
        ],
        PlanItem::Reading(reading) => match reading.quantity.as_str() {
            "heart-rate" | "pulse-rate" => rate(reading, judged),
            "respiration-rate" => breathing(judgement, reading, judged),
            "cuff-leak" | "cuff-pressure" | "cuff-ceiling" | "cuff-systolic" | "cuff-diastolic" | "cuff-mean" => {
                cuff(&reading.quantity)
            }
            "ecg-amplitude" => vec![
                "Gain: is the display at the gain and in the filter band that the plan assumes?",
                "Cable: swap the lead wires one by one; a series resistance loses amplitude.",
                "Rig: measure the electrode output with a calibrated meter; check the attenuator.",
            ],
            _ => pressure(judgement, reading),
        },
    }
}

fn alarm(why: &str) -> Vec<&'static str> {
    if why.starts_with("late") && why.contains(" in place of ") {
        return vec![
            "Delay setting: alarm delays and averaging times add up; compare with the service manual.",
            "Priority setting: many monitors let the priority of an alarm be changed; compare with the ward's profile.",
        ];
    }
    if why.starts_with("late") {
        return vec![
            "Delay setting: alarm delays and averaging times add up; compare with the service manual.",
            "Limit setting: a limit far from the value is passed later on the way there.",
            "Clock: was the stopwatch started when the step began at the rig's output?",
        ];
    }
    if why.contains(" in place of ") {
        return vec![
            "Priority setting: many monitors let the priority of an alarm be changed; compare with the ward's profile.",
            "Profile: is the right patient category and care area selected?",
        ];
    }
    vec![
        "Arrhythmia option: is it licensed and switched on, and not only in its basic form?",
        "Limit setting: is the alarm on, and its limit between the value before and the value in this step?",
        "Silence: alarms paused, sound off, volume at its lowest, or a latched alarm that was not acknowledged?",
        "Signal: is the lead that the monitor analyses the one that shows the rhythm, with enough amplitude?",
        "The rhythm is synthetic: before you blame the detector, play a recording from an open database.",
    ]
}

fn rate(reading: &PlanReading, judged: &JudgedItem<'_>) -> Vec<&'static str> {
    let ratio = judged
        .value
        .zip(reading.value)
        .filter(|(_, expected)| *expected > 0.0)
        .map(|(value, expected)| value / expected);
    match ratio {
        Some(ratio) if (1.8..2.2).contains(&ratio) => vec![
            "Doubled rate: T waves, P waves or pacing pulses are counted. Try another lead and a lower gain.",
            "Pacing detection: switch it as the step needs it.",
            "Patient category: neonatal filters count what adult ones ignore.",
        ],
        Some(ratio) if ratio < 0.6 => vec![
            "Beats are missed: amplitude too small in the analysed lead, or an electrode off. Check each lead on the display.",
            "Cable: wiggle the connector and each wire while you watch the trace.",
            "Averaging: wait until the reading has settled, then read again.",
        ],
        _ => vec![
            "Averaging: wait until the reading has settled, then read again.",
            "Cable and electrodes: check each lead on the display; swap the trunk cable.",
            "Source: does the monitor take its rate from the ECG, or from a pressure?",
        ],
    }
}

fn breathing(judgement: &Judgement<'_>, reading: &PlanReading, judged: &JudgedItem<'_>) -> Vec<&'static str> {
    let step = reading.id.split('.').next().unwrap_or_default();
    let heart = judgement.items.iter().find(|(of, item, _)| of.id == step && item.id().ends_with(".heart-rate"));
    let heart = heart.and_then(|(_, _, judged)| judged.value);
    if judged.value.zip(heart).is_some_and(|(value, heart)| (value - heart).abs() <= 3.0) {
        return vec![
            "The reading equals the heart rate: heartbeats in the impedance are counted as breaths.",
            "Detection level: raise it, or let the monitor set it again; try the other respiration lead.",
        ];
    }
    vec![
        "Lead: does the monitor measure over the electrodes that the rig modulates (I or II)?",
        "Detection level and gain: compare with the size of the breath that the step plays.",
        "Cable: impedance needs cables without (or with the right) series resistors; swap the trunk cable.",
        "Rig: measure the base impedance and its change with a meter.",
    ]
}

fn cuff(quantity: &str) -> Vec<&'static str> {
    match quantity {
        "cuff-leak" => vec![
            "Leak: tighten hose and cuff connectors, look at the O-rings, then clamp the hose at the monitor to halve the search.",
            "Volume: is the rigid volume the size that the service manual asks for? Let the air settle before you time it.",
            "Valve: a leak that stays with the hose clamped at the monitor is inside it.",
        ],
        "cuff-pressure" => vec![
            "Zero: vent to the atmosphere and zero the transducer again.",
            "Calibration: an error that grows with pressure is gain; one that stays is zero.",
            "Reference: is the meter within its calibration, and on the same tee?",
        ],
        "cuff-ceiling" => vec![
            "Stop the test and vent. Over-pressure protection is a safety function: take the monitor out of use.",
            "Patient category: adult and neonatal limits differ; is the right one selected?",
        ],
        _ => vec![
            "Leak: check the pneumatic path first; a leak shifts the envelope.",
            "Patient category, cuff size and hose: as the plan assumes?",
            "Repeat: take the mean of three; a single synthetic reading may fall between two deflation steps.",
            "Static pressure: check zero and gain against a meter before you judge the method.",
        ],
    }
}

/// The error of every judged reading of a site, by part.
fn pressure(judgement: &Judgement<'_>, reading: &PlanReading) -> Vec<&'static str> {
    let site = reading.quantity.rsplit_once('-').map_or("", |(site, _)| site);
    let error = |part: &str, step: Option<&str>| -> Vec<(f64, f64)> {
        let of_site = judgement.items.iter().filter_map(|(of, item, judged)| match item {
            PlanItem::Reading(other) if step.is_none_or(|step| of.id == step) => {
                let fits =
                    other.quantity.rsplit_once('-').is_some_and(|(s, p)| s == site && (part.is_empty() || p == part));
                let (value, expected) = (judged.value?, other.value?);
                fits.then_some((expected, value - expected))
            }
            _ => None,
        });
        of_site.collect()
    };
    let step = reading.id.split('.').next();
    let of = |part: &str| error(part, step).first().map(|(_, error)| *error);
    if let (Some(systolic), Some(diastolic)) = (of("systolic"), of("diastolic")) {
        let opposite = systolic * diastolic < 0.0 && systolic.abs().min(diastolic.abs()) >= 1.0;
        if opposite && systolic < 0.0 {
            return vec![
                "Damping: systolic low and diastolic high with the mean kept. Look for air, clots, a kinked or long line.",
                "Filter: is the monitor's pressure filter at its usual setting?",
            ];
        }
        if opposite {
            return vec![
                "Underdamping: systolic high and diastolic low with the mean kept. Check the line's length, taps and damping device.",
                "Flush test: natural frequency and damping of line and transducer.",
            ];
        }
    }
    let all = error("", None);
    let errors: Vec<f64> = all.iter().map(|(_, error)| *error).collect();
    let (least, most) =
        (errors.iter().copied().fold(f64::MAX, f64::min), errors.iter().copied().fold(f64::MIN, f64::max));
    let middle = (least + most) / 2.0;
    if errors.len() >= 2 && middle.abs() > 1.0 && most - least < middle.abs() / 2.0 {
        return vec![
            "Zero: every reading of this pressure is off by about the same. Open to air, zero again, check the height.",
            "Offset of the rig's bridge output: measure it with a calibrated meter.",
        ];
    }
    let largest = |errors: &mut dyn Iterator<Item = f64>| errors.map(f64::abs).reduce(f64::max);
    let high = largest(&mut all.iter().filter(|(expected, _)| *expected >= 50.0).map(|(_, error)| *error));
    let low = largest(&mut all.iter().filter(|(expected, _)| expected.abs() < 50.0).map(|(_, error)| *error));
    if high.zip(low).is_some_and(|(high, low)| high > 2.0 * low) {
        return vec![
            "Gain: the error grows with pressure. Compare the rig's sensitivity (uV/V/mmHg) with what the monitor assumes.",
            "Excitation: measure it at the connector while the monitor is on; scale to what you measure.",
        ];
    }
    vec![
        "Zero: open to air, zero again, check the height.",
        "Cable: swap the transducer cable and the input; does the error go with it?",
        "Leak and air: look along the line, tighten every tap.",
        "Limits and labels: is this input labelled as the pressure that the plan means?",
    ]
}
