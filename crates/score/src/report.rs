//! Many records together, and the forms of a report.
//!
//! Gross figures pool all beats; average figures are the mean over the records that have the figure (EC57).

use serde::Serialize;

use crate::compare::{Comparison, EarlierReport};
use crate::limits::{Bound, FigureLimits, LimitVerdict};
use crate::metrics::{METRICS, MeanFigure};
use crate::record::{Figures, RecordReport, ScoreOptions, Sums};

pub mod annotations;
pub mod csv;
pub mod junit;
pub mod markdown;
pub mod text;

pub use junit::TestCase;

/// The rules a report was made by, so that it can be read alone.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rules {
    /// As asked for.
    #[serde(flatten)]
    pub options: ScoreOptions,
    /// The class map in words.
    pub class_map: &'static str,
    /// How heart rate was formed.
    pub heart_rate: &'static str,
}

/// A scored set of records.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    /// How it was scored.
    pub rules: Rules,
    /// One by one.
    pub records: Vec<RecordReport>,
    /// All beats pooled.
    pub gross: Figures,
    /// Mean over the records.
    pub average: Vec<MeanFigure>,
    /// Limits looked at.
    pub verdicts: Vec<LimitVerdict>,
    /// Against an earlier report, where one was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub against: Option<Comparison>,
}

impl Report {
    /// Pools the records and looks at the limits.
    pub fn new(options: &ScoreOptions, records: Vec<RecordReport>, limits: &FigureLimits) -> Report {
        let mut sums = Sums::default();
        for record in &records {
            sums.add(&record.sums);
        }
        let average = METRICS.iter().map(|metric| {
            let values: Vec<f64> = records.iter().filter_map(|record| (metric.value)(&record.figures)).collect();
            let mean = (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64);
            MeanFigure { metric: metric.name, mean, records: values.len() }
        });
        let average: Vec<MeanFigure> = average.collect();
        let gross = sums.figures();
        Report {
            rules: Rules {
                options: *options,
                class_map: options.classes.description(),
                heart_rate: "mean over the last 8 valid intervals at each beat; nearest reference value in time",
            },
            verdicts: limits.judge(&gross, &average, &records),
            gross,
            average,
            records,
            against: None,
        }
    }

    /// Compares with an earlier report, and looks at the limits on losses.
    ///
    /// # Errors
    /// When the two can't be compared.
    pub fn compare(&mut self, earlier: &EarlierReport, limits: &FigureLimits) -> Result<(), String> {
        let rules = serde_json::to_value(&self.rules).unwrap_or_default();
        let against = Comparison::new(&rules, &self.records, earlier)?;
        self.verdicts.extend(limits.judge_losses(&against));
        self.against = Some(against);
        Ok(())
    }

    /// True if every limit holds (also when there is none).
    pub fn passed(&self) -> bool {
        self.verdicts.iter().all(|verdict| verdict.passed)
    }

    /// Test cases for [`junit`]: one for each limit looked at.
    pub fn cases(&self) -> Vec<TestCase> {
        let case = |verdict: &LimitVerdict| {
            let bound = if verdict.bound == Bound::Min { "min" } else { "max" };
            let failure = (!verdict.passed).then(|| verdict.line());
            TestCase::new(&verdict.subject, &format!("{} {bound}", verdict.metric), failure)
        };
        self.verdicts.iter().map(case).collect()
    }
}

/// JSON text of any report, with a final line end.
pub fn json(report: &impl Serialize) -> String {
    // Reports hold no maps with other keys than text and no failing serializer, so this cannot fail.
    serde_json::to_string_pretty(report).map(|text| text + "\n").unwrap_or_default()
}
