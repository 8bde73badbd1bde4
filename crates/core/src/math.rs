//! The only door to elementary functions: free functions on `f32` in one fixed order of operations.
//!
//! `sin`, `exp`, `ln` and functions built on them are our own, because a library's last bit may change with its version
//! and the platform's own functions differ between targets; `sqrt`, `floor` and `ceil`
//! come from `libm`, where they are exact or correctly rounded and so cannot change.
//! No fused multiply-add: Rust never contracts `a * b + c` on its own.
//! Errors stated here are checked against `f64` over every `f32` of the domain by the workspace's tests.

/// Square root, correctly rounded; NaN below zero.
pub fn sqrt(x: f32) -> f32 {
    libm::sqrtf(x)
}

/// The largest whole number not above `x`.
pub(crate) fn floor(x: f32) -> f32 {
    libm::floorf(x)
}

/// The smallest whole number not below `x`.
pub(crate) fn ceil(x: f32) -> f32 {
    libm::ceilf(x)
}

/// Sine of an integer phase, `phase / 2^32` of a turn: absolute error at most 2.1e-7 over all 2^32 phases.
///
/// An integer phase wraps exactly, so a sine of any frequency keeps its phase for years.
pub fn sin_turn(phase: u32) -> f32 {
    // Fold to a quarter turn either side of zero: sin(half - x) = sin(x). The comparison is on the two top bits.
    let signed = phase as i32;
    let folded = if (phase ^ (phase << 1)) & 0x8000_0000 != 0 { i32::MIN.wrapping_sub(signed) } else { signed };
    // In units of a quarter turn, -1 to 1.
    let x = folded as f32 * (1.0 / 1_073_741_824.0);
    let x2 = x * x;
    // sin(pi/2 x) on [-1, 1], odd, degree 9: Hastings, Approximations for Digital Computers, 1955 (from memory; the
    // error is measured, not trusted).
    let p = 0.000_151_484_19;
    let p = p * x2 - 0.004_673_765_6;
    let p = p * x2 + 0.079_689_68;
    let p = p * x2 - 0.645_963_7;
    let p = p * x2 + core::f32::consts::FRAC_PI_2;
    p * x
}

/// Cosine of an integer phase; error as [`sin_turn`].
pub(crate) fn cos_turn(phase: u32) -> f32 {
    sin_turn(phase.wrapping_add(0x4000_0000))
}

/// Phase of `cycles` turns, of which only the fraction counts; NaN gives zero.
pub(crate) fn phase_of(cycles: f32) -> u32 {
    let whole = floor(cycles);
    // The fraction is in [0, 1); the cast saturates at the top.
    ((cycles - whole) * 4_294_967_296.0) as u32
}

/// Phase of `turns` between -2 and 2; cheaper than [`phase_of`] by a floor.
pub(crate) fn small_phase(turns: f32) -> u32 {
    ((turns * 1_073_741_824.0) as i32 as u32) << 2
}

/// e^x: relative error at most 3e-7 for x in [-87, 88]; zero below, held at e^88 above; NaN stays NaN.
pub fn exp(x: f32) -> f32 {
    if x < -87.0 {
        return 0.0;
    }
    let x = if x > 88.0 { 88.0 } else { x };
    // x = n ln 2 + r with |r| <= ln 2 / 2; ln 2 in two parts, the first exact in 9 bits (Cody and Waite).
    // Rounded by way of an integer, which is cheaper than a floor, and exact: |n| is at most 127, and a NaN gives 0.
    let nearest = x * core::f32::consts::LOG2_E + 0.5;
    let towards_zero = nearest as i32;
    let exponent = if towards_zero as f32 > nearest { towards_zero - 1 } else { towards_zero };
    let n = exponent as f32;
    let r = x - n * 0.693_359_4;
    let r = r + n * 2.121_944_4e-4;
    // Polynomial as in the Cephes library's expf (Moshier; from memory, error measured).
    let p = 1.987_569_1e-4;
    let p = p * r + 1.398_199_9e-3;
    let p = p * r + 8.333_452e-3;
    let p = p * r + 4.166_579_6e-2;
    let p = p * r + 0.166_666_65;
    let p = p * r + 0.5;
    let y = (p * r * r + r) + 1.0;
    // 2^n by its bits: n is -126 to 127 here; y is NaN where x is.
    y * f32::from_bits(((exponent + 127) as u32) << 23)
}

/// Natural logarithm: absolute error at most 1e-6 or relative error 3e-7 for normal positive x; NaN at or below zero.
pub fn ln(x: f32) -> f32 {
    if x.is_nan() || x <= 0.0 {
        return f32::NAN;
    }
    let bits = x.to_bits();
    // x = m 2^e with m in [1/2, 1).
    let mut e = ((bits >> 23) as i32 - 126) as f32;
    let mut m = f32::from_bits((bits & 0x007f_ffff) | 0x3f00_0000);
    if m < core::f32::consts::FRAC_1_SQRT_2 {
        e -= 1.0;
        m = m + m - 1.0;
    } else {
        m -= 1.0;
    }
    let z = m * m;
    // Polynomial as in the Cephes library's logf (Moshier; from memory, error measured).
    let p = 7.037_683_6e-2;
    let p = p * m - 0.115_146_1;
    let p = p * m + 0.116_769_98;
    let p = p * m - 0.124_201_41;
    let p = p * m + 0.142_493_23;
    let p = p * m - 0.166_680_57;
    let p = p * m + 0.200_007_15;
    let p = p * m - 0.249_999_94;
    let p = p * m + 0.333_333_3;
    let y = m * z * p;
    let y = y + e * -2.121_944_4e-4;
    let y = y - 0.5 * z;
    m + y + e * 0.693_359_4
}

/// x^y for positive x, by logarithm; relative error about 1e-6 for |y ln x| below 10.
pub fn pow(x: f32, y: f32) -> f32 {
    exp(y * ln(x))
}

/// Larger of two; the second when the first is NaN.
pub(crate) fn max(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// Smaller of two; the second when the first is NaN.
pub(crate) fn min(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

/// `x` held between `low` and `high`; `low` when x is NaN.
pub(crate) fn clamp(x: f32, low: f32, high: f32) -> f32 {
    min(max(x, low), high)
}

/// Absolute value.
pub(crate) fn abs(x: f32) -> f32 {
    f32::from_bits(x.to_bits() & 0x7fff_ffff)
}

/// Smooth step from 0 at `x <= 0` to 1 at `x >= 1` with zero slope at both ends: x^2 (3 - 2x).
pub(crate) fn smooth_step(x: f32) -> f32 {
    let x = clamp(x, 0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}
