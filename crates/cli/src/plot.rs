//! `plot`: a stretch of a script, or of one step made of flags, as a strip on paper or in the terminal.

use crate::diagnostics::{VerbFailure, VerbOutcome, print};
use crate::output::claim;
use crate::source::SeededScript;
use pulsewright_core::script::Script;
use pulsewright_core::time::{FrameRate, Instant, Span};
use pulsewright_plot::excerpt::Excerpt;
use pulsewright_plot::strip::{self, StripSheet};
use pulsewright_plot::{png, svg, terminal};
use std::io::Write;
use std::path::PathBuf;

/// Frames a second that are drawn: a pacing pulse of a millisecond still shows.
const RATE: FrameRate = FrameRate::lit(1000);
/// Columns of a terminal that does not say how many it has.
const COLUMNS: usize = 80;

/// A strip.
pub struct Request {
    /// The script or step to play.
    pub source: SeededScript,
    /// Picture to write; `-` is the terminal.
    pub output: PathBuf,
    /// Form of the output.
    pub kind: StripFormat,
    /// Whether a picture that is there may be replaced.
    pub force: bool,
    /// Start of the strip.
    pub from: Span,
    /// Its length.
    pub duration: Span,
    /// The paper, without a title of its own.
    pub sheet: StripSheet,
    /// Pixels an inch of a PNG.
    pub dpi: u32,
}

/// Form of the output.
pub enum StripFormat {
    Svg,
    Png,
    Terminal,
}

/// Plots.
pub fn run(plot: Request) -> VerbOutcome {
    let set = claim(&[&plot.output], plot.source.file(), plot.force)?;
    let document = plot.source.document()?;
    let items = document.items();
    let script = Script::new(document.seed(), &items).map_err(VerbFailure::input)?;
    let from = Instant::ZERO.plus(plot.from);
    let mut excerpt = Excerpt::play(&script, RATE, from, plot.duration).map_err(VerbFailure::input)?;
    for (item, label) in excerpt.labels.iter_mut().enumerate() {
        // A name from the document says more than the settings; without one the rhythm's word says less.
        if let Some(name) = document.step(item).and_then(|step| step.name.clone()) {
            *label = name;
        }
    }
    let sheet = StripSheet { title: document.title().map(str::to_owned), ..plot.sheet };
    if matches!(plot.kind, StripFormat::Terminal) {
        let channels: Vec<_> = sheet.lines.iter().flat_map(|line| line.parts.iter().copied()).collect();
        let columns = std::env::var("COLUMNS").ok().and_then(|text| text.parse().ok()).unwrap_or(COLUMNS);
        return print(|out| out.write_all(terminal::print(&excerpt, &channels, columns).as_bytes()));
    }
    let drawing = strip::draw(&excerpt, &sheet).map_err(VerbFailure::input)?;
    let bytes = match plot.kind {
        StripFormat::Png => png::encode(&drawing, plot.dpi).map_err(VerbFailure::input)?,
        _ => svg::write(&drawing).into_bytes(),
    };
    set.write(&[(&plot.output, &bytes)]).map_err(VerbFailure::input)
}
