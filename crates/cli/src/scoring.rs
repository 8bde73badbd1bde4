//! Parts of the requests of `score` and `suite`: limits, and where reports go.

use crate::diagnostics::{VerbFailure, VerbOutcome, print, print_document, say};
use crate::output::claim;
use pulsewright_files::atomic::FileSet;
use pulsewright_score::EarlierReport;
use pulsewright_score::limits::{Bound, FigureLimits, Scope};
use pulsewright_score::read::{InputPosition, TableProblem, in_file};
use pulsewright_score::report::{TestCase, annotations};
use pulsewright_text::fit;
use pulsewright_text::source;
use std::borrow::Cow;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Where limits come from.
pub struct LimitSources {
    /// A file of limits.
    pub file: Option<PathBuf>,
    /// Limits as written, such as `se=99.5`.
    pub texts: Vec<(Scope, Bound, String)>,
    /// Largest losses against an earlier report, as written.
    pub losses: Vec<String>,
    /// The earlier report, JSON.
    pub against: Option<PathBuf>,
}

impl LimitSources {
    /// All limits.
    pub fn limits(&self) -> Result<FigureLimits, VerbFailure> {
        let mut limits = FigureLimits::default();
        if let Some(path) = &self.file {
            let bytes = source::file(path, source::DOCUMENT).map_err(VerbFailure::input)?;
            let text = source::utf8(&bytes).map_err(|at| TableProblem::new(InputPosition::Byte(at), "not UTF-8 text"));
            let added = text.and_then(|text| limits.add_json(text));
            added.map_err(in_file(path)).map_err(VerbFailure::input)?;
        }
        for (scope, bound, text) in &self.texts {
            limits.add_text(*scope, *bound, text).map_err(VerbFailure::input)?;
        }
        for text in &self.losses {
            limits.add_loss_text(text).map_err(VerbFailure::input)?;
        }
        if !limits.losses.is_empty() && self.against.is_none() {
            return Err(VerbFailure::input("a largest loss needs an earlier report: add --against REPORT.json"));
        }
        Ok(limits)
    }

    /// The earlier report, if there is one.
    pub fn earlier(&self) -> Result<Option<EarlierReport>, VerbFailure> {
        let Some(path) = &self.against else { return Ok(None) };
        let bytes = source::file(path, source::TABLE).map_err(VerbFailure::input)?;
        let text = source::utf8(&bytes).map_err(|at| TableProblem::new(InputPosition::Byte(at), "not UTF-8 text"));
        text.and_then(EarlierReport::parse).map(Some).map_err(in_file(path)).map_err(VerbFailure::input)
    }

    /// Files that are read.
    pub fn inputs(&self) -> impl Iterator<Item = &Path> + Clone {
        self.file.iter().chain(&self.against).map(PathBuf::as_path)
    }
}

/// A form of a report.
#[derive(Clone, Copy)]
pub enum ScoreFormat {
    Text,
    Json,
    Csv,
    Junit,
    Markdown,
}

/// Where reports go.
pub struct ReportOutputs {
    /// Form on standard output.
    pub form: ScoreFormat,
    /// Files to write.
    pub files: Vec<(PathBuf, ScoreFormat)>,
    /// File for the outcome of every beat.
    pub beats: Option<PathBuf>,
    /// Whether failures also go to standard error, as lines that build servers show.
    pub annotate: bool,
    /// Whether files that are there may be replaced.
    pub force: bool,
}

impl ReportOutputs {
    /// Claims the files, before any work on `inputs`.
    pub fn claim<'a>(&self, inputs: impl IntoIterator<Item = &'a Path> + Clone) -> Result<FileSet, VerbFailure> {
        let outputs: Vec<&Path> = self.outputs().collect();
        claim(&outputs, inputs, self.force)
    }

    /// The files that are written.
    pub fn outputs(&self) -> impl Iterator<Item = &Path> {
        self.files.iter().map(|(path, _)| path).chain(&self.beats).map(PathBuf::as_path)
    }

    /// Writes the files, then the report to standard output and, where asked for, the failures among `cases` to standard error.
    pub fn write<'t>(
        &self,
        set: FileSet,
        beats: Option<&str>,
        (suite, cases): (&str, &[TestCase]),
        report: impl Fn(ScoreFormat) -> Cow<'t, str>,
    ) -> VerbOutcome {
        let reports: Vec<_> = self.files.iter().map(|(path, form)| (path.as_path(), report(*form))).collect();
        let beats = self.beats.as_deref().zip(beats.map(str::as_bytes));
        let reports = reports.iter().map(|(path, text)| (*path, text.as_bytes()));
        let files: Vec<(&Path, &[u8])> = beats.into_iter().chain(reports).collect();
        set.write(&files).map_err(VerbFailure::input)?;
        let report = report(self.form);
        match self.form {
            ScoreFormat::Json => print_document(|out| out.write_all(fit::json(&report).as_bytes()))?,
            _ => print(|out| out.write_all(report.as_bytes()))?,
        }
        if self.annotate {
            annotations::lines(suite, cases).iter().for_each(|line| say(line));
        }
        Ok(())
    }
}
