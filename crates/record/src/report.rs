//! The report of a record: verdicts derived anew, changes, places to look, trends of readings.
//!
//! One [`Report`] is shown four ways: [`Report::text`] for a terminal, [`page::html`] for people and paper,
//! [`data::json`] and [`data::csv`] for a maintenance database.

pub mod data;
pub mod page;

use crate::guide::guide;
use crate::integrity::{self, Integrity};
use crate::judge::{Judgement, OverallVerdict, Verdict};
use crate::plan::Plan;
use crate::record::{Record, broken_seal};
use crate::trend::{Trend, trends};
use pulsewright_text::fit::line;
use std::fmt::Write as _;

/// A record judged by its plan, its digests and earlier records.
#[derive(Debug)]
pub struct Report<'a> {
    /// The plan that it was judged by.
    pub plan: &'a Plan,
    /// The judged record.
    pub record: &'a Record,
    /// The verdicts.
    pub judgement: Judgement<'a>,
    /// The result of the digests.
    pub integrity: Integrity,
    /// Readings over earlier records.
    pub trends: Vec<Trend>,
    /// Earlier records that were left out: of another asset, or changed.
    pub left_out: usize,
}

/// Why there is no report.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReportError {
    /// The record holds no plan and no script was named.
    #[error("the record holds no plan: name the script it was made from with --script")]
    NoPlan,
}

/// The plan to judge a record by: its own, or else the `fresh` one of a script.
///
/// # Errors
/// When there is neither.
pub fn plan_of<'a>(record: &'a Record, fresh: Option<&'a Plan>) -> Result<&'a Plan, ReportError> {
    record.plan.as_ref().or(fresh).ok_or(ReportError::NoPlan)
}

impl<'a> Report<'a> {
    /// Judges `record`; `fresh` is the plan of the script given with it, if any.
    ///
    /// # Errors
    /// When there is no plan to judge by.
    pub fn new(record: &'a Record, fresh: Option<&'a Plan>, earlier: &[Record]) -> Result<Report<'a>, ReportError> {
        let plan = plan_of(record, fresh)?;
        let (trends, left_out) = trends(plan, record, earlier);
        let judgement = Judgement::new(plan, record);
        let mut integrity = integrity::check(record, plan, fresh);
        for (index, other) in earlier.iter().enumerate() {
            let name = if other.name.is_empty() { format!("number {}", index + 1) } else { other.name.clone() };
            let problem = |why: &str| format!("earlier record {name}: {why}");
            integrity.changed.extend(broken_seal(other).map(problem));
        }
        Ok(Report { plan, record, judgement, integrity, trends, left_out })
    }

    /// Whether everything passed and nothing was changed.
    pub fn passed(&self) -> bool {
        self.judgement.overall == OverallVerdict::Passed
            && self.integrity.changed.is_empty()
            && self.judgement.disagreements.is_empty()
            && self.judgement.strangers.is_empty()
    }

    /// `passed`, `failed` or `incomplete`; `changed` for a record that can't be relied on.
    pub fn overall_id(&self) -> &'static str {
        if self.objections().is_empty() { self.judgement.overall.id() } else { "changed" }
    }

    /// Parts that do not belong together, a line each.
    pub fn objections(&self) -> Vec<String> {
        let strangers = self.judgement.strangers.iter().map(|id| format!("{id}: the plan has no such item"));
        self.integrity.changed.iter().chain(&self.judgement.disagreements).cloned().chain(strangers).collect()
    }

    /// The report as plain text.
    pub fn text(&self) -> String {
        let mut text = String::new();
        let asset = match self.record.about("asset") {
            "" => "no asset number",
            asset => asset,
        };
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{}: {}", line(&self.plan.title), line(asset));
        let _ = writeln!(text, "{}: {}", self.overall_id(), self.judgement.counts());
        for objection in self.objections() {
            let _ = writeln!(text, "CHANGED  {}", line(&objection));
        }
        let mut last = Vec::new();
        for (step, item, judged) in &self.judgement.items {
            if judged.verdict == Verdict::Pass {
                continue;
            }
            let _ = writeln!(
                text,
                "{:<8} {} {}: {} ({})",
                judged.verdict.id(),
                line(&step.id),
                line(&step.name),
                line(item.name()),
                line(&judged.why)
            );
            let advice = guide(&self.judgement, *item, judged);
            // Readings of one pressure fail together; the advice is given once.
            for piece in advice.iter().filter(|_| advice != last) {
                let _ = writeln!(text, "           {piece}");
            }
            last = advice;
        }
        for photo in &self.record.photos {
            let of = if photo.item.is_empty() { "the equipment" } else { &photo.item };
            let _ = writeln!(text, "photo    {}: {}", line(of), line(&photo.name));
        }
        for missing in &self.judgement.missing {
            let _ = writeln!(text, "missing  {}", line(missing));
        }
        for trend in self.trends.iter().filter(|trend| trend.noticeable) {
            let drift = crate::judge::signed(trend.drift);
            let _ = writeln!(text, "drift    {}: {drift} {}", line(&trend.name), line(&trend.unit));
        }
        for signed in &self.integrity.signed {
            let _ = writeln!(text, "signed   {}", line(signed));
        }
        for unknown in &self.integrity.unknown {
            let _ = writeln!(text, "note     {}", line(unknown));
        }
        if self.left_out > 0 {
            let _ = writeln!(text, "note     {} earlier records left out: of another asset, or changed", self.left_out);
        }
        text
    }
}
