//! Fibrillation: frequency and size as set, and a waveform that is no sine.

use pulsewright_core::internal::ecg::Fibrillation;
use pulsewright_core::internal::noise::Noise;
use pulsewright_core::time::{Instant, Span};
use pulsewright_tests::drawn::Lead::{self, I, II, V1, V6};
use pulsewright_tests::drawn::lead_of;

const FRAMES_PER_S: usize = 100;
const SECONDS: usize = 60;

/// A lead of the waves, once they have swelled, mV.
fn lead(waves: &Fibrillation, lead: Lead) -> Vec<f64> {
    (FRAMES_PER_S..FRAMES_PER_S * (SECONDS + 1))
        .map(|i| Instant::ZERO.plus(Span::from_secs(i as f32 / FRAMES_PER_S as f32)))
        .map(|now| {
            let [mut x, mut y, mut z] = [[0.0]; 3];
            waves.add_to(&[now], [&mut x, &mut y, &mut z]);
            lead_of([x, y, z].map(|[mv]| f64::from(mv)), lead)
        })
        .collect()
}

/// Power at frequencies 0.05 Hz apart up to 20 Hz, by the definition of the Fourier transform under a Hann window.
fn spectrum(samples: &[f64]) -> Vec<(f64, f64)> {
    let turn = std::f64::consts::TAU;
    let n = samples.len() as f64;
    let windowed: Vec<f64> =
        samples.iter().enumerate().map(|(i, x)| x * (0.5 - 0.5 * (turn * i as f64 / n).cos())).collect();
    (20..400)
        .map(|step| f64::from(step) * 0.05)
        .map(|hz| {
            let (re, im) = windowed.iter().enumerate().fold((0.0, 0.0), |(re, im), (i, x)| {
                let phase = turn * hz * i as f64 / FRAMES_PER_S as f64;
                (re + x * phase.cos(), im + x * phase.sin())
            });
            (hz, re * re + im * im)
        })
        .collect()
}

/// Share of the power within this distance of a frequency.
fn share_near(spectrum: &[(f64, f64)], hz: f64, within_hz: f64) -> f64 {
    let all: f64 = spectrum.iter().map(|(_, power)| power).sum();
    spectrum.iter().filter(|(at, _)| (at - hz).abs() <= within_hz).map(|(_, power)| power).sum::<f64>() / all
}

/// Dominant frequency, Hz: where the power, smoothed by a triangle of a hertz, is largest.
fn dominant(spectrum: &[(f64, f64)]) -> f64 {
    let smooth =
        |hz: f64| -> f64 { spectrum.iter().map(|(at, power)| power * (1.0 - (at - hz).abs() / 0.5).max(0.0)).sum() };
    spectrum.iter().map(|(hz, _)| *hz).max_by(|a, b| smooth(*a).total_cmp(&smooth(*b))).expect("a spectrum")
}

/// Median peak to peak of stretches of half a second, and the smallest and largest, mV.
fn peak_to_peak(samples: &[f64]) -> (f64, f64, f64) {
    let mut spans: Vec<f64> = samples
        .chunks(FRAMES_PER_S / 2)
        .map(|chunk| chunk.iter().fold((f64::MAX, f64::MIN), |(low, high), x| (low.min(*x), high.max(*x))))
        .map(|(low, high)| high - low)
        .collect();
    spans.sort_by(f64::total_cmp);
    (spans[spans.len() / 2], spans[0], spans[spans.len() - 1])
}

#[test]
fn ventricular_fibrillation_has_the_frequency_and_size_set() {
    for seed in 1..=6 {
        for (hz, mv) in [(4.8, 1.0), (5.5, 0.6), (4.6, 0.12)] {
            let waves = Fibrillation::ventricular(Instant::ZERO, hz, mv, &Noise::new(seed));
            let samples = lead(&waves, II);
            let spectrum = spectrum(&samples);
            let found = dominant(&spectrum);
            // Dominant frequency 4 to 6 Hz: Clayton 1995 (mean 4.8 Hz); here also as set.
            assert!((found - f64::from(hz)).abs() < 0.6, "seed {seed}: {found:.2} of {hz} Hz");
            let (median, least, most) = peak_to_peak(&samples);
            assert!((median / f64::from(mv) - 1.0).abs() < 0.25, "seed {seed}: {median:.2} of {mv} mV");
            assert!(most > 1.3 * median && least < 0.7 * median, "seed {seed}: uneven, {least:.2} to {most:.2} mV");
        }
    }
}

#[test]
fn ventricular_fibrillation_is_no_sine() {
    for seed in 1..=6 {
        let waves = Fibrillation::ventricular(Instant::ZERO, 4.8, 1.0, &Noise::new(seed));
        for chosen in [I, II, V1] {
            let spectrum = spectrum(&lead(&waves, chosen));
            let near = share_near(&spectrum, dominant(&spectrum), 0.75);
            assert!(near < 0.8, "seed {seed} {chosen:?}: {near:.2} of the power about the dominant frequency");
            assert!(share_near(&spectrum, 10.0, 4.0) < 0.25, "seed {seed} {chosen:?}: slow waves, no noise");
        }
    }
}

#[test]
fn atrial_fibrillatory_waves_are_largest_in_v1() {
    for seed in 1..=6 {
        for (hz, mv) in [(6.0, 0.15), (7.5, 0.05)] {
            let waves = Fibrillation::atrial(Instant::ZERO, hz, mv, &Noise::new(seed));
            let v1 = lead(&waves, V1);
            let found = dominant(&spectrum(&v1));
            // 4 to 9 Hz and 0.05 to 0.2 mV in V1: from memory; here also as set.
            assert!((found - f64::from(hz)).abs() < 0.8, "seed {seed}: {found:.2} of {hz} Hz");
            let (median, _, _) = peak_to_peak(&v1);
            assert!((0.7..2.6).contains(&(median / f64::from(mv))), "seed {seed}: {median:.3} mV for a peak of {mv}");
            for other in [I, V6] {
                assert!(peak_to_peak(&lead(&waves, other)).0 < 0.8 * median, "seed {seed}: V1 against {other:?}");
            }
        }
    }
}

#[test]
fn ventricular_flutter_is_nearly_a_sine() {
    let waves = Fibrillation::flutter(Instant::ZERO, 4.6, 1.8, &Noise::new(3));
    let spectrum = spectrum(&lead(&waves, II));
    assert!((dominant(&spectrum) - 4.6).abs() < 0.1);
    assert!(share_near(&spectrum, 4.6, 0.3) > 0.85);
}
