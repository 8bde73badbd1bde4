//! The core's elementary functions against `f64`, over their whole domains.
//!
//! Every `f32` (or every phase) was tried with the text of `math.rs` whose digest stands here. Release builds try them all again
//! when that text is another one, or with `PULSEWRIGHT_NUMERICS=all`; otherwise they try every 61st, debug builds every 509th.
//! The reference is the platform's `f64` function, whose own error (below 1e-15) does not matter here.

use pulsewright_core::internal::math::{exp, ln, pow, sin_turn, sqrt};
use pulsewright_core::time::Span;
use std::sync::LazyLock;
use std::{env, thread};

/// FNV-1a digest of the text of `math.rs` with which every number was tried.
const TRIED: u64 = 0x5687_594f_599c_4182;

const TEXT: &str = include_str!("../../crates/core/src/math.rs");

/// One bit pattern of this many is tried.
static STRIDE: LazyLock<u64> = LazyLock::new(|| {
    let digest = digest(TEXT);
    let all = digest != TRIED || env::var("PULSEWRIGHT_NUMERICS").is_ok_and(|value| value == "all");
    match (cfg!(debug_assertions), all) {
        (true, _) => 509,
        (false, true) => {
            println!("every number, with the digest {digest:#018x}");
            1
        }
        (false, false) => 61,
    }
});

fn digest(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |digest, byte| (digest ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

/// Largest error of `error` over the bit patterns from `first` to `last`, worked on in two halves.
fn worst(first: u32, last: u32, error: impl Fn(u32) -> f64 + Sync) -> f64 {
    let middle = u64::from(first) + u64::from(last - first) / 2;
    let half = |from: u64, to: u64| {
        let mut worst = 0.0f64;
        let mut bits = from;
        while bits <= to {
            let error = error(bits as u32);
            // A NaN must not hide behind a comparison that is false.
            assert!(!error.is_nan(), "no number at bits {bits:#x}");
            worst = worst.max(error);
            bits += *STRIDE;
        }
        worst
    };
    thread::scope(|scope| {
        let lower = scope.spawn(|| half(u64::from(first), middle));
        let upper = half(middle + 1, u64::from(last));
        lower.join().expect("the other half").max(upper)
    })
}

#[test]
fn sine_of_every_phase() {
    let error = worst(0, u32::MAX, |phase| {
        let turn = f64::from(phase) / 4_294_967_296.0 * std::f64::consts::TAU;
        (f64::from(sin_turn(phase)) - turn.sin()).abs()
    });
    assert!(error <= 2.1e-7, "absolute error {error:e}");
}

#[test]
fn exponential_of_every_number() {
    let relative = |bits: u32| {
        let x = f32::from_bits(bits);
        let reference = f64::from(x).exp();
        (f64::from(exp(x)) - reference).abs() / reference
    };
    let positive = worst(0.0f32.to_bits(), 88.0f32.to_bits(), relative);
    let negative = worst((-0.0f32).to_bits(), (-87.0f32).to_bits(), relative);
    assert!(positive <= 3e-7 && negative <= 3e-7, "relative errors {positive:e} and {negative:e}");
    assert_eq!(exp(-88.0), 0.0);
    assert_eq!(exp(f32::NEG_INFINITY), 0.0);
    assert_eq!(exp(f32::INFINITY), exp(88.0));
    assert!(exp(f32::NAN).is_nan());
}

#[test]
fn logarithm_of_every_number() {
    let error = worst(f32::MIN_POSITIVE.to_bits(), f32::MAX.to_bits(), |bits| {
        let x = f32::from_bits(bits);
        let reference = f64::from(x).ln();
        let error = (f64::from(ln(x)) - reference).abs();
        // In units of the error allowed: 1e-6 or 3e-7 of the value, whichever is more.
        error / (3e-7 * reference.abs()).max(1e-6)
    });
    assert!(error <= 1.0, "{error} times the error allowed");
    assert!(ln(0.0).is_nan() && ln(-1.0).is_nan() && ln(f32::NAN).is_nan());
}

/// QT needs the cube root of intervals between 0.17 and 1.6 s.
#[test]
fn cube_root_of_every_interval() {
    let error = worst(0.17f32.to_bits(), 1.6f32.to_bits(), |bits| {
        let x = f32::from_bits(bits);
        (f64::from(pow(x, 1.0 / 3.0)) / f64::from(x).cbrt() - 1.0).abs()
    });
    assert!(error <= 1e-6, "relative error {error:e}");
}

/// Correctly rounded, so equal to the platform's.
#[test]
fn square_root_of_every_number() {
    let error = worst(0, f32::MAX.to_bits(), |bits| {
        let x = f32::from_bits(bits);
        f64::from(sqrt(x).to_bits().abs_diff(x.sqrt().to_bits()))
    });
    assert_eq!(error, 0.0, "units in the last place");
}

/// Spans become seconds by a road of their own; it must lead where the plain conversion does, ties and the last bit included.
#[test]
fn seconds_of_a_span_are_the_nearest() {
    let plain = |ticks: u64| ticks as f32 * (1.0 / 4_294_967_296.0);
    let mut x = 0x9e37_79b9_7f4a_7c15_u64;
    for _ in 0..2_000_000 / STRIDE.min(10) {
        x ^= x << 13;
        x ^= x >> 7;
        x ^= x << 17;
        let length = x % 65;
        let ticks = x.checked_shr(length as u32).unwrap_or(0);
        for ticks in [ticks, ticks & !0xff, ticks | 0x80, ticks & (u64::MAX << 39), ticks & (u64::MAX << 39) | 1] {
            assert_eq!(Span::from_ticks(ticks).as_secs().to_bits(), plain(ticks).to_bits(), "{ticks:#x}");
        }
    }
    for ticks in [0, 1, u64::MAX, 1 << 63, (1 << 25) - 1, (1 << 25) + 1, (1 << 24) + 1, 0x8000_0080_0000_0000] {
        assert_eq!(Span::from_ticks(ticks).as_secs().to_bits(), plain(ticks).to_bits(), "{ticks:#x}");
    }
}
