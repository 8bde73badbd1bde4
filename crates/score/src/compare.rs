//! Two reports of the same records: which figures became better or worse, by how much, and how sure that is.
//!
//! Records that both reports have are compared. The interval is that of a record bootstrap: as many records as there are
//! are drawn with replacement, the same ones from both reports, and the figures pooled over them; of [`RESAMPLES`] such
//! differences the middle 95 % are the interval (percentile method; B. Efron and R. Tibshirani, "An Introduction to the
//! Bootstrap", 1993, from memory). Draws have a fixed seed, so a comparison is the same every time.

use crate::read::{InputPosition, TableProblem};
use crate::record::RecordReport;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use serde::Serialize;
use serde_json::Value;
use std::collections::BTreeMap;

/// Draws of a bootstrap.
pub const RESAMPLES: usize = 2000;

/// Seed of the draws.
const SEED: u64 = 1;

/// Records listed as changed most.
const LISTED: usize = 10;

/// A figure whose pooled value comes from two sums over the records.
struct Pooled {
    name: &'static str,
    higher_is_better: bool,
    sums: fn(&Value) -> Option<[f64; 2]>,
    value: fn(f64) -> f64,
}

const fn percent(name: &'static str, sums: fn(&Value) -> Option<[f64; 2]>) -> Pooled {
    Pooled { name, higher_is_better: true, sums, value: |ratio| 100.0 * ratio }
}

const fn error(name: &'static str, sums: fn(&Value) -> Option<[f64; 2]>) -> Pooled {
    Pooled { name, higher_is_better: false, sums, value: f64::sqrt }
}

/// Figures that are compared, by their names among all figures.
const FIGURES: &[Pooled] = &[
    percent("se", |record| share(record, "/detection/sensitivity")),
    percent("ppv", |record| share(record, "/detection/predictivity")),
    percent("veb_se", |record| share(record, "/ventricular/sensitivity")),
    percent("veb_ppv", |record| share(record, "/ventricular/predictivity")),
    percent("sveb_se", |record| share(record, "/supraventricular/sensitivity")),
    percent("sveb_ppv", |record| share(record, "/supraventricular/predictivity")),
    error("rr_rms_ms", |record| squares(record, "/rates/rr_ms")),
    error("rr_intact_rms_ms", |record| squares(record, "/rates/rr_intact_ms")),
    error("rate_rms_bpm", |record| squares(record, "/rates/rate_bpm")),
];

/// Names of the figures that are compared.
pub fn figures() -> impl Iterator<Item = &'static str> {
    FIGURES.iter().map(|figure| figure.name)
}

fn share(record: &Value, path: &str) -> Option<[f64; 2]> {
    let share = record.pointer(path)?;
    Some([share.get("part")?.as_f64()?, share.get("whole")?.as_f64()?])
}

fn squares(record: &Value, path: &str) -> Option<[f64; 2]> {
    let errors = record.pointer(path)?;
    let (count, rms) = (errors.get("count")?.as_f64()?, errors.get("rms")?.as_f64().unwrap_or(0.0));
    Some([count * rms * rms, count])
}

/// An earlier report, as `score` or `suite` wrote it in JSON.
#[derive(Clone, Debug)]
pub struct EarlierReport {
    rules: Value,
    records: BTreeMap<String, Value>,
}

/// A comparison with an earlier report.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// Records that both reports have.
    pub records: usize,
    /// Records that this report alone has.
    pub only_here: usize,
    /// Records that the earlier report alone has.
    pub only_earlier: usize,
    /// Records with fewer events missed and extra than before.
    pub better: usize,
    /// Records with more of them.
    pub worse: usize,
    /// Draws of the bootstrap.
    pub resamples: usize,
    /// Each figure that both reports have, pooled over the records of both.
    pub figures: Vec<FigureChange>,
    /// Records whose number of events missed and extra changed most.
    pub changed_most: Vec<RecordChange>,
}

/// A figure before and now.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FigureChange {
    /// Its name.
    pub metric: &'static str,
    /// Before.
    pub earlier: f64,
    /// Now.
    pub now: f64,
    /// Now less before.
    pub change: f64,
    /// Lower end of the 95 % interval of the change; `None` for a single record.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// The change in a word.
    pub verdict: Direction,
}

/// A change in a word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    /// The whole interval lies on the better side of no change.
    Better,
    /// The whole interval lies on the worse side.
    Worse,
    /// No difference at all.
    Same,
    /// The interval holds no change as well.
    NotShown,
}

impl Direction {
    /// For people.
    pub fn word(self) -> &'static str {
        match self {
            Direction::Better => "better",
            Direction::Worse => "worse",
            Direction::Same => "same",
            Direction::NotShown => "not shown",
        }
    }
}

/// Events missed and extra of a record, before and now.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct RecordChange {
    /// The record.
    pub record: String,
    /// Before.
    pub earlier: u64,
    /// Now.
    pub now: u64,
}

impl EarlierReport {
    /// Reads a report.
    ///
    /// # Errors
    /// When it is none of the two.
    pub fn parse(text: &str) -> Result<EarlierReport, TableProblem> {
        let document = pulsewright_text::json::value(text)
            .map_err(|broken| TableProblem::new(InputPosition::LineColumn(broken.line, broken.column), broken.what))?;
        let wrong = || TableProblem::new(InputPosition::Whole, "not a report that score or suite wrote in JSON");
        let report = document.get("score").filter(|score| score.is_object()).unwrap_or(&document);
        let records = report.get("records").and_then(Value::as_array).ok_or_else(wrong)?;
        let rules = report.get("rules").filter(|rules| rules.is_object()).ok_or_else(wrong)?.clone();
        let named = records.iter().map(|record| {
            let name = record.get("record")?.as_str()?.to_owned();
            record.get("detection").map(|_| (name, record.clone()))
        });
        Ok(EarlierReport { rules, records: named.collect::<Option<_>>().ok_or_else(wrong)? })
    }
}

impl Comparison {
    /// Of the records of a report, scored by `rules` as the report has them in JSON, with an earlier one.
    ///
    /// # Errors
    /// When they were scored by different rules, or have no record in common.
    pub fn new(rules: &Value, records: &[RecordReport], earlier: &EarlierReport) -> Result<Comparison, String> {
        if let Some((key, _)) =
            rules.as_object().into_iter().flatten().find(|(key, rule)| earlier.rules.get(key) != Some(rule))
        {
            return Err(format!("the earlier report was scored by another rule: {key}"));
        }
        let mut pairs = Vec::new();
        let mut only_here = 0;
        for record in records {
            match earlier.records.get(&record.record) {
                Some(before) => pairs.push((serde_json::to_value(record).unwrap_or_default(), before)),
                None => only_here += 1,
            }
        }
        if pairs.is_empty() {
            return Err("the earlier report has none of these records".to_owned());
        }
        let mut changed: Vec<RecordChange> = pairs.iter().map(changed).collect();
        let better = changed.iter().filter(|one| one.now < one.earlier).count();
        let worse = changed.iter().filter(|one| one.now > one.earlier).count();
        changed.retain(|one| one.now != one.earlier);
        changed.sort_by_key(|one| std::cmp::Reverse(one.now.abs_diff(one.earlier)));
        changed.truncate(LISTED);
        Ok(Comparison {
            records: pairs.len(),
            only_here,
            only_earlier: earlier.records.len() - pairs.len(),
            better,
            worse,
            resamples: if pairs.len() > 1 { RESAMPLES } else { 0 },
            figures: changes(&pairs),
            changed_most: changed,
        })
    }

    /// By how much a figure is worse than before; 0 when it is not, `None` when the reports do not both have it.
    pub fn loss(&self, metric: &str) -> Option<f64> {
        let change = self.figures.iter().find(|change| change.metric == metric)?.change;
        Some(if higher_is_better(metric) { -change } else { change }.max(0.0))
    }
}

fn higher_is_better(name: &str) -> bool {
    FIGURES.iter().any(|figure| figure.name == name && figure.higher_is_better)
}

fn changed((now, earlier): &(Value, &Value)) -> RecordChange {
    let wrong = |record: &Value| {
        let count = |key: &str| record.pointer(key).and_then(Value::as_u64).unwrap_or(0);
        count("/detection/missed") + count("/detection/extra")
    };
    let record = now.get("record").and_then(Value::as_str).unwrap_or_default().to_owned();
    RecordChange { record, earlier: wrong(earlier), now: wrong(now) }
}

/// Sums of a figure over one record: now, and before.
type Sums = [[f64; 2]; 2];

fn changes(pairs: &[(Value, &Value)]) -> Vec<FigureChange> {
    let weights = vec![1.0; pairs.len()];
    let known = FIGURES.iter().filter_map(|figure| {
        let sums =
            |(now, earlier): &(Value, &Value)| [now, *earlier].map(|side| (figure.sums)(side).unwrap_or([0.0; 2]));
        let sums: Vec<Sums> = pairs.iter().map(sums).collect();
        Some((figure, pooled(figure, &sums, &weights)?, sums))
    });
    let known: Vec<(&Pooled, [f64; 2], Vec<Sums>)> = known.collect();
    let mut differences: Vec<Vec<f64>> = vec![Vec::with_capacity(RESAMPLES); known.len()];
    if pairs.len() > 1 {
        let mut draws = ChaCha8Rng::seed_from_u64(SEED);
        for _ in 0..RESAMPLES {
            let mut weights = vec![0.0; pairs.len()];
            for _ in 0..pairs.len() {
                // The high half of a product: every record alike, to within some billionths.
                let drawn = (u64::from(draws.next_u32()) * pairs.len() as u64) >> 32;
                weights[drawn as usize] += 1.0;
            }
            for ((figure, _, sums), differences) in known.iter().zip(&mut differences) {
                if let Some([now, earlier]) = pooled(figure, sums, &weights) {
                    differences.push(now - earlier);
                }
            }
        }
    }
    let all = known.into_iter().zip(differences);
    all.map(|((figure, pooled, _), differences)| FigureChange::new(figure, pooled, differences)).collect()
}

impl FigureChange {
    /// Of a figure now and before, and the differences of its resamples.
    fn new(figure: &Pooled, [now, earlier]: [f64; 2], mut differences: Vec<f64>) -> FigureChange {
        differences.sort_by(f64::total_cmp);
        let (low, high) = (quantile(&differences, 0.025), quantile(&differences, 0.975));
        let change = now - earlier;
        let verdict = match (low, high) {
            _ if change == 0.0 && low.unwrap_or(0.0) == 0.0 && high.unwrap_or(0.0) == 0.0 => Direction::Same,
            (Some(low), _) if low > 0.0 && figure.higher_is_better => Direction::Better,
            (Some(low), _) if low > 0.0 => Direction::Worse,
            (_, Some(high)) if high < 0.0 && figure.higher_is_better => Direction::Worse,
            (_, Some(high)) if high < 0.0 => Direction::Better,
            _ => Direction::NotShown,
        };
        FigureChange { metric: figure.name, earlier, now, change, low, high, verdict }
    }
}

/// A figure now and before over weighted records; `None` where there is nothing to count.
fn pooled(figure: &Pooled, sums: &[Sums], weights: &[f64]) -> Option<[f64; 2]> {
    let mut total = [[0.0; 2]; 2];
    for (sums, weight) in sums.iter().zip(weights).filter(|(_, weight)| **weight > 0.0) {
        for (total, sums) in total.iter_mut().zip(sums) {
            total[0] += weight * sums[0];
            total[1] += weight * sums[1];
        }
    }
    let [now, earlier] = total.map(|[part, whole]| (whole > 0.0).then(|| (figure.value)(part / whole)));
    Some([now?, earlier?])
}

/// Quantile of sorted values, between neighbours in a straight line.
fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let place = share * sorted.len().checked_sub(1)? as f64;
    let (low, high) = (sorted.get(place.floor() as usize)?, sorted.get(place.ceil() as usize)?);
    Some(low + (high - low) * place.fract())
}
