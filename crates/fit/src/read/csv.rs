//! CSV: a line of names, a row a frame; leads in mV, times in seconds under `time_s` unless the frame rate is given.

use crate::recording::{Recording, add};
use pulsewright_text::number::counted;

pub(super) fn parse(bytes: &[u8], hz: Option<f64>) -> Result<Recording, String> {
    let text = std::str::from_utf8(bytes).map_err(|error| format!("not UTF-8 text at byte {}", error.valid_up_to()))?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut lines = text.lines().enumerate().filter(|(_, line)| !line.starts_with('#') && !line.trim().is_empty());
    let (_, head) = lines.next().ok_or("no line of names")?;
    let names: Vec<&str> = head.split(',').map(|name| name.trim().trim_matches('"')).collect();
    if names.len() > 1000 {
        return Err("more than 1000 columns".to_owned());
    }
    let mut columns: Vec<Vec<f64>> = vec![Vec::new(); names.len()];
    for (index, line) in lines {
        for (column, cell) in columns.iter_mut().zip(line.split(',')) {
            let cell = cell.trim();
            let number = cell.parse().map_err(|_| format!("line {}: '{}' is not a number", index + 1, short(cell)))?;
            column.push(number);
        }
        let cells = line.split(',').count();
        if cells != names.len() {
            return Err(format!(
                "line {} has {}, the first line {}",
                index + 1,
                counted(cells as u64, "cell"),
                names.len()
            ));
        }
    }
    let times = names.iter().position(|name| matches!(*name, "time_s" | "t_s" | "time" | "s"));
    let hz = match (hz, times.and_then(|place| columns.get(place))) {
        (Some(hz), _) => hz,
        (None, Some(times)) => match (times.first(), times.last()) {
            (Some(first), Some(last)) if last > first => (times.len() - 1) as f64 / (last - first),
            _ => return Err("times do not rise".to_owned()),
        },
        (None, None) => return Err("no column time_s, and no frame rate is given".to_owned()),
    };
    let mut leads = Vec::new();
    for (name, column) in names.iter().zip(columns) {
        add(&mut leads, name, column);
    }
    Ok(Recording { hz, leads })
}

fn short(cell: &str) -> String {
    pulsewright_text::fit::line(&pulsewright_text::fit::cut(cell, 40)).into_owned()
}
