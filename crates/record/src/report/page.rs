//! The report as one page that prints well.

use super::Report;
use crate::guide::guide;
use crate::judge::{Judged, Overall, Verdict, plain, signed};
use crate::markup::{CAUTIONS, Dark, lines, look};
use crate::plan::Item;
use crate::record::ABOUT;
use crate::trend::{Trend, date};
use pulsewright_plot::svg::escape;
use std::fmt::Write as _;

// Writing to a string cannot fail; results of `write!` are dropped throughout.

/// The page.
pub fn html(report: &Report<'_>) -> String {
    let mut html = String::new();
    head(report, &mut html);
    about(report, &mut html);
    results(report, &mut html);
    preparations(report, &mut html);
    trends(report, &mut html);
    let _ = writeln!(
        html,
        "<section class=\"card caution\" aria-labelledby=\"cautions\"><h2 id=\"cautions\">Cautions</h2><ul>{}{}</ul></section>\n<section class=\"sign\" aria-label=\"Signatures on paper\"><p>Done by, date</p><p>Checked by, date</p></section></main>",
        lines(CAUTIONS),
        lines(&report.plan.cautions)
    );
    foot(report, &mut html);
    html
}

fn head(report: &Report<'_>, html: &mut String) {
    let title = escape(&report.plan.title);
    let known = ["Report", report.record.about("asset"), date(report.record)];
    let kind: Vec<&str> = known.into_iter().filter(|word| !word.is_empty()).collect();
    let (word, class, said) = match report.judgement.overall {
        _ if !report.objections().is_empty() => ("Changed", "fail", "Do not rely on this record: see below."),
        Overall::Passed => ("Passed", "pass", "Every check passed or was skipped for a reason."),
        Overall::Failed => ("Failed", "fail", "At least one check failed."),
        Overall::Incomplete => ("Incomplete", "skipped", "Nothing failed, but something is missing."),
    };
    let _ = write!(
        html,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'\">\n\
         <title>{title}: report</title>\n<style>\n{}{}</style>\n</head>\n<body>\n<main>\n\
         <header class=\"banner\" data-verdict=\"{class}\"><div><p class=\"kind\">{}</p><h1>{title}</h1></div>\n\
         <p class=\"overall verdict\"><span class=\"mark\" aria-hidden=\"true\"></span>{word}</p><p class=\"counts\">{}. {said}</p></header>\n",
        look(Dark::AsTheSystem),
        include_str!("../page/report.css"),
        escape(&kind.join(" \u{b7} ")),
        report.judgement.counts(),
    );
    let objections = report.objections();
    if !objections.is_empty() {
        let _ = writeln!(
            html,
            "<section class=\"card changed\" aria-labelledby=\"changed\"><h2 id=\"changed\">Changed</h2><ul>{}</ul></section>",
            lines(&objections)
        );
    }
    let signed = report.integrity.signed.iter().map(|signed| format!("Signed: {signed}"));
    let notes: Vec<String> = signed.chain(report.integrity.unknown.iter().cloned()).collect();
    if !notes.is_empty() {
        let _ = writeln!(html, "<section class=\"card\" aria-label=\"Notes\"><ul>{}</ul></section>", lines(notes));
    }
}

fn about(report: &Report<'_>, html: &mut String) {
    html.push_str("<section class=\"card\" aria-labelledby=\"equipment\"><h2 id=\"equipment\">Equipment and people</h2><dl class=\"facts\">");
    let mut fact = |name: &str, value: &str| {
        let value = if value.trim().is_empty() { "\u{2013}".to_owned() } else { escape(value.trim()) };
        let _ = write!(html, "<div><dt>{}</dt><dd>{value}</dd></div>", escape(name));
    };
    for (word, name) in ABOUT {
        fact(name, report.record.about(word));
    }
    for instrument in &report.record.instruments {
        let due =
            if instrument.due.is_empty() { String::new() } else { format!(", calibrated until {}", instrument.due) };
        fact(&instrument.what, &format!("{}{due}", instrument.id));
    }
    for (role, name) in [("done", "Done by"), ("checked", "Checked by")] {
        let signature = report.record.signatures.get(role);
        fact(name, &signature.map_or(String::new(), |signature| format!("{} {}", signature.name, signature.at)));
    }
    html.push_str("</dl></section>\n");
}

fn results(report: &Report<'_>, html: &mut String) {
    html.push_str("<section class=\"card\" aria-labelledby=\"results\"><h2 id=\"results\">Results</h2>\n<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-labelledby=\"results\"><table><thead><tr><th scope=\"col\">Check</th><th scope=\"col\">Expected</th><th scope=\"col\">Allowed, and why</th><th scope=\"col\">Read</th><th scope=\"col\">Verdict</th></tr></thead><tbody>\n");
    let mut last = "";
    let mut shown = Vec::new();
    for (step, item, judged) in &report.judgement.items {
        if step.id != last {
            let _ = writeln!(
                html,
                "<tr class=\"step\"><th colspan=\"5\" scope=\"rowgroup\">{}. {} <span class=\"plays\">{}</span></th></tr>",
                escape(&step.id),
                escape(&step.name),
                escape(&step.plays)
            );
            last = &step.id;
        }
        row(*item, judged, html);
        let advice = guide(&report.judgement, *item, judged);
        // Readings of one pressure fail together; the advice is shown once.
        if !advice.is_empty() && advice != shown {
            let _ = writeln!(
                html,
                "<tr class=\"guide\"><td colspan=\"5\"><p>Check next</p><ol>{}</ol></td></tr>",
                lines(&advice)
            );
        }
        shown = advice;
    }
    html.push_str("</tbody></table></div></section>\n");
}

fn row(item: Item<'_>, judged: &Judged<'_>, html: &mut String) {
    let written = judged.entry.value.trim();
    let (expected, allowed, source, read) = match item {
        Item::Reading(reading) => {
            let expected = match reading.expected() {
                expected if expected.is_empty() => "\u{2013}".to_owned(),
                expected => expected,
            };
            let own = judged.value.map_or(written.to_owned(), |value| format!("{} {}", plain(value), reading.unit));
            // A value written in another unit is shown as it was written too.
            let as_written =
                if written.chars().any(char::is_alphabetic) { format!(" (written {written})") } else { String::new() };
            (expected, reading.allowed.clone(), reading.source.as_str(), format!("{own}{as_written}"))
        }
        Item::Alarm(alarm) => {
            let read = match judged.value {
                Some(delay) => format!("{} s, {}", plain(delay), judged.entry.priority.trim()),
                None => written.to_owned(),
            };
            let allowed = format!("within {} s", plain(alarm.latest_s()));
            (format!("{} priority", alarm.priority), allowed, alarm.source.as_str(), read)
        }
        Item::Silence(_) => {
            let read = match judged.verdict {
                Verdict::Pass => "stayed silent",
                Verdict::Fail => "sounded",
                _ => "",
            };
            ("silence".to_owned(), "must not sound".to_owned(), "", read.to_owned())
        }
        Item::Clear(clear) => {
            let read = judged.value.map_or(String::new(), |ended| format!("{} s", plain(ended)));
            ("it ends".to_owned(), format!("within {} s", plain(clear.latest_s())), clear.source.as_str(), read)
        }
    };
    let kind = if matches!(item, Item::Reading(_)) { "" } else { "Alarm: " };
    let read = if read.is_empty() { "\u{2013}".to_owned() } else { escape(&read) };
    let why = if judged.why.is_empty() {
        String::new()
    } else {
        format!(" <span class=\"why\">{}</span>", escape(&judged.why))
    };
    let remark = judged.entry.remark.trim();
    let remark = if remark.is_empty() { String::new() } else { format!("<p class=\"remark\">{}</p>", escape(remark)) };
    let _ = writeln!(
        html,
        "<tr data-verdict=\"{word}\"><th scope=\"row\">{kind}{}{remark}</th><td>{}</td><td>{}<span class=\"source\">{}</span></td><td>{read}</td>\
         <td><span class=\"verdict\"><span class=\"mark\" aria-hidden=\"true\"></span>{word}{why}</span></td></tr>",
        escape(item.name()),
        because(item, &expected),
        escape(&allowed),
        escape(source),
        word = judged.verdict.id(),
    );
}

/// The expectation and its reason.
fn because(item: Item<'_>, expected: &str) -> String {
    match item {
        Item::Reading(reading) if !reading.why.is_empty() => {
            format!("{}<span class=\"source\">{}</span>", escape(expected), escape(&reading.because()))
        }
        _ => escape(expected),
    }
}

fn preparations(report: &Report<'_>, html: &mut String) {
    html.push_str("<section class=\"card\" aria-labelledby=\"prepared\"><h2 id=\"prepared\">Preparation and kit</h2>");
    if report.judgement.missing.is_empty() {
        html.push_str("<p>Every preparation was ticked, all kit is back, and the record is signed.</p>");
    } else {
        let _ = write!(html, "<p>Missing:</p><ul>{}</ul>", lines(&report.judgement.missing));
    }
    let _ = writeln!(
        html,
        "<p class=\"source\">{} preparations, {} pieces of kit in the plan.</p></section>",
        report.plan.preparations().len(),
        report.plan.kit.len()
    );
}

fn trends(report: &Report<'_>, html: &mut String) {
    if report.trends.is_empty() {
        return;
    }
    html.push_str("<section class=\"card\" aria-labelledby=\"trends\"><h2 id=\"trends\">Trend of this asset</h2><p class=\"source\">Error of each reading, from the earliest record to this one; the band is the tolerance. A drift of more than half of it is marked.</p>\n<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-labelledby=\"trends\"><table><thead><tr><th scope=\"col\">Reading</th><th scope=\"col\">Errors</th><th scope=\"col\">Drift</th><th scope=\"col\">Over time</th></tr></thead><tbody>\n");
    for trend in &report.trends {
        let points: Vec<String> =
            trend.points.iter().map(|point| format!("{} {}", escape(&point.date), signed(point.error))).collect();
        let mark = if trend.noticeable { "<strong>noticeable</strong>" } else { "" };
        let _ = writeln!(
            html,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{} {} {mark}</td><td>{}</td></tr>",
            escape(&trend.name),
            points.join("<br>"),
            signed(trend.drift),
            escape(&trend.unit),
            line(trend)
        );
    }
    html.push_str("</tbody></table></div></section>\n");
}

/// The errors as a small line over the band that is allowed.
fn line(trend: &Trend) -> String {
    const WIDTH: f64 = 160.0;
    const HEIGHT: f64 = 44.0;
    let largest = trend.points.iter().map(|point| point.error.abs()).fold(trend.width.unwrap_or(0.0), f64::max);
    let scale = if largest > 0.0 { (HEIGHT / 2.0 - 4.0) / largest } else { 0.0 };
    let step = (WIDTH - 10.0) / (trend.points.len().max(2) - 1) as f64;
    let y = |error: f64| plain(HEIGHT / 2.0 - error * scale);
    let x = |index: usize| plain(5.0 + index as f64 * step);
    let points: Vec<String> =
        trend.points.iter().enumerate().map(|(i, point)| format!("{},{}", x(i), y(point.error))).collect();
    let dots: String = trend
        .points
        .iter()
        .enumerate()
        .map(|(i, point)| format!("<circle cx=\"{}\" cy=\"{}\" r=\"2.5\"/>", x(i), y(point.error)))
        .collect();
    let band = trend.width.map_or(String::new(), |width| {
        format!("<rect x=\"0\" y=\"{}\" width=\"{WIDTH}\" height=\"{}\"/>", y(width), plain(2.0 * width * scale))
    });
    format!(
        "<svg class=\"trend\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" width=\"{WIDTH}\" height=\"{HEIGHT}\" aria-hidden=\"true\">{band}<path d=\"M0 {0}H{WIDTH}\"/><polyline points=\"{1}\"/>{dots}</svg>",
        HEIGHT / 2.0,
        points.join(" ")
    )
}

fn foot(report: &Report<'_>, html: &mut String) {
    let plan = report.plan;
    let rig = plan.rig.as_ref().map_or("not named".to_owned(), |rig| format!("{} {}", rig.name, rig.digest));
    let record = report.record.digest.as_deref().unwrap_or("none");
    let _ = write!(
        html,
        "<footer><p>{}</p><dl><dt>Record</dt><dd>{}</dd><dt>Saved</dt><dd>{}</dd><dt>Script</dt><dd>{}</dd><dt>Seed</dt><dd>{}</dd>\
         <dt>Frames</dt><dd>{} at {} a second, {}</dd><dt>Rig</dt><dd>{}</dd><dt>Plan</dt><dd>{}</dd><dt>Made by</dt><dd>{}</dd></dl>\n\
         <p>A digest shows that a file was changed by mistake or in passing. A forger can compute it anew: keep a signed copy.</p></footer>\n</body>\n</html>\n",
        escape(&plan.notes),
        escape(record),
        escape(&report.record.saved_at),
        escape(&plan.script_digest),
        escape(&plan.seed),
        plan.frames.count,
        plan.frames.rate_hz,
        escape(&plan.frames.digest),
        escape(&rig),
        escape(&plan.digest),
        escape(&plan.made_by),
    );
}
