//! The low-pass filter behind a converter: a Butterworth filter of unity-gain sections with one amplifier each.

use super::channel::PartBuilder;
use crate::netlist::{COMMON, Class};
use crate::rows::PreferredValues;
use pulsewright_rig::description::LowPassFilter;
use std::f64::consts::{PI, TAU};

/// Resistance that the capacitors are chosen for, ohm.
const ABOUT_OHM: f64 = 22_000.0;

/// Adds the filter from the node `input`; gives the node of its output.
pub(super) fn chain(parts: &mut PartBuilder, label: &str, input: &str, filter: Option<LowPassFilter>) -> String {
    let Some(LowPassFilter { corner_hz, order }) = filter else {
        return input.to_owned();
    };
    let omega = TAU * corner_hz;
    let mut from = input.to_owned();
    // Numbers from 2: a section has two.
    let mut number = 2;
    if order % 2 == 1 {
        let farad = PreferredValues::E24.nearest(1.0 / (omega * ABOUT_OHM));
        let (behind, output) = (format!("{label}_a"), format!("{label}_f"));
        parts.usual(number, [&from, &behind], PreferredValues::E96.nearest(1.0 / (omega * farad)));
        parts.capacitor(number, [&behind, COMMON], farad);
        parts.buffer(number, &output, 1.0, &behind);
        from = output;
        number += 1;
    }
    for section in 0..order / 2 {
        // Poles of a Butterworth filter lie on a circle: 1/Q = 2 cos of the angle from the negative real axis.
        let odd = f64::from(order % 2);
        let angle = PI * (f64::from(2 * section + 1) + odd) / f64::from(2 * order);
        let quality = 1.0 / (2.0 * angle.cos());
        let small = PreferredValues::E24.nearest(1.0 / (omega * ABOUT_OHM * 2.0 * quality));
        // 4 Q² is the least ratio that real resistors allow.
        let least = 4.0 * quality * quality * small;
        let large = PreferredValues::E24.between(1.02 * least, 2.0 * least).first().copied().unwrap_or(2.0 * least);
        let sum = 1.0 / (quality * omega * small);
        let product = 1.0 / (omega * omega * small * large);
        let root = (sum * sum / 4.0 - product).max(0.0).sqrt();
        let ohm = [sum / 2.0 + root, sum / 2.0 - root].map(|ohm| PreferredValues::E96.nearest(ohm));
        let [middle, behind, output] = ["m", "n", "o"].map(|end| format!("{label}_{end}{section}"));
        parts.usual(number, [&from, &middle], ohm[0]);
        parts.usual(number + 1, [&middle, &behind], ohm[1]);
        parts.capacitor(number, [&middle, &output], large);
        parts.capacitor(number + 1, [&behind, COMMON], small);
        let name = parts.name('E', number);
        parts.netlist.amplifier(name, [&output, COMMON], 1.0, [&behind, COMMON], Class::Amplifier);
        from = output;
        number += 2;
    }
    from
}
