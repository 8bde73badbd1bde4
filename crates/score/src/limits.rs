//! Limits on named figures, which let a build pass or fail.

use std::collections::BTreeMap;

use pulsewright_text::number::{fixed, short};
use serde::{Deserialize, Serialize};

use crate::compare::{self, Comparison};
use crate::metrics::{FigureKind, METRICS, MeanFigure, Metric, by_name};
use crate::read::{InputPosition, TableProblem};
use crate::record::{Figures, RecordReport};

/// Which figures a limit looks at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Scope {
    /// All records pooled.
    Gross,
    /// The mean over the records.
    Average,
    /// Every record by itself.
    Each,
}

/// Which side of the limit is good.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Bound {
    /// At least the limit.
    Min,
    /// At most the limit.
    Max,
}

/// One limit.
#[derive(Clone, Copy)]
pub struct FigureLimit {
    /// The records that it looks at.
    pub scope: Scope,
    /// The figure.
    pub metric: &'static Metric,
    /// Least or most.
    pub bound: Bound,
    /// The value, itself allowed.
    pub value: f64,
}

/// A set of limits.
#[derive(Clone, Default)]
pub struct FigureLimits {
    /// On all records.
    pub all: Vec<FigureLimit>,
    /// On the records of a group, such as those of one rhythm.
    pub by: Vec<GroupLimit>,
    /// Figures with the largest loss against an earlier report that is allowed.
    pub losses: Vec<(&'static str, f64)>,
}

/// A limit on the records of a group.
#[derive(Clone)]
pub struct GroupLimit {
    /// The dimension, such as `rhythm`.
    pub dimension: String,
    /// Its value, such as `sinus`; `*` for each of them.
    pub value: String,
    /// The limit on the pooled records of the group.
    pub limit: FigureLimit,
}

/// One limit looked at.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LimitVerdict {
    /// `gross`, `average`, or the record.
    pub subject: String,
    /// Name of the figure.
    pub metric: &'static str,
    /// Least or most.
    pub bound: Bound,
    /// The limit.
    pub limit: f64,
    /// The figure; `None` when there was nothing to count, which fails.
    pub value: Option<f64>,
    /// Whether the limit holds.
    pub passed: bool,
    /// Whether it looks at one record alone.
    #[serde(skip)]
    pub single: bool,
}

impl LimitVerdict {
    /// One line: subject, figure, limit, value.
    pub fn line(&self) -> String {
        let sign = match self.bound {
            Bound::Min => ">=",
            Bound::Max => "<=",
        };
        let value = self.value.map_or("nothing to count".into(), |value| fixed(value, 3));
        format!("{}: {} {sign} {}: {value}", self.subject, self.metric, short(self.limit))
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LimitFile {
    #[serde(default)]
    gross: Bounds,
    #[serde(default)]
    average: Bounds,
    #[serde(default)]
    each: Bounds,
    /// By dimension and value.
    #[serde(default)]
    by: BTreeMap<String, BTreeMap<String, Bounds>>,
    /// Largest losses against an earlier report.
    #[serde(default)]
    loss: BTreeMap<String, f64>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Bounds {
    #[serde(default)]
    min: BTreeMap<String, f64>,
    #[serde(default)]
    max: BTreeMap<String, f64>,
}

impl FigureLimits {
    /// Adds one limit by name; names those allowed if there is none of that name.
    pub fn add(&mut self, scope: Scope, bound: Bound, name: &str, value: f64) -> Result<(), String> {
        self.all.push(FigureLimit::named(scope, bound, name, value)?);
        Ok(())
    }

    /// Adds the largest loss of a figure against an earlier report; names those allowed if it is not compared.
    pub fn add_loss(&mut self, name: &str, value: f64) -> Result<(), String> {
        let Some(metric) = compare::figures().find(|metric| *metric == name) else {
            let names: Vec<_> = compare::figures().collect();
            return Err(format!("no figure '{name}' is compared; allowed: {}", names.join(", ")));
        };
        if !(value >= 0.0 && value.is_finite()) {
            return Err(format!("the largest loss of {name} is a number from 0 on; found {value}"));
        }
        self.losses.push((metric, value));
        Ok(())
    }

    /// Adds a largest loss written `name=value`.
    pub fn add_loss_text(&mut self, text: &str) -> Result<(), String> {
        let (name, value) = split(text)?;
        self.add_loss(name, value)
    }

    /// Adds a limit written `name=value`.
    pub fn add_text(&mut self, scope: Scope, bound: Bound, text: &str) -> Result<(), String> {
        let (name, value) = split(text)?;
        self.add(scope, bound, name, value)
    }

    /// Adds the limits of a JSON text: `{"gross": {"min": {"se": 99.5}, "max": {"rr_rms_ms": 10}}, "each": ...}`.
    pub fn add_json(&mut self, text: &str) -> Result<(), TableProblem> {
        let file: LimitFile = pulsewright_text::json::parse(text)
            .map_err(|broken| TableProblem::new(InputPosition::LineColumn(broken.line, broken.column), broken.what))?;
        let wrong = |what| TableProblem::new(InputPosition::Whole, what);
        for (scope, bounds) in [(Scope::Gross, file.gross), (Scope::Average, file.average), (Scope::Each, file.each)] {
            self.all.extend(bounds.limits(scope).map_err(wrong)?);
        }
        for (dimension, values) in file.by {
            for (value, bounds) in values {
                let at = |what| wrong(format!("by.{dimension}.{value}: {what}"));
                let limits = bounds.limits(Scope::Gross).map_err(at)?;
                let of_group = |limit| GroupLimit { dimension: dimension.clone(), value: value.clone(), limit };
                self.by.extend(limits.into_iter().map(of_group));
            }
        }
        for (name, value) in file.loss {
            self.add_loss(&name, value).map_err(wrong)?;
        }
        Ok(())
    }

    /// Looks at every limit. A figure without a value fails: it proves nothing.
    pub fn judge(&self, gross: &Figures, average: &[MeanFigure], records: &[RecordReport]) -> Vec<LimitVerdict> {
        let mut verdicts = Vec::new();
        for limit in &self.all {
            match limit.scope {
                Scope::Gross => verdicts.push(limit.verdict("gross", (limit.metric.value)(gross))),
                Scope::Average => {
                    let average = average.iter().find(|mean| mean.metric == limit.metric.name);
                    verdicts.push(limit.verdict("average", average.and_then(|average| average.mean)));
                }
                Scope::Each => {
                    let verdict = |record: &RecordReport| {
                        let value = (limit.metric.value)(&record.figures);
                        LimitVerdict { single: true, ..limit.verdict(&record.record, value) }
                    };
                    verdicts.extend(records.iter().map(verdict));
                }
            }
        }
        verdicts
    }

    /// Looks at every limit on a loss. A figure that the reports do not both have fails: it proves nothing.
    pub fn judge_losses(&self, against: &Comparison) -> Vec<LimitVerdict> {
        let verdict = |(metric, limit): &(&'static str, f64)| {
            let value = against.loss(metric);
            let passed = value.is_some_and(|value| value <= *limit);
            let (metric, limit) = (*metric, *limit);
            LimitVerdict { subject: "loss".to_owned(), metric, bound: Bound::Max, limit, value, passed, single: false }
        };
        self.losses.iter().map(verdict).collect()
    }

    /// Looks at every limit on a group.
    pub fn judge_group(&self, dimension: &str, value: &str, figures: &Figures) -> Vec<LimitVerdict> {
        let subject = format!("{dimension}={value}");
        let of_group = self.by.iter().filter(|by| by.dimension == dimension && (by.value == value || by.value == "*"));
        of_group.map(|by| by.limit.verdict(&subject, (by.limit.metric.value)(figures))).collect()
    }
}

impl Bounds {
    fn limits(self, scope: Scope) -> Result<Vec<FigureLimit>, String> {
        let sides = [(Bound::Min, self.min), (Bound::Max, self.max)];
        let all = sides.into_iter().flat_map(|(bound, values)| values.into_iter().map(move |one| (bound, one)));
        all.map(|(bound, (name, value))| FigureLimit::named(scope, bound, &name, value)).collect()
    }
}

/// A figure and its value, written `name=value`.
fn split(text: &str) -> Result<(&str, f64), String> {
    let Some((name, value)) = text.split_once('=') else {
        return Err(format!("'{text}' is not of the form name=value, such as se=99.5"));
    };
    let value = value.trim().parse().map_err(|_| format!("'{}' in '{text}' is not a number", value.trim()))?;
    Ok((name.trim(), value))
}

impl FigureLimit {
    fn named(scope: Scope, bound: Bound, name: &str, value: f64) -> Result<FigureLimit, String> {
        let Some(metric) = by_name(name) else {
            let near = METRICS.iter().map(|metric| (strsim::damerau_levenshtein(metric.name, name), metric.name)).min();
            let names: Vec<_> = METRICS.iter().map(|metric| metric.name).collect();
            let near = near.map(|(_, near)| format!("; nearest: {near}")).unwrap_or_default();
            return Err(format!("no figure '{name}'{near}; allowed: {}", names.join(", ")));
        };
        if !value.is_finite() {
            return Err(format!("limit of {name} must be a finite number"));
        }
        // A share given as a fraction would let everything pass.
        if metric.kind == FigureKind::Percent
            && bound == Bound::Min
            && !(value == 0.0 || (1.0 < value && value <= 100.0))
        {
            return Err(format!("{name} is in percent, above 1 and at most 100 (99.5, not 0.995); found {value}"));
        }
        Ok(FigureLimit { scope, metric, bound, value })
    }

    fn verdict(&self, subject: &str, value: Option<f64>) -> LimitVerdict {
        let passed = value.is_some_and(|value| match self.bound {
            Bound::Min => value >= self.value,
            Bound::Max => value <= self.value,
        });
        let (metric, bound, limit) = (self.metric.name, self.bound, self.value);
        LimitVerdict { subject: subject.into(), metric, bound, limit, value, passed, single: false }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_values_are_checked() {
        let mut limits = FigureLimits::default();
        let mut add = |text: &str| limits.add_text(Scope::Gross, Bound::Min, text);
        assert_eq!(add("se=99.5"), Ok(()));
        assert!(add("see=99.5").expect_err("unknown").contains("nearest: se;"));
        assert!(add("se=0.995").expect_err("fraction").contains("percent"));
        assert!(add("se").expect_err("form").contains("name=value"));
        assert!(add("se=x").expect_err("number").contains("not a number"));
        assert!(add("missed=NaN").is_err());
        assert!(limits.add_json("{\"gross\":{\"min\":{\"se\":99,}}}").is_err());
        assert!(limits.add_json("{\"gros\":{}}").is_err());
        let twice = limits.add_json("{\"gross\":{\"min\":{\"se\":99,\n\"se\":0}}}").expect_err("given twice");
        assert!(matches!(twice.place, InputPosition::LineColumn(2, _)) && twice.what.contains("given twice"));
        assert_eq!(limits.add_json("{\"each\":{\"max\":{\"missed\":3}}}"), Ok(()));
        assert_eq!(limits.all.len(), 2);
        assert_eq!(
            limits.add_json("{\"by\":{\"rhythm\":{\"*\":{\"min\":{\"se\":90}}}},\"loss\":{\"se\":0.5}}"),
            Ok(())
        );
        assert_eq!((limits.by.len(), &limits.losses[..]), (1, &[("se", 0.5)][..]));
        assert!(
            limits
                .add_json("{\"by\":{\"rhythm\":{\"*\":{\"min\":{\"see\":90}}}}}")
                .unwrap_err()
                .what
                .contains("by.rhythm.*: no figure")
        );
        assert!(limits.add_loss_text("found=1").unwrap_err().contains("is compared; allowed: se"));
        assert!(limits.add_loss_text("se=-1").is_err());
    }
}
