//! `plot`.

use super::source::StepFlags;
use super::values;
use crate::diagnostics::VerbFailure;
use crate::plot::{Request, StripFormat};
use clap::Args;
use pulsewright_core::time::Span;
use pulsewright_plot::strip::StripSheet;
use std::path::{Path, PathBuf};

/// Draw a script, or one step made of flags, as a strip on millimetre paper.
///
/// ECG at 25 mm/s and 10 mm/mV with its calibration mark, pressures and respiration below on the same time axis; beats,
/// P waves and steps are marked from the truth. Long strips wrap.
#[derive(Args)]
#[command(after_help = "Examples:\n  \
    pulsewright plot --rhythm atrial-flutter\n  \
    pulsewright plot ward.json --from 1m --duration 20s -o ward.svg\n  \
    pulsewright plot --rhythm bifascicular-block --channels 12-lead --duration 8s --page -o page.svg\n  \
    pulsewright plot --rhythm sinus --channels 12-lead,arterial,respiration -o sinus.png --dpi 300")]
pub struct PlotFlags {
    /// The script; - reads it from standard input. Without one the flags make one step.
    script: Option<PathBuf>,

    /// Picture to write, ending in .svg or .png; - prints to the terminal.
    #[arg(short, long, value_name = "OUT", default_value = "-")]
    output: PathBuf,

    /// Where the strip starts, as 10s or 1h30m after the start.
    #[arg(long, value_name = "TIME", value_parser = values::start, default_value = "0s")]
    from: Span,

    /// Length of the strip, at most 10m.
    #[arg(short, long, value_name = "TIME", value_parser = values::span, default_value = "10s")]
    duration: Span,

    /// Seed of everything left to chance, in place of the script's.
    #[arg(long, value_name = "NUMBER", value_parser = values::seed)]
    seed: Option<u64>,

    #[command(flatten)]
    patient: StepFlags,

    /// Channels, groups of them, and 12-lead for the usual arrangement over a rhythm strip.
    #[arg(long, value_name = "LIST", value_parser = values::lines, default_value = "II,V1,arterial,respiration", help_heading = "Output")]
    channels: values::StripRows,

    /// Paper speed, mm/s.
    #[arg(long, value_name = "MM_PER_S", value_parser = values::number, default_value = "25", help_heading = "Output")]
    paper_speed: f64,

    /// ECG gain on paper, mm/mV.
    #[arg(long, value_name = "MM_PER_MV", value_parser = values::number, default_value = "10", help_heading = "Output")]
    gain: f64,

    /// Length of a row, 1s to 60s; 10s, or what a page holds.
    #[arg(long, value_name = "TIME", value_parser = values::span, help_heading = "Output")]
    row: Option<Span>,

    /// A page that A4 and Letter both hold, on its side, at true scale when printed at 100 %.
    #[arg(long, help_heading = "Output")]
    page: bool,

    /// Pixels an inch of a PNG, 50 to 1200.
    #[arg(long, value_name = "DPI", value_parser = values::dots, default_value = "200", help_heading = "Output")]
    dpi: u32,

    /// Leave out the codes of beats and P waves.
    #[arg(long, help_heading = "Output")]
    no_codes: bool,

    /// Overwrite a picture that is there.
    #[arg(long, help_heading = "Output")]
    force: bool,
}

impl PlotFlags {
    /// The request.
    pub fn request(self) -> Result<Request, VerbFailure> {
        let kind = kind(&self.output)?;
        let usual_s = if self.page { StripSheet::longest_row_on_page_s(self.paper_speed) } else { 10.0 };
        let sheet = StripSheet {
            mm_per_s: self.paper_speed,
            mm_per_mv: self.gain,
            row_s: self.row.map_or(usual_s, |row| row.as_secs_f64()),
            lines: self.channels.0,
            title: None,
            codes: !self.no_codes,
            page: self.page,
        };
        Ok(Request {
            source: self.patient.source(self.script, self.seed)?,
            output: self.output,
            kind,
            force: self.force,
            from: self.from,
            duration: self.duration,
            sheet,
            dpi: self.dpi,
        })
    }
}

fn kind(output: &Path) -> Result<StripFormat, VerbFailure> {
    if output == Path::new("-") {
        return Ok(StripFormat::Terminal);
    }
    let extension = output.extension().and_then(|extension| extension.to_str()).map(str::to_ascii_lowercase);
    match extension.as_deref() {
        Some("svg") => Ok(StripFormat::Svg),
        Some("png") => Ok(StripFormat::Png),
        _ => Err(VerbFailure::input(format!(
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
        assert!(matches!(kind(Path::new("a.SVG")), Ok(StripFormat::Svg)));
        assert!(matches!(kind(Path::new("b/a.png")), Ok(StripFormat::Png)));
        assert!(matches!(kind(Path::new("-")), Ok(StripFormat::Terminal)));
        for name in ["a", "a.gif", "svg", ".png", ""] {
            assert!(kind(Path::new(name)).is_err(), "{name}");
        }
    }
}
