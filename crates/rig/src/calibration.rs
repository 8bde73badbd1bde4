//! The two-point measurement: levels to play, the expected readings of a meter, and the result of its readings.

use crate::description::{Correction, Output, Rig};
use serde_json::{Value, json};

/// Largest error of a rig that still gives test signals, percent of half the span between the levels (test signals: 1 %, IEC 60601-2-25 201.5.3,
/// as laboratories quote it).
pub const TOLERANCE_PERCENT: f64 = 1.0;

/// Larger errors, percent, are taken for a mistake unless they are accepted.
pub const PLAUSIBLE_PERCENT: f64 = 10.0;

/// Two codes of an output and the expected readings of a meter at the connector, in the connector's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CalibrationLevels {
    /// The codes, the one of the lower level first.
    pub codes: [i64; 2],
    /// Readings of a rig that is as described, uncorrected.
    pub nominal: [f64; 2],
    /// Readings by its last measurement.
    pub expected: [f64; 2],
    /// How much of a level the meter's own load leaves, 0 to 1; part of the readings above.
    pub left: f64,
}

impl CalibrationLevels {
    /// Of an output: at an eighth and seven eighths of its codes, away from ends that an amplifier may not reach; read by a meter
    /// of this resistance, or by an ideal meter.
    pub fn new(rig: &Rig, output: &Output, meter_ohm: Option<f64>) -> CalibrationLevels {
        let (lowest, highest) = rig.converter.codes();
        let eighth = (highest - lowest + 1) / 8;
        let mut codes = [lowest + eighth, lowest + 7 * eighth];
        let nominal = output.code_to_nominal(&rig.converter);
        if nominal.slope < 0.0 {
            codes.reverse();
        }
        let left = meter_ohm.map_or(1.0, |meter_ohm| output.left_by_meter(meter_ohm, rig.reference_ohm()));
        let at = |line: crate::line::LinearMap| codes.map(|code| left * line.of(code as f64));
        CalibrationLevels { codes, nominal: at(nominal), expected: at(output.code_to_connector(&rig.converter)), left }
    }
}

/// The result of the readings of an output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Finding {
    /// The correction by these readings.
    pub correction: Correction,
    /// Error of the rig as corrected so far at the worse of the two levels, percent of half the span between them.
    pub error_percent: f64,
}

impl Finding {
    /// Whether the rig as corrected so far may be used.
    pub fn holds(&self) -> bool {
        self.error_percent <= TOLERANCE_PERCENT
    }
}

/// Readings that can't be meant.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum ImplausibleReadings {
    /// Not a number, or beyond any meter.
    #[error("a reading is not a number that a meter shows")]
    NoNumber,
    /// Both levels read the same.
    #[error("both levels read nearly the same: is the meter on this output, and is it played?")]
    Still,
    /// The higher level reads lower.
    #[error(
        "the high level reads lower than the low one: were the readings swapped, or the leads? If the stage inverts, say \"polarity\": \"inverted\""
    )]
    Turned,
    /// A thousand times too much or too little.
    #[error("the readings are {0} times the expected values: check their unit")]
    Unit(f64),
    /// Farther off than a rig drifts.
    #[error(
        "the readings are {0:.1} % off, which is more than {PLAUSIBLE_PERCENT} %: check attenuator, load and range; \
         --accept takes them all the same"
    )]
    Far(f64),
    /// Beyond the range of a description.
    #[error("the readings ask for a gain of {0:.4}; a correction goes from 0.1 to 10")]
    Beyond(f64),
}

/// Judges two readings, low and high in the connector's unit; `accept` takes those that are far off.
///
/// # Errors
/// [`ImplausibleReadings`] when they can't be meant.
pub fn judge(levels: &CalibrationLevels, readings: [f64; 2], accept: bool) -> Result<Finding, ImplausibleReadings> {
    if readings.iter().any(|reading| !reading.is_finite() || reading.abs() > 1e9) {
        return Err(ImplausibleReadings::NoNumber);
    }
    let span = levels.nominal[1] - levels.nominal[0];
    let gain = (readings[1] - readings[0]) / span;
    // A difference in a meter's last digit is not a signal.
    if gain.abs() < 1e-4 {
        return Err(ImplausibleReadings::Still);
    }
    if gain < 0.0 {
        return Err(ImplausibleReadings::Turned);
    }
    for factor in [1e6, 1000.0, 0.001] {
        if (gain / factor - 1.0).abs() < 0.25 {
            return Err(ImplausibleReadings::Unit(factor));
        }
    }
    // The meter's load scales readings and nominal levels alike, so it cancels in the gain; the offset is that without the meter.
    let correction = Correction { gain, offset: (readings[0] - gain * levels.nominal[0]) / levels.left };
    let off = |wanted: &[f64; 2]| {
        let worst = wanted.iter().zip(readings).map(|(wanted, read)| (read - wanted).abs()).fold(0.0, f64::max);
        200.0 * worst / span
    };
    // A rig repaired since its last measurement is near the nominal levels again.
    let far = off(&levels.nominal).min(off(&levels.expected));
    if far > PLAUSIBLE_PERCENT && !accept {
        return Err(ImplausibleReadings::Far(far));
    }
    if !(0.1..=10.0).contains(&gain) || correction.offset.abs() > 1e4 {
        return Err(ImplausibleReadings::Beyond(gain));
    }
    Ok(Finding { correction, error_percent: off(&levels.expected) })
}

/// A measurement of one output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measurement<'a> {
    /// Index of the output in the description.
    pub output: usize,
    /// The levels that were played.
    pub levels: CalibrationLevels,
    /// The readings, in the connector's unit.
    pub readings: [f64; 2],
    /// The result.
    pub finding: Finding,
    /// Correction before.
    pub before: Correction,
    /// Day, as 2026-11-25.
    pub date: &'a str,
    /// The meter, by its number or name, with the date of its own calibration if that is known.
    pub meter: &'a str,
}

/// Writes a measurement into a rig's JSON: the correction, and its measurement at the end of the output's
/// `calibrations`. Everything else stays as it is.
pub fn write_back(document: &mut Value, measurement: &Measurement<'_>) {
    let Some(output) = document.get_mut("outputs").and_then(|outputs| outputs.get_mut(measurement.output)) else {
        return;
    };
    let correction = |correction: Correction| json!({"gain": correction.gain, "offset": correction.offset});
    let CalibrationLevels { codes, nominal, .. } = measurement.levels;
    let [low, high] = [0, 1].map(|i| json!({"code": codes[i], "nominal": nominal[i], "read": measurement.readings[i]}));
    let entry = json!({
        "date": measurement.date,
        "meter": measurement.meter,
        "low": low,
        "high": high,
        "before": correction(measurement.before),
        "after": correction(measurement.finding.correction)
    });
    output["correction"] = correction(measurement.finding.correction);
    match output.get_mut("calibrations").and_then(Value::as_array_mut) {
        Some(calibrations) => calibrations.push(entry),
        None => output["calibrations"] = json!([entry]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::parse;

    const TEXT: &str = r#"{"version": 1, "converter": {"bits": 16, "low_v": -2.5, "high_v": 2.5, "coding": "offset-binary"},
      "outputs": [{"electrode": "RA", "attenuation": 500}, {"electrode": "LA", "attenuation": 500, "polarity": "inverted"}]}"#;

    fn levels() -> CalibrationLevels {
        let rig = parse(TEXT.as_bytes(), "r").unwrap();
        CalibrationLevels::new(&rig, &rig.outputs[0], None)
    }

    #[test]
    fn levels_by_hand() {
        // +/-2.5 V over 500 is +/-5 mV; three quarters of it.
        assert_eq!(levels().codes, [8192, 57_344]);
        assert_eq!(levels().nominal, [-3.75, 3.75]);
        let rig = parse(TEXT.as_bytes(), "r").unwrap();
        let turned = CalibrationLevels::new(&rig, &rig.outputs[1], None);
        assert_eq!((turned.codes, turned.nominal), ([57_344, 8192], [-3.75, 3.75]));
    }

    #[test]
    fn gain_and_offset_by_hand() {
        let wrong = [-3.75 * 1.03 + 0.1, 3.75 * 1.03 + 0.1];
        let finding = judge(&levels(), wrong, false).unwrap();
        assert!((finding.correction.gain - 1.03).abs() < 1e-12 && (finding.correction.offset - 0.1).abs() < 1e-12);
        // 0.2125 mV of 3.75 mV.
        assert!((finding.error_percent - 5.6667).abs() < 1e-3 && !finding.holds());
        assert!(judge(&levels(), [-3.76, 3.77], false).unwrap().holds());
    }

    #[test]
    fn the_meter_is_no_part_of_the_correction() {
        let text = TEXT.replacen("500}", r#"500, "source_ohm": 51000}"#, 1);
        let rig = parse(text.as_bytes(), "r").unwrap();
        let levels = CalibrationLevels::new(&rig, &rig.outputs[0], Some(1e7));
        // 51 kohm into the meter's 10 Mohm.
        assert!((levels.expected[1] - 3.75 * 10.0 / 10.051).abs() < 1e-9);
        let read = [-3.75, 3.75].map(|mv| (mv * 1.02 + 0.05) * 10.0 / 10.051);
        let Correction { gain, offset } = judge(&levels, read, false).unwrap().correction;
        assert!((gain - 1.02).abs() < 1e-9 && (offset - 0.05).abs() < 1e-9, "{gain} {offset}");
    }

    #[test]
    fn readings_that_cannot_be_meant() {
        let judge = |low, high| judge(&levels(), [low, high], false).unwrap_err();
        assert_eq!(judge(3.75, -3.75), ImplausibleReadings::Turned);
        assert_eq!(judge(0.0, 0.0), ImplausibleReadings::Still);
        assert_eq!(judge(-3750.0, 3750.0), ImplausibleReadings::Unit(1000.0));
        assert_eq!(judge(-0.003_75, 0.003_75), ImplausibleReadings::Unit(0.001));
        assert_eq!(judge(f64::NAN, 1.0), ImplausibleReadings::NoNumber);
        assert!(matches!(judge(-3.0, 3.0), ImplausibleReadings::Far(_)));
        assert!(matches!(judge(-3.75 + 1.0, 3.75 + 1.0), ImplausibleReadings::Far(_)), "an offset alone");
        assert!(super::judge(&levels(), [-3.0, 3.0], true).is_ok());
        assert!(matches!(super::judge(&levels(), [-50.0, 50.0], true), Err(ImplausibleReadings::Beyond(_))));
    }

    #[test]
    fn the_description_keeps_everything_else_and_a_history() {
        let mut document: Value = serde_json::from_str(TEXT).unwrap();
        for (day, gain) in [("2026-11-25", 1.03), ("2026-11-26", 1.04)] {
            let readings = levels().nominal.map(|nominal| nominal * gain);
            let finding = judge(&levels(), readings, false).unwrap();
            let before = Correction::NONE;
            let measurement =
                Measurement { output: 0, levels: levels(), readings, finding, before, date: day, meter: "M 7" };
            write_back(&mut document, &measurement);
        }
        let text = document.to_string();
        let rig = parse(text.as_bytes(), "r").unwrap();
        assert!((rig.outputs[0].correction.gain - 1.04).abs() < 1e-12);
        assert_eq!(rig.outputs[1].correction, Correction::NONE);
        let history = document["outputs"][0]["calibrations"].as_array().unwrap();
        assert_eq!(history.len(), 2);
        assert_eq!((&history[1]["date"], &history[1]["meter"]), (&json!("2026-11-26"), &json!("M 7")));
        assert_eq!(document["converter"]["bits"], 16);
    }
}
