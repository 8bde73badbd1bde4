//! Phase of a sweep: a frequency that grows by the same factor in equal times, in integers throughout.
//!
//! The frequency is `f0 r^(t/D)`, its phase `f0 D / ln r (r^(t/D) - 1)` turns. An hour up to 1000 Hz has some 10^6 turns; an
//! `f32` counts them to a tenth of a turn, integers of 64 bits to a millionth.

use crate::frequency::Frequency;
use crate::time::Span;

/// Bits after the point of a binary logarithm and of its multiples.
const LOG_BITS: u32 = 58;
/// More bits of the logarithm that a tick adds.
const TICK_BITS: u32 = 50;
/// Bits after the point of a power of two.
const POWER_BITS: u32 = 62;
/// ln 2 in 2^-64.
const LN_2: u64 = 0xb172_17f7_d1cf_79ac;

/// `2^(2^-k)` for k from 1 to 32, in 2^-62.
const ROOTS: [u64; 32] = [
    0x5a82_7999_fcef_3242,
    0x4c1b_f828_c6dc_54b8,
    0x45ca_e0f1_f545_eb73,
    0x42d5_61b3_e624_3d8a,
    0x4166_c34c_5615_d0ec,
    0x40b2_68f9_de01_83ba,
    0x4058_f6a7_eccc_d5b6,
    0x402c_6be9_6af2_fb58,
    0x4016_321b_6870_27a8,
    0x400b_1817_8ba3_3b14,
    0x4005_8bce_4101_47e8,
    0x4002_c5d7_bff7_1daf,
    0x4001_62e8_07ee_7e5b,
    0x4000_b173_0df6_a524,
    0x4000_58b9_497b_8152,
    0x4000_2c5c_955d_d701,
    0x4000_162e_46d6_f26c,
    0x4000_0b17_2275_7b1b,
    0x4000_058b_90fd_3e0c,
    0x4000_02c5_c86f_3f26,
    0x4000_0162_e433_c79b,
    0x4000_00b1_7218_edd0,
    0x4000_0058_b90c_3968,
    0x4000_002c_5c86_0d54,
    0x4000_0016_2e43_02d2,
    0x4000_000b_1721_8073,
    0x4000_0005_8b90_bffc,
    0x4000_0002_c5c8_5fef,
    0x4000_0001_62e4_2ff3,
    0x4000_0000_b172_17f9,
    0x4000_0000_58b9_0bfc,
    0x4000_0000_2c5c_85fe,
];

/// A sweep from one frequency to another over a length of time.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sweep {
    from: Frequency,
    /// Whether the frequency falls.
    falls: bool,
    /// Size of the logarithm that a tick adds, in 2^-108.
    per_tick: u128,
    /// `f0 D / |ln r|` is `turns` times 2 to the power `exponent`.
    turns: u64,
    exponent: i32,
}

impl Sweep {
    /// From `from_hz` to `to_hz`, both above zero, over `length`; at a constant frequency where they are equal or the length is
    /// zero.
    pub(crate) fn new(from_hz: f32, to_hz: f32, length: Span) -> Sweep {
        let (from, to) = (Frequency::hz(from_hz), Frequency::hz(to_hz));
        let growth = growth(from, to);
        let size = growth.unsigned_abs();
        let steady = Sweep { from, falls: false, per_tick: 0, turns: 0, exponent: 0 };
        let (mantissa, exponent) = from.parts();
        let product = u128::from(mantissa) * u128::from(length.ticks());
        if size == 0 || product == 0 {
            return steady;
        }
        // |ln r| in 64 bits, and f0 D in 127, so that the quotient has 63 or 64.
        let size_up = size.leading_zeros();
        let logarithm = ((u128::from(size << size_up) * u128::from(LN_2)) >> 64) as u64;
        let logarithm_up = logarithm.leading_zeros();
        let product_up = product.leading_zeros() as i32 - 1;
        let quotient = (product << product_up).checked_div(u128::from(logarithm << logarithm_up)).unwrap_or(0);
        // The quotient is below 2^64: a number below 2^127 over one of at least 2^63.
        let turns = quotient as u64;
        // The product is in ticks of 2^-32 s, the logarithm in 2^-58.
        let exponent = exponent - 32 - product_up + LOG_BITS as i32 + size_up as i32 + logarithm_up as i32;
        let per_tick = (u128::from(size) << TICK_BITS).checked_div(u128::from(length.ticks())).unwrap_or(0);
        Sweep { from, falls: growth < 0, per_tick, turns, exponent }
    }

    /// Phase at `since` from the start, in 2^-32 turns.
    pub(crate) fn phase(&self, since: Span) -> u32 {
        if self.turns == 0 {
            return self.from.phase_after(since);
        }
        let logarithm = (u128::from(since.ticks()).wrapping_mul(self.per_tick) >> TICK_BITS) as i64;
        let logarithm = if self.falls { logarithm.wrapping_neg() } else { logarithm };
        let change = power(logarithm).abs_diff(1 << POWER_BITS);
        // Down to 64 bits, so that the product has at most 128.
        let down = 64_u32.saturating_sub(change.leading_zeros());
        let product = (change >> down) * u128::from(self.turns);
        // The product is in units of 2^(down - 62 + exponent) turns; wanted are units of 2^-32.
        let up = down as i32 - POWER_BITS as i32 + self.exponent + 32;
        let turns = match up {
            0.. => product.checked_shl(up as u32),
            _ => product.checked_shr(up.unsigned_abs()),
        };
        turns.unwrap_or(0) as u32
    }
}

/// Binary logarithm of `to` over `from`, in 2^-58; zero where either is zero.
fn growth(from: Frequency, to: Frequency) -> i64 {
    let ((below, below_exponent), (above, above_exponent)) = (from.parts(), to.parts());
    if below == 0 || above == 0 {
        return 0;
    }
    let (below, below_up) = (below << below.leading_zeros(), below.leading_zeros() as i32);
    let (above, above_up) = (above << above.leading_zeros(), above.leading_zeros() as i32);
    let mut whole = i64::from(above_exponent - above_up - below_exponent + below_up);
    // The quotient of the mantissas, from 1 to 2, in 2^-62.
    let mut quotient = (u128::from(above) << POWER_BITS).checked_div(u128::from(below)).unwrap_or(0);
    if quotient < 1 << POWER_BITS {
        quotient <<= 1;
        whole -= 1;
    }
    // Squared, it passes 2 for each bit of its logarithm.
    let mut fraction = 0_i64;
    for _ in 0..LOG_BITS {
        quotient = (quotient * quotient) >> POWER_BITS;
        fraction <<= 1;
        if quotient >= 1 << (POWER_BITS + 1) {
            quotient >>= 1;
            fraction |= 1;
        }
    }
    (whole << LOG_BITS) + fraction
}

/// Two to a power that is in 2^-58; the result is in 2^-62, and zero or held where it would not fit.
fn power(logarithm: i64) -> u128 {
    let whole = (logarithm >> LOG_BITS) as i32;
    let fraction = (logarithm as u64) & ((1 << LOG_BITS) - 1);
    let mut power = 1_u128 << POWER_BITS;
    for (bit, root) in (0..LOG_BITS).rev().zip(ROOTS) {
        if fraction >> bit & 1 != 0 {
            power = (power * u128::from(root)) >> POWER_BITS;
        }
    }
    // The rest is below 2^-32, where 2^x is 1 + x ln 2.
    let rest = u128::from(fraction & ((1 << (LOG_BITS - 32)) - 1));
    power += (power * ((rest * u128::from(LN_2)) >> LOG_BITS)) >> 64;
    match whole {
        0..=60 => power << whole,
        61.. => u128::MAX,
        _ => power.checked_shr(whole.unsigned_abs()).unwrap_or(0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Distance of two phases, in turns.
    fn apart(phase: u32, turns: f64) -> f64 {
        let expected = (turns - turns.floor()) * 4_294_967_296.0;
        f64::from((phase.wrapping_sub(expected as u64 as u32)) as i32).abs() / 4_294_967_296.0
    }

    #[test]
    fn a_sweep_has_the_phase_of_its_formula() {
        for (from, to, length_s) in [
            (0.05_f32, 150.0_f32, 120.0_f64),
            (150.0, 0.05, 120.0),
            (0.01, 1000.0, 3600.0),
            (1000.0, 999.0, 3600.0),
            (1.0, 1.000_001, 10.0),
            (3.0, 40.0, 0.5),
        ] {
            let sweep = Sweep::new(from, to, Span::from_ticks((length_s * 4_294_967_296.0) as u64));
            let (f0, growth) = (f64::from(from), (f64::from(to) / f64::from(from)).ln());
            for i in 0..=1000 {
                let t = length_s * f64::from(i) / 1000.0;
                let since = Span::from_ticks((t * 4_294_967_296.0) as u64);
                let turns = f0 * length_s / growth * (growth * since.as_secs_f64() / length_s).exp_m1();
                let off = apart(sweep.phase(since), turns);
                assert!(off < 2e-6, "{from} to {to} Hz at {t} s: {off} turns");
            }
        }
    }

    #[test]
    fn equal_frequencies_make_a_sine() {
        let sweep = Sweep::new(7.0, 7.0, Span::secs(10));
        for ticks in [0, 1, 1 << 31, 10 << 32] {
            let since = Span::from_ticks(ticks);
            assert_eq!(sweep.phase(since), Frequency::hz(7.0).phase_after(since));
        }
    }
}
