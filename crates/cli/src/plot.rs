//! `plot`: a stretch of a script, or of one step made of flags, as a strip on paper or in the terminal.

use crate::args::Plot;
use crate::diagnostics::{Failure, Outcome, print};
use crate::output::claim;
use crate::patient;
use pulsewright_core::script::Script;
use pulsewright_core::time::{FrameRate, Instant};
use pulsewright_plot::recording::Recording;
use pulsewright_plot::strip::{self, Sheet};
use pulsewright_plot::{png, svg, terminal};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Frames a second that are drawn: a pacing pulse of a millisecond still shows.
const RATE: FrameRate = FrameRate::lit(1000);
/// Columns of a terminal that does not say how many it has.
const COLUMNS: usize = 80;

/// Form of the output.
enum Kind {
    Svg,
    Png,
    Terminal,
}

/// Plots.
pub fn run(plot: &Plot) -> Outcome {
    let kind = kind(&plot.output)?;
    let inputs = plot.script.iter().map(PathBuf::as_path);
    let set = claim(&[&plot.output], inputs, plot.force)?;
    let document = patient::document(plot.script.as_deref(), &plot.patient)?;
    let document = match plot.seed {
        Some(seed) => document.with_seed(seed),
        None => document,
    };
    let items = document.items();
    let script = Script::new(document.seed(), &items).map_err(Failure::input)?;
    let from = Instant::ZERO.plus(plot.from);
    let mut recording = Recording::play(&script, RATE, from, plot.duration).map_err(Failure::input)?;
    for (item, label) in recording.labels.iter_mut().enumerate() {
        // A name from the document says more than the settings; without one the rhythm's word says less.
        if let Some(name) = document.step(item).and_then(|step| step.name.clone()) {
            *label = name;
        }
    }
    let sheet = Sheet {
        mm_per_s: plot.paper_speed,
        mm_per_mv: plot.gain,
        row_s: plot.row.as_secs_f64(),
        lines: plot.channels.0.clone(),
        title: document.title().map(str::to_owned),
        codes: !plot.no_codes,
    };
    if matches!(kind, Kind::Terminal) {
        let channels: Vec<_> = sheet.lines.iter().flat_map(|line| line.parts.iter().copied()).collect();
        let columns = std::env::var("COLUMNS").ok().and_then(|text| text.parse().ok()).unwrap_or(COLUMNS);
        return print(|out| out.write_all(terminal::print(&recording, &channels, columns).as_bytes()));
    }
    let drawing = strip::draw(&recording, &sheet).map_err(Failure::input)?;
    let bytes = match kind {
        Kind::Png => png::encode(&drawing, plot.dpi).map_err(Failure::input)?,
        _ => svg::write(&drawing).into_bytes(),
    };
    set.write(&[(&plot.output, &bytes)]).map_err(Failure::input)
}

fn kind(output: &Path) -> Result<Kind, Failure> {
    if output == Path::new("-") {
        return Ok(Kind::Terminal);
    }
    let extension = output.extension().and_then(|extension| extension.to_str()).map(str::to_ascii_lowercase);
    match extension.as_deref() {
        Some("svg") => Ok(Kind::Svg),
        Some("png") => Ok(Kind::Png),
        _ => Err(Failure::input(format!(
            "'{}' does not say its format: end it in .svg or .png; - prints to the terminal",
            output.display()
        ))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_says_the_format_or_is_refused() {
        assert!(matches!(kind(Path::new("a.SVG")), Ok(Kind::Svg)));
        assert!(matches!(kind(Path::new("b/a.png")), Ok(Kind::Png)));
        assert!(matches!(kind(Path::new("-")), Ok(Kind::Terminal)));
        for name in ["a", "a.gif", "svg", ".png", ""] {
            assert!(kind(Path::new(name)).is_err(), "{name}");
        }
    }
}
