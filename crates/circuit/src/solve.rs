//! Voltages of a linear circuit at one frequency, by modified nodal analysis.

use crate::netlist::{Netlist, Part, PartKind};
use nalgebra::{Complex, DMatrix, DVector};
use std::f64::consts::TAU;

/// The equations have no single solution: a node hangs free, or sources contradict each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the circuit has no single solution: a node hangs free or sources are short-circuited")]
pub struct Unsolvable;

/// Voltages and currents of a circuit.
#[derive(Clone, Debug)]
pub struct Solution {
    /// Voltages of all nodes but the common one, then the currents through sources and amplifiers.
    values: DVector<Complex<f64>>,
    nodes: usize,
}

impl Solution {
    /// Solves `netlist` at `hz`; `drive` gives the volts of each source (at 0 Hz usually its own).
    ///
    /// # Errors
    /// [`Unsolvable`] when there is no single solution.
    pub fn new(netlist: &Netlist, hz: f64, drive: impl Fn(&Part) -> f64) -> Result<Solution, Unsolvable> {
        let nodes = netlist.names().len() - 1;
        let branches = netlist.parts.iter().filter(|part| has_branch(part)).count();
        let size = nodes + branches;
        let mut matrix = DMatrix::<Complex<f64>>::zeros(size, size);
        let mut right = DVector::<Complex<f64>>::zeros(size);
        let mut branch = nodes;
        // The common node has no row.
        let row = |pin: usize| pin.checked_sub(1);
        for part in &netlist.parts {
            let admittance = match part.kind {
                PartKind::Resistor(ohm) => Complex::new(ohm.recip(), 0.0),
                PartKind::Capacitor(farad) => Complex::new(0.0, TAU * hz * farad),
                PartKind::Source(_) | PartKind::Amplifier { .. } => {
                    for (pin, sign) in part.pins.into_iter().zip([1.0, -1.0]) {
                        if let Some(node) = row(pin) {
                            matrix[(node, branch)] += sign;
                            matrix[(branch, node)] += sign;
                        }
                    }
                    if let PartKind::Amplifier { gain, control } = part.kind {
                        for (pin, sign) in control.into_iter().zip([1.0, -1.0]) {
                            if let Some(node) = row(pin) {
                                matrix[(branch, node)] -= sign * gain;
                            }
                        }
                    } else {
                        right[branch] += drive(part);
                    }
                    branch += 1;
                    continue;
                }
            };
            let [a, b] = part.pins.map(row);
            for node in [a, b].into_iter().flatten() {
                matrix[(node, node)] += admittance;
            }
            if let (Some(a), Some(b)) = (a, b) {
                matrix[(a, b)] -= admittance;
                matrix[(b, a)] -= admittance;
            }
        }
        let values = matrix.lu().solve(&right).ok_or(Unsolvable)?;
        if values.iter().any(|value| !value.re.is_finite() || !value.im.is_finite()) {
            return Err(Unsolvable);
        }
        Ok(Solution { values, nodes })
    }

    /// At 0 Hz with the sources' own volts.
    ///
    /// # Errors
    /// [`Unsolvable`] when there is no single solution.
    pub fn at_rest(netlist: &Netlist) -> Result<Solution, Unsolvable> {
        Solution::new(netlist, 0.0, Part::value)
    }

    /// At `hz` with 1 V from the source of this name and 0 V from the others.
    ///
    /// # Errors
    /// [`Unsolvable`] when there is no single solution.
    pub fn of_one(netlist: &Netlist, hz: f64, name: &str) -> Result<Solution, Unsolvable> {
        Solution::new(netlist, hz, |part| if part.name == name { 1.0 } else { 0.0 })
    }

    /// Volts between two nodes, by index.
    pub fn between(&self, [a, b]: [usize; 2]) -> Complex<f64> {
        let at = |node: usize| node.checked_sub(1).and_then(|row| self.values.get(row)).copied().unwrap_or_default();
        at(a) - at(b)
    }

    /// Amperes that the source or amplifier of this name drives out of its positive pin.
    pub fn current(&self, netlist: &Netlist, name: &str) -> Complex<f64> {
        let index = netlist.parts.iter().filter(|part| has_branch(part)).position(|part| part.name == name);
        index.and_then(|index| self.values.get(self.nodes + index)).map_or_else(Complex::default, |current| -current)
    }
}

/// Impedance that the source of this name finds between its pins, ohm.
///
/// # Errors
/// [`Unsolvable`] when there is no single solution.
pub fn impedance(netlist: &Netlist, source: &str, hz: f64) -> Result<Complex<f64>, Unsolvable> {
    let solution = Solution::of_one(netlist, hz, source)?;
    Ok(solution.current(netlist, source).inv())
}

fn has_branch(part: &Part) -> bool {
    matches!(part.kind, PartKind::Source(_) | PartKind::Amplifier { .. })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::netlist::{COMMON, Class};

    fn divider() -> Netlist {
        let mut netlist = Netlist::new();
        netlist.source("V1", ["in", COMMON], 2.0, 0.0, Class::Outside);
        netlist.resistor("R1", ["in", "out"], 3000.0, 0.0, Class::Usual);
        netlist.resistor("R2", ["out", COMMON], 1000.0, 0.0, Class::Usual);
        netlist
    }

    #[test]
    fn a_divider_by_hand() {
        let netlist = divider();
        let found = Solution::at_rest(&netlist).unwrap();
        assert!((found.between([netlist.find("out").unwrap(), 0]).re - 0.5).abs() < 1e-15);
        assert!((found.current(&netlist, "V1").re - 0.0005).abs() < 1e-15);
    }

    #[test]
    fn a_low_pass_by_hand() {
        // 750 ohm and 1 uF: at the corner 1/sqrt(2) of a quarter, 45 degrees late.
        let mut netlist = divider();
        netlist.capacitor("C1", ["out", COMMON], 1e-6, 0.0, Class::Capacitor);
        let corner = 1.0 / (TAU * 750.0 * 1e-6);
        let out = Solution::of_one(&netlist, corner, "V1").unwrap().between([netlist.find("out").unwrap(), 0]);
        assert!((out.norm() - 0.25 / 2.0_f64.sqrt()).abs() < 1e-12 && (out.arg() + TAU / 8.0).abs() < 1e-12);
    }

    #[test]
    fn an_amplifier_by_hand_and_a_free_node() {
        let mut netlist = divider();
        netlist.amplifier("E1", ["x", COMMON], -3.0, ["out", COMMON], Class::Amplifier);
        netlist.resistor("R3", ["x", COMMON], 1000.0, 0.0, Class::Usual);
        let found = Solution::at_rest(&netlist).unwrap();
        assert!((found.between([netlist.find("x").unwrap(), 0]).re + 1.5).abs() < 1e-15);
        netlist.node("free");
        assert_eq!(Solution::at_rest(&netlist).unwrap_err(), Unsolvable);
    }
}
