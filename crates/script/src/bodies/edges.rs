//! Intervals as the waves of a template show them, to be compared with those that a document states: the truth about a beat states the
//! latter.

use pulsewright_core::internal::ecg::Wave;

const STEP_MS: f64 = 0.25;
/// Where an edge is seen, share of the peak: as docs/signals.md defines QRS onset and end.
const SEEN: f64 = 0.05;

/// Length of the heart vector of waves, mV, at a time.
fn length_mv(waves: &[Wave], t_ms: f64) -> f64 {
    let mut sum = [0.0; 3];
    for wave in waves {
        let [at, rise, hold, fall] = [wave.at_ms, wave.rise_ms, wave.hold_ms, wave.fall_ms].map(f64::from);
        let t = t_ms - at - rise;
        let x = (t / rise).min(0.0) + ((t - hold) / fall).max(0.0);
        let height = (1.0 - (x * x).min(1.0)).powi(3);
        for (sum, mv) in sum.iter_mut().zip(wave.mv) {
            *sum += f64::from(mv) * height;
        }
    }
    sum.iter().map(|axis| axis * axis).sum::<f64>().sqrt()
}

/// Times, ms, and lengths, mV, from the first wave's start to the last one's end.
fn drawn(waves: &[Wave]) -> Vec<(f64, f64)> {
    let start = waves.iter().map(|wave| f64::from(wave.at_ms)).fold(f64::INFINITY, f64::min);
    let length = |wave: &Wave| f64::from(wave.at_ms) + f64::from(wave.rise_ms + wave.hold_ms + wave.fall_ms);
    let end = waves.iter().map(length).fold(f64::NEG_INFINITY, f64::max);
    let steps = ((end - start).clamp(0.0, 5000.0) / STEP_MS) as usize;
    (0..=steps).map(|i| start + i as f64 * STEP_MS).map(|t| (t, length_mv(waves, t))).collect()
}

/// Duration of the waves of a QRS as it is seen, ms; `None` of waves without a size.
pub fn qrs_ms(waves: &[Wave]) -> Option<f64> {
    let drawn = drawn(waves);
    let most = drawn.iter().map(|(_, mv)| *mv).fold(0.0, f64::max);
    let mut seen = drawn.iter().filter(|(_, mv)| most > 0.0 && *mv > SEEN * most).map(|(t, _)| *t);
    let first = seen.next()?;
    Some(seen.next_back().unwrap_or(first) - first)
}

/// Where the T wave ends as it is seen, ms after the end of the QRS: where the steepest tangent of its falling flank meets the base
/// line. `None` of waves without a size.
pub fn t_end_ms(waves: &[Wave; 3]) -> Option<f64> {
    let drawn = drawn(waves);
    let (top, peak) = drawn.iter().enumerate().max_by(|a, b| a.1.1.total_cmp(&b.1.1))?;
    if peak.1 <= 0.0 {
        return None;
    }
    let falls = drawn.get(top..)?.windows(2).filter_map(|pair| match pair {
        [(t, before), (_, after)] => Some((*t, *before, (after - before) / STEP_MS)),
        _ => None,
    });
    let (t, mv, slope) = falls.min_by(|a, b| a.2.total_cmp(&b.2))?;
    (slope < 0.0).then(|| t - mv / slope)
}
