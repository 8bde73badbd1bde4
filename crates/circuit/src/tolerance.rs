//! The spread of a level over the tolerances of its parts.

use crate::netlist::Netlist;
use crate::stages::CircuitError;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// Relative change of a part for its sensitivity.
const NUDGE: f64 = 1e-4;

/// A part's share of a spread.
#[derive(Clone, Debug, PartialEq)]
pub struct SpreadShare {
    /// Designator.
    pub name: String,
    /// Relative change of the level for a relative change of the part.
    pub sensitivity: f64,
    /// Relative change of the level at the part's tolerance.
    pub change: f64,
}

/// How far a level may be off.
#[derive(Clone, Debug, PartialEq)]
pub struct Spread {
    /// Largest relative error with every part at the worse end of its tolerance.
    pub bound: f64,
    /// Largest relative error of the draws.
    pub worst: f64,
    /// Every part that matters, the most first.
    pub shares: Vec<SpreadShare>,
}

impl Spread {
    /// Of the level that `level` finds in a circuit, over `draws` circuits whose parts are anywhere within their tolerances.
    /// `stream` keeps the draws of several levels apart.
    ///
    /// # Errors
    /// The first error of `level`.
    pub fn new(
        netlist: &Netlist,
        level: impl Fn(&Netlist) -> Result<f64, CircuitError>,
        draws: u32,
        seed: u64,
        stream: u64,
    ) -> Result<Spread, CircuitError> {
        let nominal = level(netlist)?;
        let off = |netlist: &Netlist| level(netlist).map(|found| found / nominal - 1.0);
        let mut changed = netlist.clone();
        let mut shares = Vec::new();
        let mut signs = vec![0.0; netlist.parts.len()];
        for (index, part) in netlist.parts.iter().enumerate().filter(|(_, part)| part.tolerance > 0.0) {
            let mut at = |factor: f64| {
                changed.parts[index].set(part.value() * factor);
                off(&changed)
            };
            let sensitivity = (at(1.0 + NUDGE)? - at(1.0 - NUDGE)?) / (2.0 * NUDGE);
            changed.parts[index] = part.clone();
            signs[index] = sensitivity.signum();
            let change = sensitivity.abs() * part.tolerance;
            if change > 1e-7 {
                shares.push(SpreadShare { name: part.name.clone(), sensitivity, change });
            }
        }
        shares.sort_by(|a, b| b.change.total_cmp(&a.change));
        let scaled = |error: &mut dyn FnMut(usize) -> f64| {
            let mut scaled = netlist.clone();
            for (index, part) in scaled.parts.iter_mut().enumerate() {
                part.set(part.value() * (1.0 + part.tolerance * error(index)));
            }
            off(&scaled).map(f64::abs)
        };
        let bound = scaled(&mut |index| signs[index])?.max(scaled(&mut |index| -signs[index])?);
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(stream);
        let mut worst = 0.0_f64;
        for _ in 0..draws {
            // 53 bits: from -1 to 1, each as likely as the next.
            let mut error = |_| (generator.next_u64() >> 11) as f64 * 2.0_f64.powi(-52) - 1.0;
            worst = worst.max(scaled(&mut error)?);
        }
        Ok(Spread { bound, worst, shares })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::netlist::{COMMON, Class};
    use crate::solve::Solution;

    #[test]
    fn a_divider_by_hand() {
        // 1 : 9 of two parts of 1 %: sensitivities -0.9 and 0.9, at the ends 1.01/(1.01 + 8.91) = 0.101815 and 0.098214.
        let mut netlist = Netlist::new();
        netlist.source("V1", ["in", COMMON], 1.0, 0.0, Class::Outside);
        netlist.resistor("R1", ["in", "out"], 9000.0, 0.01, Class::Usual);
        netlist.resistor("R2", ["out", COMMON], 1000.0, 0.01, Class::Usual);
        let out = netlist.find("out").unwrap();
        let level = |netlist: &Netlist| Ok(Solution::at_rest(netlist).unwrap().between([out, 0]).re);
        let spread = Spread::new(&netlist, level, 1000, 1, 0).unwrap();
        assert!((spread.bound - 0.018_145).abs() < 1e-6, "{}", spread.bound);
        assert!((spread.shares[0].sensitivity.abs() - 0.9).abs() < 1e-6);
        // A thousand draws of two parts come near the corner, and not beyond it.
        assert!(spread.worst <= spread.bound && spread.worst > 0.8 * spread.bound, "{}", spread.worst);
        assert_eq!(spread, Spread::new(&netlist, level, 1000, 1, 0).unwrap());
        assert_ne!(spread.worst, Spread::new(&netlist, level, 1000, 2, 0).unwrap().worst);
    }
}
