//! A small beat detector to try a suite with: steep slopes above a moving threshold. Fast, and no better than it sounds.
//!
//! ```text
//! slope_detector [SIGNAL.csv] [BEATS.csv] [--lose-every N] [--late-ms MS] [--double-after-ms MS]
//! ```
//!
//! Without files it reads standard input and writes standard output. The options make it worse on purpose, to see a
//! gate turn red.

use std::fs;
use std::io::{self, Read, Write};
use std::process::ExitCode;

/// Slope is taken over this long, s: about half a QRS complex.
const SLOPE_S: f64 = 0.02;
/// No two beats are nearer than this, s.
const DEAF_S: f64 = 0.24;
/// The threshold is this part of the steepest slope within [`MEMORY_S`] either side.
const THRESHOLD: f64 = 0.45;
/// How far the threshold looks back and ahead, s.
const MEMORY_S: f64 = 1.5;
/// The beat is where the signal is farthest from its mean this near the steepest slope, s.
const NEAR_S: f64 = 0.05;

#[derive(Default)]
struct Settings {
    files: Vec<String>,
    lose_every: Option<f64>,
    late_ms: Option<f64>,
    double_after_ms: Option<f64>,
}

fn main() -> ExitCode {
    match settings().and_then(|settings| detect(&settings)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(message) => {
            let _ = writeln!(io::stderr(), "slope_detector: {message}");
            ExitCode::from(2)
        }
    }
}

fn settings() -> Result<Settings, String> {
    let mut settings = Settings::default();
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let number = match word.as_str() {
            "--lose-every" => &mut settings.lose_every,
            "--late-ms" => &mut settings.late_ms,
            "--double-after-ms" => &mut settings.double_after_ms,
            _ => {
                settings.files.push(word);
                continue;
            }
        };
        let value = words.next().and_then(|value| value.parse::<f64>().ok());
        *number = Some(value.ok_or(format!("{word} needs a number"))?);
    }
    Ok(settings)
}

fn detect(settings: &Settings) -> Result<(), String> {
    let mut text = String::new();
    match settings.files.first() {
        Some(path) => text = fs::read_to_string(path).map_err(|error| format!("{path}: {error}"))?,
        None => {
            io::stdin().read_to_string(&mut text).map_err(|error| error.to_string())?;
        }
    }
    let (times, lead) = columns(&text)?;
    let mut answer = String::from("time_s\n");
    let late_s = settings.late_ms.unwrap_or(0.0) / 1e3;
    let lose_every = settings.lose_every.unwrap_or(0.0) as usize;
    for (i, beat) in beats(&times, &lead).iter().enumerate() {
        if lose_every > 0 && (i + 1) % lose_every == 0 {
            continue;
        }
        let time_s = times[*beat] + late_s;
        answer += &format!("{time_s:.6}\n");
        if let Some(after_ms) = settings.double_after_ms {
            answer += &format!("{:.6}\n", time_s + after_ms / 1e3);
        }
    }
    match settings.files.get(1) {
        Some(path) => fs::write(path, answer).map_err(|error| format!("{path}: {error}")),
        None => io::stdout().write_all(answer.as_bytes()).map_err(|error| error.to_string()),
    }
}

/// Times and the first channel of a CSV.
fn columns(text: &str) -> Result<(Vec<f64>, Vec<f64>), String> {
    let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    let mut columns = (Vec::new(), Vec::new());
    for row in rows {
        let mut cells = row.split(',').map(|cell| cell.parse::<f64>());
        let (Some(Ok(time)), Some(Ok(value))) = (cells.next(), cells.next()) else {
            return Err(format!("not a row of numbers: {row}"));
        };
        columns.0.push(time);
        columns.1.push(value);
    }
    Ok(columns)
}

/// Frames of the beats.
fn beats(times: &[f64], lead: &[f64]) -> Vec<usize> {
    let rate = match (times.first(), times.last()) {
        (Some(first), Some(last)) if last > first => (times.len() - 1) as f64 / (last - first),
        _ => return Vec::new(),
    };
    let frames = |seconds: f64| ((seconds * rate).round() as usize).max(1);
    let (reach, deaf, near) = (frames(SLOPE_S), frames(DEAF_S), frames(NEAR_S));
    let slope: Vec<f64> = (0..lead.len()).map(|i| (lead[(i + reach).min(lead.len() - 1)] - lead[i]).abs()).collect();
    let threshold = thresholds(&slope, frames(MEMORY_S));
    let mean = lead.iter().sum::<f64>() / lead.len() as f64;
    let mut found: Vec<usize> = Vec::new();
    let mut i = 0;
    while i < lead.len() {
        if slope[i] < threshold[i] {
            i += 1;
            continue;
        }
        let ahead = i..(i + near * 2).min(lead.len());
        let beat = ahead.max_by(|a, b| (lead[*a] - mean).abs().total_cmp(&(lead[*b] - mean).abs())).unwrap_or(i);
        found.push(beat);
        i = beat + deaf;
    }
    found
}

/// For each frame a part of the steepest slope around it; never so low that noise alone passes.
fn thresholds(slope: &[f64], memory: usize) -> Vec<f64> {
    const LOWEST_MV: f64 = 0.05;
    // Steepest of each block, then of the blocks around.
    let block = memory.div_ceil(8).max(1);
    let steepest: Vec<f64> = slope.chunks(block).map(|chunk| chunk.iter().copied().fold(0.0, f64::max)).collect();
    let around = |i: usize| {
        let centre = i / block;
        let blocks = &steepest[centre.saturating_sub(8)..(centre + 9).min(steepest.len())];
        (THRESHOLD * blocks.iter().copied().fold(0.0, f64::max)).max(LOWEST_MV)
    };
    (0..slope.len()).map(around).collect()
}
