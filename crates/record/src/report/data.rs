//! The report for a maintenance database.

use super::Report;
use crate::guide::guide;
use crate::plan::PlanItem;
use crate::record::EarlierAnswer;
use crate::trend::date;
use pulsewright_text::fit;
use pulsewright_text::number::short;
use serde_json::{Value, json};

/// The report as JSON.
pub fn json(report: &Report<'_>) -> String {
    let items: Vec<Value> = report
        .judgement
        .items
        .iter()
        .map(|(step, item, judged)| {
            let mut value = json!({
                "id": item.id(), "step": step.name, "name": item.name(), "verdict": judged.verdict, "why": judged.why,
                "written": judged.entry.value.trim(), "value": judged.value, "remark": judged.entry.remark.trim(),
                "guide": guide(&report.judgement, *item, judged)
            });
            let earlier = report.record.earlier.iter().filter(|of| of.item == item.id());
            value["earlier"] = earlier.map(EarlierAnswer::words).collect();
            match item {
                PlanItem::Reading(reading) => {
                    value["unit"] = reading.unit.as_str().into();
                    value["expected"] = reading.value.into();
                    value["low"] = reading.low.into();
                    value["high"] = reading.high.into();
                    value["because"] = reading.why.as_str().into();
                    value["allowed"] = reading.allowed.as_str().into();
                    value["source"] = reading.source.as_str().into();
                }
                PlanItem::Alarm(alarm) => {
                    value["unit"] = "s".into();
                    value["onset_s"] = alarm.onset_s.into();
                    value["within_s"] = alarm.within_s.into();
                    value["priority"] = alarm.priority.as_str().into();
                    value["priority_shown"] = judged.entry.priority.trim().into();
                    value["source"] = alarm.source.as_str().into();
                }
                PlanItem::Silence(_) => value["silent"] = true.into(),
                PlanItem::Check(check) => value["source"] = check.source.as_str().into(),
                PlanItem::Clear(clear) => {
                    value["unit"] = "s".into();
                    value["end_s"] = clear.end_s.into();
                    value["within_s"] = clear.within_s.into();
                    value["source"] = clear.source.as_str().into();
                }
            }
            value
        })
        .collect();
    let trends: Vec<Value> = report
        .trends
        .iter()
        .map(|trend| {
            let points: Vec<Value> = trend
                .points
                .iter()
                .map(|point| json!({"date": point.date, "error": point.error, "verdict": point.verdict}))
                .collect();
            json!({
                "name": trend.name, "unit": trend.unit, "drift": trend.drift, "noticeable": trend.noticeable,
                "points": points
            })
        })
        .collect();
    let value = json!({
        "title": report.plan.title,
        "asset_class": report.plan.asset_class,
        "about": report.record.about,
        "overall": report.overall_id(),
        "passed": report.passed(),
        "counts": report.judgement.counts(),
        "items": items,
        "missing": report.judgement.missing,
        "changed": report.objections(),
        "unknown": report.integrity.unknown,
        "signed": report.integrity.signed,
        "trends": trends,
        "instruments": report.record.instruments,
        "signatures": report.record.signatures,
        "script_digest": report.plan.script_digest,
        "seed": report.plan.seed,
        "frames": report.plan.frames,
        "rig": report.plan.rig,
        "plan_digest": report.plan.digest,
        "record_digest": report.record.digest,
        "made_by": report.plan.made_by,
        "judged_by": format!("pulsewright {}", env!("CARGO_PKG_VERSION"))
    });
    fit::json(&format!("{value:#}\n")).into_owned()
}

const HEADS: [&str; 16] = [
    "asset",
    "date",
    "work_order",
    "overall",
    "step",
    "step_name",
    "item",
    "expected",
    "unit",
    "allowed",
    "source",
    "written",
    "value",
    "verdict",
    "why",
    "remark",
];

/// The report as CSV, a row for each item.
pub fn csv(report: &Report<'_>) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let number = |value: Option<f64>| value.map_or(String::new(), short);
    let record = report.record;
    let overall = report.overall_id();
    // Writing to memory cannot fail.
    let _ = writer.write_record(HEADS);
    for (step, item, judged) in &report.judgement.items {
        let (expected, unit, allowed, source) = match item {
            PlanItem::Reading(reading) => {
                let expected = match reading.band() {
                    Some([low, high]) if reading.moves() => format!("{low} to {high}"),
                    _ => number(reading.value),
                };
                (expected, reading.unit.as_str(), reading.allowed.clone(), reading.source.as_str())
            }
            PlanItem::Alarm(alarm) => {
                let allowed = format!("{} priority within {} s", alarm.priority, alarm.latest_s());
                (String::new(), "s", allowed, alarm.source.as_str())
            }
            PlanItem::Silence(_) => (String::new(), "", "must not sound".to_owned(), ""),
            PlanItem::Check(check) => (String::new(), "", "in order".to_owned(), check.source.as_str()),
            PlanItem::Clear(clear) => {
                (String::new(), "s", format!("ends within {} s", clear.latest_s()), clear.source.as_str())
            }
        };
        let cells = [
            record.about("asset"),
            date(record),
            record.about("work_order"),
            overall,
            &step.id,
            &step.name,
            item.id(),
            &expected,
            unit,
            &allowed,
            source,
            judged.entry.value.trim(),
            &number(judged.value),
            judged.verdict.id(),
            &judged.why,
            judged.entry.remark.trim(),
        ];
        let _ = writer.write_record(cells.map(fit::cell).iter().map(|cell| cell.as_bytes()));
    }
    String::from_utf8(writer.into_inner().unwrap_or_default()).unwrap_or_default()
}
