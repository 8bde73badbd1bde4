//! Readings of the same asset over earlier records: how each error moved.

use crate::calendar::day;
use crate::judge::{Judgement, Verdict};
use crate::plan::{Plan, PlanItem, PlanReading};
pub use crate::record::date;
use crate::record::{Record, broken_seal};
use pulsewright_score::tolerance::Tolerance;

/// One earlier or present reading.
#[derive(Clone, Debug, PartialEq)]
pub struct TrendPoint {
    /// The record's date as written.
    pub date: String,
    /// Reading less expected value, in the unit; the reading itself when nothing was expected.
    pub error: f64,
    /// Its verdict.
    pub verdict: Verdict,
}

/// One quantity of one step over time.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// Step and quantity, in words.
    pub name: String,
    /// Unit.
    pub unit: String,
    /// Largest error allowed at present; `None` where a range counts.
    pub width: Option<f64>,
    /// From the earliest record to the present one.
    pub points: Vec<TrendPoint>,
    /// Last error less the first, in the unit.
    pub drift: f64,
    /// Whether the drift is more than half of the tolerance.
    pub noticeable: bool,
}

/// Trends of the readings that an earlier record of the same asset has too. Days are written as 2026-11-25; other texts come
/// first.
///
/// Readings belong together when step name and quantity are the same. A table has no plan and is read by the present one.
/// Also returns the number of records left out: those of other assets, and those changed since they were saved.
pub fn trends(plan: &Plan, record: &Record, earlier: &[Record]) -> (Vec<Trend>, usize) {
    let same = |other: &&Record| other.about("asset") == record.about("asset") && broken_seal(other).is_none();
    let mut before: Vec<&Record> = earlier.iter().filter(same).collect();
    let left_out = earlier.len() - before.len();
    before.sort_by_key(|record| (day(date(record)), date(record)));
    let all: Vec<(&Record, &Plan)> =
        before.iter().map(|other| (*other, other.plan.as_ref().unwrap_or(plan))).chain([(record, plan)]).collect();
    let judged: Vec<(&Record, Judgement<'_>)> =
        all.iter().map(|(record, plan)| (*record, Judgement::new(plan, record))).collect();
    let mut trends = Vec::new();
    for (step, item) in plan.items() {
        let PlanItem::Reading(reading) = item else { continue };
        let points: Vec<TrendPoint> =
            judged.iter().filter_map(|(record, judgement)| point(record, judgement, &step.name, reading)).collect();
        let (Some(first), Some(last)) = (points.first(), points.last()) else { continue };
        if points.len() < 2 {
            continue;
        }
        let drift = last.error - first.error;
        let allowed =
            Tolerance { absolute: reading.tolerance, percent: reading.tolerance_percent, min: None, max: None };
        let width = reading.value.and_then(|value| allowed.width(value));
        let noticeable = width.is_some_and(|width| drift.abs() > width / 2.0);
        let name = format!("{}. {}: {}", step.id, step.name, reading.name);
        trends.push(Trend { name, unit: reading.unit.clone(), width, points, drift, noticeable });
    }
    (trends, left_out)
}

fn point(record: &Record, judgement: &Judgement<'_>, step: &str, reading: &PlanReading) -> Option<TrendPoint> {
    let found = judgement.items.iter().find(|(of, item, _)| {
        of.name == step && matches!(item, PlanItem::Reading(other) if other.quantity == reading.quantity)
    });
    let (_, item, judged) = found?;
    let PlanItem::Reading(of) = item else { return None };
    let error = judged.value? - of.value.unwrap_or(0.0);
    Some(TrendPoint { date: date(record).to_owned(), error, verdict: judged.verdict })
}
