//! The report as one page that prints well.

use super::Report;
use crate::guide::guide;
use crate::judge::{JudgedItem, OverallVerdict, Verdict, plain, signed, yes};
use crate::markup::{self, DarkMode, cautions, lines, look, meta, text};
use crate::plan::PlanItem;
use crate::record::{ABOUT, EarlierAnswer};
use crate::trend::{Trend, date};
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// Stands where there is nothing.
const NONE: &str = "\u{2013}";

/// The page.
pub fn html(report: &Report<'_>) -> String {
    let style = [look(DarkMode::AsTheSystem).as_str(), include_str!("../page/report.css")].concat();
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                (meta(""))
                title { (text(&report.plan.title)) ": report" }
                style { (PreEscaped(style)) }
            }
            body {
                main {
                    (banner(report))
                    (changes(report))
                    (failed(report))
                    (about(report))
                    (results(report))
                    (preparations(report))
                    (photos(report))
                    (trends(report))
                    (cautions(&report.plan.cautions))
                    section class="sign" aria-label="Signatures on paper" {
                        p { "Done by, date" }
                        p { "Checked by, date" }
                    }
                }
                (foot(report))
            }
        }
    };
    page.into_string()
}

fn banner(report: &Report<'_>) -> Markup {
    let known = ["Report", report.record.about("asset"), date(report.record)];
    let kind: Vec<&str> = known.into_iter().filter(|word| !word.is_empty()).collect();
    let (word, class, said) = match report.judgement.overall {
        _ if !report.objections().is_empty() => ("Changed", "fail", "Do not rely on this record: see below."),
        OverallVerdict::Passed => ("Passed", "pass", "Every check passed or was skipped for a reason."),
        OverallVerdict::Failed => ("Failed", "fail", "At least one check failed."),
        OverallVerdict::Incomplete => ("Incomplete", "skipped", "Nothing failed, but something is missing."),
    };
    html! {
        header class="banner" data-verdict=(class) {
            div {
                p class="kind" { (text(&kind.join(" \u{b7} "))) }
                h1 { (text(&report.plan.title)) }
            }
            p class="overall verdict" { span class="mark" aria-hidden="true" {} (word) }
            p class="counts" { (report.judgement.counts()) ". " (said) }
        }
    }
}

/// Objections to the record, and notes on it.
fn changes(report: &Report<'_>) -> Markup {
    let objections = report.objections();
    let signed = report.integrity.signed.iter().map(|signed| format!("Signed: {signed}"));
    let notes: Vec<String> = signed.chain(report.integrity.unknown.iter().cloned()).collect();
    html! {
        @if !objections.is_empty() {
            section class="card changed" aria-labelledby="changed" {
                h2 id="changed" { "Changed" }
                ul { (lines(&objections)) }
            }
        }
        @if !notes.is_empty() {
            section class="card" aria-label="Notes" { ul { (lines(&notes)) } }
        }
    }
}

fn about(report: &Report<'_>) -> Markup {
    let fact = |name: &str, value: &str| {
        let value = if value.trim().is_empty() { NONE } else { value.trim() };
        html! { div { dt { (text(name)) } dd { (text(value)) } } }
    };
    let record = report.record;
    html! {
        section class="card" aria-labelledby="equipment" {
            h2 id="equipment" { "Equipment and people" }
            dl class="facts" {
                @for (word, name) in ABOUT { (fact(name, record.about(word))) }
                @for of in &record.instruments {
                    @let due = if of.due.is_empty() { "" } else { ", calibrated until " };
                    (fact(&of.what, &[&of.id, due, &of.due].concat()))
                }
                @for (role, name) in [("done", "Done by"), ("checked", "Checked by")] {
                    @match record.signatures.get(role) {
                        Some(of) => (fact(name, &format!("{} {}", of.name, of.at))),
                        None => (fact(name, "")),
                    }
                }
            }
        }
    }
}

/// A table that scrolls sideways, labelled by the heading `id`.
fn wide(id: &str, heads: &[&str], rows: Markup) -> Markup {
    html! {
        div class="wide" tabindex="0" role="region" aria-labelledby=(id) {
            table {
                thead { tr { @for head in heads { th scope="col" { (head) } } } }
                tbody { (rows) }
            }
        }
    }
}

/// The items that failed, each with the places to look at next; nothing when none did.
fn failed(report: &Report<'_>) -> Markup {
    html! {
        @if report.judgement.count(Verdict::Fail) > 0 {
            section class="card" aria-labelledby="failed" {
                h2 id="failed" { "Failed" }
                (items(report, "failed", true))
            }
        }
    }
}

/// Every item.
fn results(report: &Report<'_>) -> Markup {
    html! {
        section class="card" aria-labelledby="results" {
            h2 id="results" { "All results" }
            (items(report, "results", false))
        }
    }
}

/// The items below the heading `id`: all of them, or only those that failed, with advice.
fn items(report: &Report<'_>, id: &str, failed_only: bool) -> Markup {
    let mut last = "";
    let mut shown = Vec::new();
    let rows = report.judgement.items.iter().filter(|(_, _, judged)| !failed_only || judged.verdict == Verdict::Fail);
    let rows = rows.map(|(step, item, judged)| {
        let begins = std::mem::replace(&mut last, &step.id) != step.id;
        let advice = if failed_only { guide(&report.judgement, *item, judged) } else { Vec::new() };
        // Readings of one pressure fail together; the advice is shown once.
        let again = advice == shown;
        shown.clone_from(&advice);
        html! {
            @if begins {
                tr class="step" {
                    th colspan="5" scope="rowgroup" {
                        (text(&step.id)) ". " (text(&step.name)) " " span class="plays" { (text(&step.plays)) }
                    }
                }
            }
            (row(*item, judged, &report.record.earlier))
            @if !advice.is_empty() && !again {
                tr class="guide" { td colspan="5" { p { "Check next" } ol { (lines(&advice)) } } }
            }
        }
    });
    let heads = ["Check", "Expected", "Allowed, and why", "Read", "Verdict"];
    let rows: Vec<Markup> = rows.collect();
    wide(id, &heads, html! { @for row in rows { (row) } })
}

fn row(item: PlanItem<'_>, judged: &JudgedItem<'_>, earlier: &[EarlierAnswer]) -> Markup {
    let written = judged.entry.value.trim();
    let (expected, allowed, source, read) = match item {
        PlanItem::Reading(reading) => {
            let expected = match reading.expected() {
                expected if expected.is_empty() => NONE.to_owned(),
                expected => expected,
            };
            let own = judged.value.map_or(written.to_owned(), |value| format!("{} {}", plain(value), reading.unit));
            // A value written in another unit is shown as it was written too.
            let as_written =
                if written.chars().any(char::is_alphabetic) { format!(" (written {written})") } else { String::new() };
            (expected, reading.allowed.clone(), reading.source.as_str(), format!("{own}{as_written}"))
        }
        PlanItem::Alarm(alarm) => {
            let read = match judged.value {
                Some(delay) => format!("{} s, {}", plain(delay), judged.entry.priority.trim()),
                None => written.to_owned(),
            };
            let allowed = format!("within {} s", plain(alarm.latest_s()));
            (format!("{} priority", alarm.priority), allowed, alarm.source.as_str(), read)
        }
        PlanItem::Silence(_) => {
            let read = match judged.verdict {
                Verdict::Pass => "stayed silent",
                Verdict::Fail => "sounded",
                _ => "",
            };
            ("silence".to_owned(), "must not sound".to_owned(), "", read.to_owned())
        }
        PlanItem::Check(check) => {
            let read = match judged.verdict {
                Verdict::Pass => "in order",
                Verdict::Fail => "not in order",
                _ => written,
            };
            ("in order".to_owned(), "by hand".to_owned(), check.source.as_str(), read.to_owned())
        }
        PlanItem::Clear(clear) => {
            let read = judged.value.map_or(String::new(), |ended| format!("{} s", plain(ended)));
            ("it ends".to_owned(), format!("within {} s", plain(clear.latest_s())), clear.source.as_str(), read)
        }
    };
    let kind = if matches!(item, PlanItem::Reading(_) | PlanItem::Check(_)) { "" } else { "Alarm: " };
    let because = match item {
        PlanItem::Reading(reading) if !reading.why.is_empty() => Some(reading.because()),
        _ => None,
    };
    let (word, remark) = (judged.verdict.id(), judged.entry.remark.trim());
    let earlier = earlier.iter().filter(|of| of.item == item.id());
    html! {
        tr data-verdict=(word) {
            th scope="row" {
                (kind) (text(item.name()))
                @if !remark.is_empty() { p class="remark" { (text(remark)) } }
                @for of in earlier { p class="remark" { (text(&of.words())) } }
            }
            td {
                (text(&expected))
                @if let Some(because) = because { span class="source" { (text(&because)) } }
            }
            td { (text(&allowed)) span class="source" { (text(source)) } }
            td { (text(if read.is_empty() { NONE } else { &read })) }
            td {
                span class="verdict" {
                    span class="mark" aria-hidden="true" {}
                    (word)
                    @if !judged.why.is_empty() { " " span class="why" { (text(&judged.why)) } }
                }
            }
        }
    }
}

fn preparations(report: &Report<'_>) -> Markup {
    let missing = &report.judgement.missing;
    html! {
        section class="card" aria-labelledby="prepared" {
            h2 id="prepared" { "Preparation and kit" }
            @if missing.is_empty() {
                p { "Every preparation was ticked, all kit is back, and the record is signed." }
            } @else {
                p { "Missing:" }
                ul { (lines(missing)) }
            }
            @if !report.plan.kit.is_empty() {
                ul {
                    @for (index, line) in report.plan.kit.iter().enumerate() {
                        li { (text(&kit(report, index, line))) }
                    }
                }
            }
            p class="source" {
                (report.plan.preparations().len()) " preparations, " (report.plan.kit.len()) " pieces of kit in the plan."
            }
        }
    }
}

/// A piece of kit with its number, its place, and where it is.
fn kit(report: &Report<'_>, index: usize, line: &str) -> String {
    let state = report.record.kit.get(&(index + 1).to_string()).cloned().unwrap_or_default();
    let is = match (yes(&state.out), yes(&state.back)) {
        (true, true) => "back",
        (true, false) => "out",
        (false, _) => "not taken out",
    };
    format!("{}: {is}", state.words(line))
}

fn photos(report: &Report<'_>) -> Markup {
    let name = |id: &str| {
        let found = report.judgement.items.iter().find(|(_, item, _)| item.id() == id);
        found.map_or("The equipment".to_owned(), |(step, item, _)| format!("{}, {}", item.name(), step.name))
    };
    html! {
        @if !report.record.photos.is_empty() {
            section class="card" aria-labelledby="photos" {
                h2 id="photos" { "Photos" }
                p class="source" { "Files beside the record, with the digest that the record has of each." }
                ul {
                    @for photo in &report.record.photos {
                        li { (text(&name(&photo.item))) ": " (text(&photo.name)) span class="source" { (text(&photo.at)) ", " (text(&photo.digest)) } }
                    }
                }
            }
        }
    }
}

fn trends(report: &Report<'_>) -> Markup {
    let row = |trend: &Trend| {
        html! {
            tr {
                th scope="row" { (text(&trend.name)) }
                td {
                    @for (index, point) in trend.points.iter().enumerate() {
                        @if index > 0 { br; }
                        (text(&point.date)) " " (signed(point.error))
                    }
                }
                td {
                    (signed(trend.drift)) " " (text(&trend.unit)) " "
                    @if trend.noticeable { strong { "noticeable" } }
                }
                td { (line(trend)) }
            }
        }
    };
    let rows = html! { @for trend in &report.trends { (row(trend)) } };
    html! {
        @if !report.trends.is_empty() {
            section class="card" aria-labelledby="trends" {
                h2 id="trends" { "Trend of this asset" }
                p class="source" {
                    "Error of each reading, from the earliest record to this one; the band is the tolerance. "
                    "A drift of more than half of it is marked."
                }
                (wide("trends", &["Reading", "Errors", "Drift", "Over time"], rows))
            }
        }
    }
}

/// The errors as a small line over the band that is allowed.
fn line(trend: &Trend) -> Markup {
    const WIDTH: f64 = 160.0;
    const HEIGHT: f64 = 44.0;
    let largest = trend.points.iter().map(|point| point.error.abs()).fold(trend.width.unwrap_or(0.0), f64::max);
    let scale = if largest > 0.0 { (HEIGHT / 2.0 - 4.0) / largest } else { 0.0 };
    let step = (WIDTH - 10.0) / (trend.points.len().max(2) - 1) as f64;
    let y = |error: f64| plain(HEIGHT / 2.0 - error * scale);
    let x = |index: usize| plain(5.0 + index as f64 * step);
    let points: Vec<(String, String)> =
        trend.points.iter().enumerate().map(|(i, point)| (x(i), y(point.error))).collect();
    let joined = points.iter().map(|(x, y)| format!("{x},{y}")).collect::<Vec<_>>().join(" ");
    html! {
        svg class="trend" viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } width=(WIDTH) height=(HEIGHT) aria-hidden="true" {
            @if let Some(width) = trend.width {
                rect x="0" y=(y(width)) width=(WIDTH) height=(plain(2.0 * width * scale)) {}
            }
            path d={ "M0 " (HEIGHT / 2.0) "H" (WIDTH) } {}
            polyline points=(joined) {}
            @for (x, y) in &points { circle cx=(x) cy=(y) r="2.5" {} }
        }
    }
}

fn foot(report: &Report<'_>) -> Markup {
    let (plan, record) = (report.plan, report.record);
    let facts = [
        ("Record", record.digest.as_deref().unwrap_or("none")),
        ("Saved", &record.saved_at),
        ("Script", &plan.script_digest),
        ("Seed", &plan.seed),
    ];
    let frames = &plan.frames;
    html! {
        footer {
            p { (text(&plan.notes)) }
            dl {
                @for (name, value) in facts { dt { (name) } dd { (text(value)) } }
                dt { "Frames" } dd { (frames.count) " at " (frames.rate_hz) " a second, " (text(&frames.digest)) }
                dt { "Rig" } dd { (markup::rig(plan)) }
                dt { "Plan" } dd { (text(&plan.digest)) }
                dt { "Made by" } dd { (text(&plan.made_by)) }
            }
            p {
                "A digest shows that a file was changed by mistake or in passing. "
                "A forger can compute a new one: keep a signed copy."
            }
        }
    }
}
