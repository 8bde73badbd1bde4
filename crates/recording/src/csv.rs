//! CSV: a line of names, a row a frame, times in seconds in a column `time_s`. Other columns are potentials.

use crate::recording::{Channel, Recording};
use pulsewright_text::fit::{cut, line as shown};
use pulsewright_text::number::counted;

/// Most columns.
const MOST_COLUMNS: usize = 1000;

/// Names of the column of times.
const TIMES: [&str; 4] = ["time_s", "t_s", "time", "s"];

/// A row may be this share of the mean interval from its place.
const UNEVEN: f64 = 0.5;

/// A share of a rate that the rounding of times accounts for.
const SAME_RATE: f64 = 1e-4;

/// Reads a file whose numbers are `scale_mv` each.
pub(crate) fn parse(bytes: &[u8], scale_mv: f64) -> Result<Recording, String> {
    let text = std::str::from_utf8(bytes).map_err(|error| format!("not UTF-8 text at byte {}", error.valid_up_to()))?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut lines = text.lines().enumerate().filter(|(_, line)| !line.starts_with('#') && !line.trim().is_empty());
    let (_, head) = lines.next().ok_or("no line of names")?;
    let names: Vec<&str> = head.split(',').map(|name| name.trim().trim_matches('"')).collect();
    if names.len() > MOST_COLUMNS {
        return Err(format!("more than {MOST_COLUMNS} columns"));
    }
    let clock = names.iter().position(|name| TIMES.contains(name)).ok_or("no column time_s")?;
    let mut times = Vec::new();
    let mut columns: Vec<Vec<f32>> = vec![Vec::new(); names.len()];
    for (index, line) in lines {
        let cells = line.split(',').count();
        if cells != names.len() {
            return Err(format!(
                "line {} has {}, the first line {}",
                index + 1,
                counted(cells as u64, "cell"),
                names.len()
            ));
        }
        for (place, (column, cell)) in columns.iter_mut().zip(line.split(',').map(str::trim)).enumerate() {
            let number: f64 =
                cell.parse().map_err(|_| format!("line {}: '{}' is not a number", index + 1, shown(&cut(cell, 40))))?;
            if place == clock {
                times.push(number);
            } else {
                column.push((scale_mv * number) as f32);
            }
        }
    }
    let (Some(first), Some(last)) = (times.first(), times.last()) else { return Err("no row".to_owned()) };
    let rate_hz = (times.len() - 1) as f64 / (last - first);
    if !(rate_hz.is_finite() && rate_hz > 0.0) {
        return Err("times do not rise".to_owned());
    }
    // Times are rounded in the text, so a rate this near to a whole number is one.
    let whole = rate_hz.round();
    let rate_hz = if (rate_hz - whole).abs() < SAME_RATE * whole { whole } else { rate_hz };
    let even = |(index, time): (usize, &f64)| ((time - first) * rate_hz - index as f64).abs() <= UNEVEN;
    if let Some(row) = times.iter().enumerate().position(|at| !even(at)) {
        return Err(format!("row {}: times are not evenly spaced", row + 1));
    }
    let channel = |(name, samples): (&str, Vec<f32>)| Channel { name: name.to_owned(), unit: "mV".to_owned(), samples };
    let kept = names.into_iter().zip(columns).enumerate().filter(|(place, _)| *place != clock);
    Ok(Recording { rate_hz, channels: kept.map(|(_, column)| channel(column)).collect() })
}
