//! Flags that `score` and `suite` share: how answers are read, which limits hold, where reports go.

use crate::diagnostics::{Failure, Outcome, print, print_document};
use crate::output::claim;
use clap::{Args, ValueEnum};
use pulsewright_files::atomic::Set;
use pulsewright_score::limits::{Bound, Limits, Scope};
use pulsewright_score::read::{Place, Problem, ReadOptions, TimeUnit, in_file};
use pulsewright_text::fit;
use pulsewright_text::source;
use std::borrow::Cow;
use std::io::Write;
use std::path::{Path, PathBuf};

/// How the detector's answers are read.
#[derive(Args, Debug)]
pub struct ReadingFlags {
    /// Unit of the test's times, if the column name does not give it.
    #[arg(long, value_enum, help_heading = "Reading files")]
    pub test_unit: Option<Unit>,
    /// Column of the test's times, if not one of the usual names.
    #[arg(long, value_name = "NAME", help_heading = "Reading files")]
    pub time_column: Option<String>,
    /// Column of the test's beat codes, if not one of the usual names.
    #[arg(long, value_name = "NAME", help_heading = "Reading files")]
    pub code_column: Option<String>,
    /// Delimiter of the test's CSV, if it cannot be seen.
    #[arg(long, value_name = "CHAR", value_parser = delimiter, help_heading = "Reading files")]
    pub delimiter: Option<u8>,
}

/// Unit of a column of times.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Unit {
    S,
    Ms,
    Frame,
}

impl ReadingFlags {
    /// As the reader takes them.
    pub fn options(&self, rate_hz: Option<f64>) -> ReadOptions {
        ReadOptions {
            unit: self.test_unit.map(|unit| match unit {
                Unit::S => TimeUnit::S,
                Unit::Ms => TimeUnit::Ms,
                Unit::Frame => TimeUnit::Frame,
            }),
            rate_hz,
            time_column: self.time_column.clone(),
            code_column: self.code_column.clone(),
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
}

impl LimitFlags {
    /// Whether there is any.
    pub fn any(&self) -> bool {
        let lists = [&self.min, &self.max, &self.min_each, &self.max_each];
        self.limits.is_some() || lists.iter().any(|list| !list.is_empty())
    }

    /// The file of limits.
    pub fn file(&self) -> Option<&Path> {
        self.limits.as_deref()
    }

    /// All of them.
    pub fn limits(&self) -> Result<Limits, Failure> {
        let mut limits = Limits::default();
        if let Some(path) = &self.limits {
            let bytes = source::file(path, source::DOCUMENT).map_err(Failure::input)?;
            let text = source::utf8(&bytes).map_err(|at| Problem::new(Place::Byte(at), "not UTF-8 text"));
            let added = text.and_then(|text| limits.add_json(text));
            added.map_err(in_file(path)).map_err(Failure::input)?;
        }
        let flags = [
            (Scope::Gross, Bound::Min, &self.min),
            (Scope::Gross, Bound::Max, &self.max),
            (Scope::Each, Bound::Min, &self.min_each),
            (Scope::Each, Bound::Max, &self.max_each),
        ];
        for (scope, bound, texts) in flags {
            for text in texts {
                limits.add_text(scope, bound, text).map_err(Failure::input)?;
            }
        }
        Ok(limits)
    }
}

/// Where reports go.
#[derive(Args, Debug)]
pub struct ReportFlags {
    /// Form of the report on standard output.
    #[arg(long, value_enum, default_value = "text", help_heading = "Reports")]
    format: Format,
    /// Write the report also to a file; its ending (.txt, .json, .csv, .xml for JUnit) chooses the form.
    #[arg(long, value_name = "FILE", help_heading = "Reports")]
    write: Vec<PathBuf>,
    /// Write the outcome of every beat, as CSV.
    #[arg(long, value_name = "FILE", help_heading = "Reports")]
    pub beats: Option<PathBuf>,
    /// Replace files that exist.
    #[arg(long, help_heading = "Reports")]
    force: bool,
}

/// A form of a report.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Format {
    Text,
    Json,
    Csv,
    Junit,
}

impl ReportFlags {
    /// Claims the files, before any work on `inputs`.
    pub fn claim<'a>(&self, inputs: impl IntoIterator<Item = &'a Path> + Clone) -> Result<Set, Failure> {
        self.write.iter().try_for_each(|path| form_of(path).map(|_| ()))?;
        let outputs: Vec<&Path> = self.outputs().collect();
        claim(&outputs, inputs, self.force)
    }

    /// The files that are written.
    pub fn outputs(&self) -> impl Iterator<Item = &Path> {
        self.write.iter().chain(&self.beats).map(PathBuf::as_path)
    }

    /// Writes the files, then the report to standard output.
    pub fn write<'t>(&self, set: Set, beats: Option<&str>, form: impl Fn(Format) -> Cow<'t, str>) -> Outcome {
        let mut reports = Vec::new();
        for path in &self.write {
            reports.push((path.as_path(), form(form_of(path)?)));
        }
        let beats = self.beats.as_deref().zip(beats.map(str::as_bytes));
        let reports = reports.iter().map(|(path, text)| (*path, text.as_bytes()));
        let files: Vec<(&Path, &[u8])> = beats.into_iter().chain(reports).collect();
        set.write(&files).map_err(Failure::input)?;
        let report = form(self.format);
        match self.format {
            Format::Json => print_document(|out| out.write_all(fit::json(&report).as_bytes())),
            _ => print(|out| out.write_all(report.as_bytes())),
        }
    }
}

fn form_of(path: &Path) -> Result<Format, Failure> {
    match path.extension().and_then(|extension| extension.to_str()) {
        Some("txt") => Ok(Format::Text),
        Some("json") => Ok(Format::Json),
        Some("csv") => Ok(Format::Csv),
        Some("xml") => Ok(Format::Junit),
        _ => Err(Failure::input(format!("{}: must end in .txt, .json, .csv or .xml", path.display()))),
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
