//! The normal distribution: probability below a value, and its inverse.
//!
//! Elementary functions come from `libm`, whose results do not depend on the system.
// The coefficients stand as they are published.
#![allow(clippy::excessive_precision)]

/// Probability that a standard normal variable is below `z`.
pub fn probability(z: f64) -> f64 {
    0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}

/// The value below which a standard normal variable is with probability `p`; infinite at 0 and 1.
///
/// Algorithm AS 241 (PPND16) of Wichura, Applied Statistics 37 (1988) 477-484; relative error about 1e-16. Coefficients from
/// memory of the paper, checked against an independent implementation in the tests of conformance.
pub fn quantile(p: f64) -> f64 {
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180625 - q * q;
        return q * ratio(r, &CENTRE);
    }
    let tail = if q < 0.0 { p } else { 1.0 - p };
    if tail <= 0.0 {
        return if q < 0.0 { f64::NEG_INFINITY } else { f64::INFINITY };
    }
    let r = libm::sqrt(-libm::log(tail));
    let z = if r <= 5.0 { ratio(r - 1.6, &MIDDLE) } else { ratio(r - 5.0, &FAR) };
    if q < 0.0 { -z } else { z }
}

/// Coefficients of numerator and denominator, from the constant up.
type Ratio = [[f64; 8]; 2];

fn ratio(r: f64, [numerator, denominator]: &Ratio) -> f64 {
    let value = |coefficients: &[f64; 8]| coefficients.iter().rev().fold(0.0, |sum, c| sum * r + c);
    value(numerator) / value(denominator)
}

const CENTRE: Ratio = [
    [
        3.3871328727963666080,
        1.3314166789178437745e2,
        1.9715909503065514427e3,
        1.3731693765509461125e4,
        4.5921953931549871457e4,
        6.7265770927008700853e4,
        3.3430575583588128105e4,
        2.5090809287301226727e3,
    ],
    [
        1.0,
        4.2313330701600911252e1,
        6.8718700749205790830e2,
        5.3941960214247511077e3,
        2.1213794301586595867e4,
        3.9307895800092710610e4,
        2.8729085735721942674e4,
        5.2264952788528545610e3,
    ],
];

const MIDDLE: Ratio = [
    [
        1.42343711074968357734,
        4.63033784615654529590,
        5.76949722146069140550,
        3.64784832476320460504,
        1.27045825245236838258,
        2.41780725177450611770e-1,
        2.27238449892691845833e-2,
        7.74545014278341407640e-4,
    ],
    [
        1.0,
        2.05319162663775882187,
        1.67638483018380384940,
        6.89767334985100004550e-1,
        1.48103976427480074590e-1,
        1.51986665636164571966e-2,
        5.47593808499534494600e-4,
        1.05075007164441684324e-9,
    ],
];

const FAR: Ratio = [
    [
        6.65790464350110377720,
        5.46378491116411436990,
        1.78482653991729133580,
        2.96560571828504891230e-1,
        2.65321895265761230930e-2,
        1.24266094738807843860e-3,
        2.71155556874348757815e-5,
        2.01033439929228813265e-7,
    ],
    [
        1.0,
        5.99832206555887937690e-1,
        1.36929880922735805310e-1,
        1.48753612908506148525e-2,
        7.86869131145613259100e-4,
        1.84631831751005468180e-5,
        1.42151175831644588870e-7,
        2.04426310338993978564e-15,
    ],
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Handbook values of the standard normal distribution (Abramowitz and Stegun, table 26.1 and 26.5, from memory).
    #[test]
    fn handbook_values() {
        for (p, z) in [(0.5, 0.0), (0.975, 1.959963984540054), (0.9995, 3.290526731491926), (1e-9, -5.997807015007687)]
        {
            assert!((quantile(p) - z).abs() < 1e-12, "{p}: {}", quantile(p));
        }
        assert!((probability(1.0) - 0.841344746068542949).abs() < 1e-15);
        assert_eq!((quantile(0.0), quantile(1.0)), (f64::NEG_INFINITY, f64::INFINITY));
    }

    #[test]
    fn one_is_the_inverse_of_the_other() {
        for step in 1..2000 {
            let z = f64::from(step - 1000) * 0.006;
            let again = quantile(probability(z));
            // In the upper tail the probability itself has few digits left.
            let within = if z < 2.0 { 1e-12 } else { 1e-6 };
            assert!((again - z).abs() < within * z.abs().max(1.0), "{z}: {again}");
        }
    }
}
