//! Textbook statistics of short series, in `f64`.

/// Mean of a series.
pub fn mean(series: &[f64]) -> f64 {
    series.iter().sum::<f64>() / series.len() as f64
}

/// Standard deviation of a series.
pub fn deviation(series: &[f64]) -> f64 {
    let mean = mean(series);
    (series.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / series.len() as f64).sqrt()
}

/// Autocorrelation at a lag, -1 to 1.
pub fn autocorrelation(series: &[f64], lag: usize) -> f64 {
    let mean = mean(series);
    let of = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| (x - mean) * (y - mean)).sum::<f64>();
    of(&series[..series.len() - lag], &series[lag..]) / of(series, series)
}

/// Strongest frequency of a signal between two, Hz, by the definition of the Fourier transform under a Hann window.
pub fn dominant_hz(signal: &[f64], frames_per_s: f64, from_hz: f64, to_hz: f64) -> f64 {
    let turn = std::f64::consts::TAU;
    let (mean, n) = (mean(signal), signal.len() as f64);
    let step = 0.25 * frames_per_s / n;
    let power = |hz: f64| {
        let (re, im) = signal.iter().enumerate().fold((0.0, 0.0), |(re, im), (i, x)| {
            let i = i as f64;
            let (weighted, phase) = ((x - mean) * (0.5 - 0.5 * (turn * i / n).cos()), turn * hz * i / frames_per_s);
            (re + weighted * phase.cos(), im + weighted * phase.sin())
        });
        re * re + im * im
    };
    let count = ((to_hz - from_hz) / step) as usize;
    let lines = (0..=count).map(|i| from_hz + i as f64 * step);
    lines.map(|hz| (hz, power(hz))).max_by(|a, b| a.1.total_cmp(&b.1)).map_or(0.0, |(hz, _)| hz)
}
