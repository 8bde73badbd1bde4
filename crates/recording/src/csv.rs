//! CSV: a line of names, a row a frame, times in seconds in a column `time_s`. Other columns are potentials.

use crate::recording::{RecordedChannel, Recording};
use pulsewright_text::number::counted;
use pulsewright_text::table::{self, TableProblem};

/// Most columns.
const MOST_COLUMNS: usize = 1000;

/// Names of the column of times.
const TIMES: [&str; 4] = ["time_s", "t_s", "time", "s"];

/// A row may be this share of the mean interval from its place.
const UNEVEN: f64 = 0.5;

/// A share of a rate that the rounding of times accounts for.
const SAME_RATE: f64 = 1e-4;

/// Reads a file whose numbers are `scale_mv` each; with a `rate_hz` it needs no times.
pub(crate) fn parse(bytes: Vec<u8>, scale_mv: f64, rate_hz: Option<f64>) -> Result<Recording, String> {
    let table = table::read(bytes, Some(false), None).map_err(|problem| problem.to_string())?;
    let names = table.columns.as_ref().ok_or("no line of names")?;
    if names.len() > MOST_COLUMNS {
        return Err(format!("more than {MOST_COLUMNS} columns"));
    }
    let clock = table.column(&TIMES);
    if clock.is_none() && rate_hz.is_none() {
        return Err("no column time_s, and no frame rate is given".to_owned());
    }
    let mut times = Vec::new();
    let mut columns: Vec<Vec<f32>> = vec![Vec::new(); names.len()];
    let rows = table.rows(|row| {
        if row.width() != names.len() {
            let what = format!("the line has {}, the first line {}", counted(row.width() as u64, "cell"), names.len());
            return Err(TableProblem::new(row.place, what));
        }
        for (place, column) in columns.iter_mut().enumerate() {
            let number = table.required_number(row, place)?;
            if Some(place) == clock {
                times.push(number);
            } else {
                column.push((scale_mv * number) as f32);
            }
        }
        Ok(())
    });
    rows.map_err(|problem| problem.to_string())?;
    if table.is_empty() {
        return Err("no row".to_owned());
    }
    let rate_hz = rate_hz.map_or_else(|| rate_of(&times), Ok)?;
    let channel = |(name, samples): (&String, Vec<f32>)| RecordedChannel {
        name: name.trim().to_owned(),
        unit: "mV".to_owned(),
        samples,
    };
    let kept = names.iter().zip(columns).enumerate().filter(|(place, _)| Some(*place) != clock);
    Ok(Recording { rate_hz, channels: kept.map(|(_, column)| channel(column)).collect() })
}

/// The rate of rows at these times.
fn rate_of(times: &[f64]) -> Result<f64, String> {
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
    Ok(rate_hz)
}
