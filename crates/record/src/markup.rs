//! Pieces of the pages: strips, the look that worksheet and report share.

use crate::plan::{Plan, PlanStep};
use crate::walk::EndedSteps;
use maud::{Markup, PreEscaped, html};
use pulsewright_core::frame::{Channel, Lead};
use pulsewright_plot::strip::{self, StripRow, StripSheet};
use pulsewright_plot::svg::{self, escape};
use pulsewright_text::fit;

/// When a page is dark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum DarkMode {
    /// Once its script has said so.
    Said,
    /// Where the reader's system is.
    AsTheSystem,
}

/// The look of both pages.
pub(crate) fn look(dark: DarkMode) -> String {
    let (before, after) = match dark {
        DarkMode::Said => (":root[data-theme=\"dark\"] {", "}"),
        DarkMode::AsTheSystem => ("@media (prefers-color-scheme: dark) { :root {", "} }"),
    };
    let (light, dark) = (include_str!("page/light.css"), include_str!("page/dark.css"));
    // The colours of paper come after both.
    format!(":root {{\n{light}}}\n{before}\n{dark}{after}\n{}", include_str!("page/look.css"))
}

/// Seconds of a strip.
const STRIP_S: f64 = 6.0;

/// Standing at the head of both pages.
pub const CAUTIONS: [&str; 4] = [
    "Test bench only. Never connect the rig to a person, or to equipment that is connected to one: disconnect the patient first.",
    "Isolate the rig, and verify its output with a calibrated meter before the monitor is connected.",
    "The manufacturer's service manual, local codes and licensed practice come first.",
    "Synthetic signals: no picture or reading of this page belongs into a patient's record.",
];

/// JSON that may stand in a script element.
pub(crate) fn json_in_script(json: &str) -> String {
    fit::json(json).replace('<', "\\u003c")
}

/// Foreign text on one line, fit for a page.
pub(crate) fn text(words: &str) -> Markup {
    PreEscaped(escape(words))
}

/// A list of lines as list items.
pub(crate) fn lines(lines: impl IntoIterator<Item = impl AsRef<str>>) -> Markup {
    html! {
        @for line in lines { li { (text(line.as_ref())) } }
    }
}

/// The name and the content policy of a page, whose scripts and pictures are as `policy` allows.
pub(crate) fn meta(policy: &str) -> Markup {
    let policy = format!("default-src 'none'; style-src 'unsafe-inline'; {policy}base-uri 'none'; form-action 'none'");
    html! {
        meta charset="utf-8";
        meta name="viewport" content="width=device-width, initial-scale=1";
        meta http-equiv="Content-Security-Policy" content=(policy);
    }
}

/// The cautions at the head or the foot of a page.
pub(crate) fn cautions(own: &[String]) -> Markup {
    html! {
        section class="card caution" aria-labelledby="cautions" {
            h2 id="cautions" { "Cautions" }
            ul { (lines(CAUTIONS)) (lines(own)) }
        }
    }
}

/// The rig that a plan names.
pub(crate) fn rig(plan: &Plan) -> Markup {
    match &plan.rig {
        Some(rig) => html! { (text(&rig.name)) " " (text(&rig.digest)) },
        None => html! { "not named" },
    }
}

/// The style of inline strips.
pub(crate) fn strip_style() -> String {
    svg::style_sheet(".strip ")
}

/// The strip of a step; `None` when nothing can be drawn of it.
pub(crate) fn strip(walk: &EndedSteps<'_>, index: usize, step: &PlanStep) -> Option<Markup> {
    let mut recording = walk.stretch(index, STRIP_S).ok()?;
    recording.labels.fill(step.name.clone());
    let sheet = StripSheet {
        row_s: STRIP_S,
        lines: channels(step).into_iter().map(|channel| StripRow { parts: vec![channel] }).collect(),
        title: step.plays.split(" \u{b7} ").next().map(str::to_owned),
        codes: true,
        ..StripSheet::usual()
    };
    let drawing = strip::draw(&recording, &sheet).ok()?;
    Some(PreEscaped(svg::inline(&drawing, "strip", &format!("strip-{}", step.id))))
}

/// Lead II and the other signals of the step's readings; two more at most.
fn channels(step: &PlanStep) -> Vec<Channel> {
    let mut channels = vec![Channel::Lead(Lead::II)];
    let mut add = |channel: Option<Channel>| {
        if let Some(channel) = channel.filter(|channel| channels.len() < 3 && !channels.contains(channel)) {
            channels.push(channel);
        }
    };
    for reading in &step.readings {
        match reading.quantity.rsplit_once('-') {
            Some(("respiration", _)) => add(Some(Channel::Respiration)),
            Some(("cuff", "systolic" | "diastolic" | "mean")) => add(Some(Channel::Cuff)),
            Some(("right-atrium", _)) => add(Channel::find("venous")),
            Some(("left-atrium", _)) => add(Channel::find("wedge")),
            Some((site, "systolic" | "diastolic" | "mean")) => add(Channel::find(site)),
            _ => {}
        }
    }
    if step.alarms.iter().any(|alarm| alarm.name.to_lowercase().contains("apnoea")) {
        add(Some(Channel::Respiration));
    }
    if channels.len() == 1 {
        channels.push(Channel::Lead(Lead::V1));
    }
    channels
}
