//! Judging a rig: its steps against a monitor's noise, and the effect of stairs on a signal.
//!
//! Limits and sources: `docs/rig.md`.

use crate::description::{EcgConnector, LowPassFilter, Output, OutputSignal, Rig};
use std::f64::consts::PI;

/// Noise that a monitor's ECG input may have, uV peak to valley (IEC 60601-2-27, 201.12.1.101.4, as makers quote it).
pub const MONITOR_NOISE_UV: f64 = 30.0;

/// Largest step advised at an electrode, uV: a thirtieth of that noise (arithmetic).
pub const STEP_UV: f64 = 1.0;

/// Largest step advised of a pressure, mmHg (arithmetic: 2.5 uV at 5 V).
pub const STEP_MMHG: f64 = 0.1;

/// Noise of an impedance input, ohm at 500 ohm (as makers quote it).
pub const IMPEDANCE_NOISE_OHM: f64 = 0.05;

/// Reach advised at an electrode, mV (IEC 60601-2-27: inputs within 5 mV either way).
pub const REACH_MV: f64 = 5.0;

/// Highest frequency of an adult's diagnostic ECG, Hz (AHA 2007, from memory).
pub const TOP_HZ: f64 = 150.0;

/// Figures of an output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutputFigures {
    /// A step in the signal's unit.
    pub step: f64,
    /// Lowest and highest value in the signal's unit.
    pub reach: (f64, f64),
    /// A step at the connector, uV or ohm.
    pub connector_step: f64,
    /// Largest step advised, in the signal's unit, and whether the step is small enough.
    pub advised: (f64, bool),
}

impl OutputFigures {
    /// Of an output of a rig.
    pub fn new(rig: &Rig, output: &Output) -> OutputFigures {
        let line = output.code_to_signal(&rig.converter);
        let (low, high) = rig.converter.codes();
        let ends = (line.of(low as f64), line.of(high as f64));
        let step = line.slope.abs();
        let connector = output.code_to_connector(&rig.converter).slope.abs();
        let (micro, most) = match output.signal {
            OutputSignal::Electrode(_) => (1000.0, STEP_UV / 1000.0),
            OutputSignal::Bridge { .. } => (1000.0, STEP_MMHG),
            OutputSignal::Resistor { .. } => (1.0, IMPEDANCE_NOISE_OHM),
        };
        OutputFigures {
            step,
            reach: (ends.0.min(ends.1), ends.0.max(ends.1)),
            connector_step: connector * micro,
            advised: (most, step <= most),
        }
    }

    /// Whether an electrode has the range that a monitor must reproduce; `true` for anything else, the reference included.
    pub fn reaches(&self, signal: &OutputSignal) -> bool {
        !matches!(signal, OutputSignal::Electrode(EcgConnector::Active(_)))
            || (self.reach.0 <= -REACH_MV && self.reach.1 >= REACH_MV)
    }
}

/// Gain of holding each sample for a frame: `sin(pi f / rate) / (pi f / rate)`.
pub fn hold_gain(frequency_hz: f64, rate_hz: f64) -> f64 {
    let x = PI * frequency_hz / rate_hz;
    if x == 0.0 { 1.0 } else { (x.sin() / x).abs() }
}

impl LowPassFilter {
    /// Gain of the filter at a frequency.
    pub fn gain(&self, frequency_hz: f64) -> f64 {
        (1.0 + (frequency_hz / self.corner_hz).powi(2 * self.order as i32)).sqrt().recip()
    }
}

/// A gain in dB.
pub fn decibel(gain: f64) -> f64 {
    20.0 * gain.log10()
}

/// A sine and its first image at a frame rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sine {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Gain of hold and filter together.
    pub gain: f64,
    /// Frequency of the first image, Hz.
    pub image_hz: f64,
    /// Gain of hold and filter at the image.
    pub image_gain: f64,
}

impl Sine {
    /// At a frame rate, behind the rig's filter.
    pub fn new(frequency_hz: f64, rate_hz: f64, filter: Option<LowPassFilter>) -> Sine {
        let image_hz = rate_hz - frequency_hz;
        let gain = |hz| hold_gain(hz, rate_hz) * filter.map_or(1.0, |filter| filter.gain(hz));
        Sine { frequency_hz, gain: gain(frequency_hz), image_hz, image_gain: gain(image_hz) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn droop_of_the_hold() {
        // sin(0.15 pi) / (0.15 pi) = 0.963 = -0.32 dB: 150 Hz at 1000 frames a second.
        let gain = hold_gain(150.0, 1000.0);
        assert!((gain - 0.9634).abs() < 1e-4 && (decibel(gain) + 0.324).abs() < 1e-3, "{gain}");
        assert_eq!(hold_gain(0.0, 1000.0), 1.0);
        assert!(hold_gain(1000.0, 1000.0) < 1e-12, "a zero at the frame rate");
    }

    #[test]
    fn images_behind_the_filter() {
        let filter = LowPassFilter { corner_hz: 300.0, order: 3 };
        assert!((decibel(filter.gain(300.0)) + 3.0103).abs() < 1e-4);
        let sine = Sine::new(150.0, 1000.0, Some(filter));
        assert_eq!(sine.image_hz, 850.0);
        // Hold sin(0.85 pi)/(0.85 pi) = 0.170, filter (850/300)^3 = 22.7: 0.00747.
        assert!((sine.image_gain - 0.00747).abs() < 2e-5, "{}", sine.image_gain);
    }

    #[test]
    fn steps_are_judged_by_a_monitors_noise() {
        // 16 bits over +/-10 mV: 0.31 uV; 12 bits: 4.9 uV.
        let judge = |bits: u32| {
            let text = format!(
                r#"{{"version": 1, "converter": {{"bits": {bits}, "low_v": -2.5, "high_v": 2.5, "coding": "offset-binary"}},
                  "outputs": [{{"electrode": "RA", "attenuation": 250}}]}}"#
            );
            let rig = crate::read::parse(text.as_bytes(), "r").unwrap();
            let figures = OutputFigures::new(&rig, &rig.outputs[0]);
            (figures.connector_step, figures.advised.1, figures.reaches(&rig.outputs[0].signal))
        };
        let (fine, small, reaches) = judge(16);
        assert!((fine - 0.305).abs() < 1e-3 && small && reaches);
        let (coarse, small, _) = judge(12);
        assert!((coarse - 4.88).abs() < 1e-2 && !small);
    }
}
