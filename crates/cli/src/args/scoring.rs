//! Flags that `score` and `suite` share: how answers are read, which limits hold, where reports go.

use crate::diagnostics::VerbFailure;
use crate::scoring::{LimitSources, ReportOutputs, ScoreFormat};
use clap::{Args, ValueEnum};
use pulsewright_score::limits::{Bound, Scope};
use pulsewright_score::read::{ReadOptions, TimeUnit};
use std::path::{Path, PathBuf};

/// How the detector's answers are read.
#[derive(Args, Debug)]
pub struct ReadingFlags {
    /// Unit of the test's times, if the column name does not give it.
    #[arg(long, value_enum, help_heading = "Reading files")]
    test_unit: Option<UnitWord>,
    /// Column of the test's times, if not one of the usual names.
    #[arg(long, value_name = "NAME", help_heading = "Reading files")]
    time_column: Option<String>,
    /// Column of the test's beat codes, if not one of the usual names.
    #[arg(long, value_name = "NAME", help_heading = "Reading files")]
    code_column: Option<String>,
    /// Delimiter of the test's CSV, if it cannot be seen.
    #[arg(long, value_name = "CHAR", value_parser = delimiter, help_heading = "Reading files")]
    delimiter: Option<u8>,
}

/// Unit of a column of times.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum UnitWord {
    S,
    Ms,
    Frame,
}

impl ReadingFlags {
    /// As the reader takes them.
    pub fn options(self, rate_hz: Option<f64>) -> ReadOptions {
        ReadOptions {
            unit: self.test_unit.map(|unit| match unit {
                UnitWord::S => TimeUnit::S,
                UnitWord::Ms => TimeUnit::Ms,
                UnitWord::Frame => TimeUnit::Frame,
            }),
            rate_hz,
            time_column: self.time_column,
            code_column: self.code_column,
            times_only: false,
            channel: None,
            delimiter: self.delimiter,
            is_reference: false,
        }
    }
}

/// Limits that decide the exit code.
#[derive(Args, Debug)]
pub struct LimitFlags {
    /// Least allowed figure over all records pooled, such as se=99.5.
    #[arg(long, value_name = "FIGURE=VALUE", help_heading = "Limits")]
    min: Vec<String>,
    /// Largest allowed figure over all records pooled, such as rr_rms_ms=10.
    #[arg(long, value_name = "FIGURE=VALUE", help_heading = "Limits")]
    max: Vec<String>,
    /// Least allowed figure in every single record.
    #[arg(long, value_name = "FIGURE=VALUE", help_heading = "Limits")]
    min_each: Vec<String>,
    /// Largest allowed figure in every single record.
    #[arg(long, value_name = "FIGURE=VALUE", help_heading = "Limits")]
    max_each: Vec<String>,
    /// File of limits, JSON: {"gross": {"min": {"se": 99.5}}, "average": {}, "each": {}}.
    #[arg(long, value_name = "FILE", help_heading = "Limits")]
    limits: Option<PathBuf>,
    /// Compare with an earlier report, JSON: better or worse, by how much, with 95 % intervals by a bootstrap over records.
    #[arg(long, value_name = "REPORT", help_heading = "Limits")]
    against: Option<PathBuf>,
    /// Largest allowed loss of a figure against that report, such as se=0.5.
    #[arg(long, value_name = "FIGURE=VALUE", requires = "against", help_heading = "Limits")]
    max_loss: Vec<String>,
}

impl LimitFlags {
    /// Whether there is any.
    pub fn any(&self) -> bool {
        let lists = [&self.min, &self.max, &self.min_each, &self.max_each];
        self.limits.is_some() || self.against.is_some() || lists.iter().any(|list| !list.is_empty())
    }

    /// Where the limits come from.
    pub fn sources(self) -> LimitSources {
        let flags = [
            (Scope::Gross, Bound::Min, self.min),
            (Scope::Gross, Bound::Max, self.max),
            (Scope::Each, Bound::Min, self.min_each),
            (Scope::Each, Bound::Max, self.max_each),
        ];
        let texts =
            flags.into_iter().flat_map(|(scope, bound, texts)| texts.into_iter().map(move |text| (scope, bound, text)));
        LimitSources { file: self.limits, texts: texts.collect(), losses: self.max_loss, against: self.against }
    }
}

/// Where reports go.
#[derive(Args, Debug)]
pub struct ScoreReportFlags {
    /// Form of the report on standard output.
    #[arg(long, value_enum, default_value = "text", help_heading = "Reports")]
    format: FormatWord,
    /// Write the report also to a file; its ending (.txt, .json, .csv, .md, .xml for JUnit) chooses the form.
    #[arg(long, value_name = "FILE", help_heading = "Reports")]
    write: Vec<PathBuf>,
    /// Write the outcome of every beat, as CSV.
    #[arg(long, value_name = "FILE", help_heading = "Reports")]
    beats: Option<PathBuf>,
    /// Print a line for each failure on standard error, `::error title=...::...`, which build servers show beside the change.
    #[arg(long, help_heading = "Reports")]
    annotate: bool,
    /// Replace files that exist.
    #[arg(long, help_heading = "Reports")]
    force: bool,
}

/// A form of a report.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum FormatWord {
    Text,
    Json,
    Csv,
    Junit,
    Markdown,
}

impl ScoreReportFlags {
    /// Whether the outcome of every beat is written.
    pub fn has_beats(&self) -> bool {
        self.beats.is_some()
    }

    /// The reports.
    pub fn reports(self) -> Result<ReportOutputs, VerbFailure> {
        let files = self.write.into_iter().map(|path| form_of(&path).map(|form| (path, form)));
        let form = match self.format {
            FormatWord::Text => ScoreFormat::Text,
            FormatWord::Json => ScoreFormat::Json,
            FormatWord::Csv => ScoreFormat::Csv,
            FormatWord::Junit => ScoreFormat::Junit,
            FormatWord::Markdown => ScoreFormat::Markdown,
        };
        let files = files.collect::<Result<_, VerbFailure>>()?;
        Ok(ReportOutputs { form, files, beats: self.beats, annotate: self.annotate, force: self.force })
    }
}

fn form_of(path: &Path) -> Result<ScoreFormat, VerbFailure> {
    match path.extension().and_then(|extension| extension.to_str()) {
        Some("txt") => Ok(ScoreFormat::Text),
        Some("json") => Ok(ScoreFormat::Json),
        Some("csv") => Ok(ScoreFormat::Csv),
        Some("xml") => Ok(ScoreFormat::Junit),
        Some("md") => Ok(ScoreFormat::Markdown),
        _ => Err(VerbFailure::input(format!("{}: must end in .txt, .json, .csv, .md or .xml", path.display()))),
    }
}

fn delimiter(text: &str) -> Result<u8, String> {
    match text {
        "tab" | "\\t" => Ok(b'\t'),
        _ => match text.as_bytes() {
            [byte] if byte.is_ascii_punctuation() || matches!(byte, b' ' | b'\t') => Ok(*byte),
            _ => Err("one character, or tab".into()),
        },
    }
}
