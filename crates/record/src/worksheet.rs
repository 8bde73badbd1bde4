//! The worksheet: one page that holds everything, works without a network, and saves the readings.

use crate::instruments::KINDS;
use crate::judge::plain;
use crate::markup::{self, DarkMode, cautions, json_in_script, lines, look, meta, text};
use crate::plan::{Plan, PlanAlarm, PlanCheck, PlanClear, PlanReading, PlanSilence, PlanStep};
use crate::record::ABOUT;
use crate::rules::EntryRule;
use crate::walk::EndedSteps;
use crate::written;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use pulsewright_script::Document;
use serde_json::json;

/// The last row for instruments.
const OTHER: &str = "Other";

/// The page of a plan that was made of `document`.
pub fn page(plan: &Plan, document: &Document) -> String {
    let walk = EndedSteps::new(document);
    // A step with nothing to read is passed over; its strip would only be in the way.
    let strip = |walk, index, step: &PlanStep| if step.asks() { markup::strip(walk, index, step) } else { None };
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            (head(plan))
            body {
                (top(plan))
                div class="frame" {
                    (steps(plan))
                    main id="main" {
                        (cautions(&plan.cautions))
                        (before(plan))
                        @if let Ok(walk) = &walk {
                            @for (index, step) in plan.steps.iter().enumerate() {
                                (self::step(step, strip(walk, index, step)))
                            }
                        }
                        (after(plan))
                    }
                }
                (foot(plan))
                (scripts(plan))
            }
        }
    };
    page.into_string()
}

fn head(plan: &Plan) -> Markup {
    let style = [look(DarkMode::Said), include_str!("page/worksheet.css").to_owned(), markup::strip_style()].concat();
    html! {
        head {
            (meta("script-src 'unsafe-inline'; img-src data:; "))
            title { (text(&plan.title)) ": worksheet" }
            style { (PreEscaped(style)) }
        }
    }
}

fn top(plan: &Plan) -> Markup {
    html! {
        a class="jump" href="#main" { "To the checks" }
        header class="top" {
            div class="name" {
                p class="kind" {
                    "Worksheet"
                    @if !plan.asset_class.is_empty() { " \u{b7} " (text(&plan.asset_class)) }
                }
                h1 { (text(&plan.title)) }
            }
            p class="tally" role="status" { b id="tally" { "Nothing entered" } " " span id="draft" {} }
            div class="acts" {
                button type="button" id="next-open" { "Next open" }
                button type="button" id="theme" aria-pressed="false" { "Dark" }
                button type="button" id="print-strips" { "Print with strips" }
                button type="button" id="open" { "Open record" }
                input type="file" id="file" accept=".json" hidden;
                button type="button" id="clear" { "Start anew" }
                button type="button" id="save" class="main" { "Save record" }
            }
        }
        noscript {
            p class="alert" {
                "This page judges and saves only with scripts switched on. It can be printed and filled in by hand."
            }
        }
        p class="alert" id="message" role="alert" hidden {}
        div class="drafts" id="drafts" hidden { p { "Drafts in this browser:" } ul {} }
    }
}

/// The list of steps beside the page.
fn steps(plan: &Plan) -> Markup {
    html! {
        nav aria-label="Steps" {
            details id="contents" {
                summary { "Steps" }
                ol {
                    li { a href="#before" { "Before" } }
                    @for step in &plan.steps {
                        li {
                            a href={ "#step-" (step.id) } data-step=(step.id)
                                class=[(!step.asks()).then_some("passed-over")] {
                                span class="dot" aria-hidden="true" {}
                                span { (step.id) ". " (text(&step.name)) span class="word" {} }
                            }
                        }
                    }
                    li { a href="#after" { "After" } }
                }
            }
        }
    }
}

fn before(plan: &Plan) -> Markup {
    html! {
        section class="card" id="before" aria-labelledby="h-before" {
            h2 id="h-before" { "Before" }
            h3 { "Equipment" }
            div class="grid" {
                @for (word, name) in ABOUT {
                    (field(name, html! {
                        input type=(if word == "date" { "date" } else { "text" }) data-about=(word) autocomplete="off"
                            required[word == "asset"];
                    }))
                }
            }
            h3 { "Instruments" }
            div class="instruments" {
                @for (index, what) in KINDS.into_iter().chain([OTHER]).enumerate() { (instrument(index, what)) }
            }
            (kit(plan, "out", "Kit taken out"))
            (prepare("0", &plan.prepare))
        }
    }
}

fn instrument(index: usize, what: &str) -> Markup {
    html! {
        div class="instrument" role="group" aria-label=(what) {
            span class="what" { (what) }
            (field("Number", html! {
                input type="text" data-instrument=(index) data-what=(what) data-field="id" autocomplete="off";
            }))
            (field("Calibrated until", html! {
                input type="date" data-instrument=(index) data-what=(what) data-field="due";
            }))
        }
    }
}

/// An input below its name.
fn field(name: &str, input: Markup) -> Markup {
    html! { label class="field" { span { (name) } (input) } }
}

/// A line to tick.
fn tick(input: Markup, line: &str) -> Markup {
    html! { label class="tick" { (input) span { (text(line)) } } }
}

fn kit(plan: &Plan, way: &str, title: &str) -> Markup {
    let rows = plan.kit.iter().enumerate().map(|(index, line)| {
        let number = index + 1;
        let ticked = tick(html! { input type="checkbox" data-kit=(number) data-way=(way); }, line);
        let own = |name: &str, member: &str| {
            field(name, html! { input type="text" data-kit=(number) data-way=(member) autocomplete="off"; })
        };
        html! {
            div class="piece" role="group" aria-label=(text(line)) {
                (ticked)
                @if way == "out" { (own("Number", "id")) (own("Place", "place")) } @else { span class="source" data-belongs=(number) {} }
            }
        }
    });
    ticks_below(title, rows)
}

fn prepare(step: &str, prepare: &[String]) -> Markup {
    let ticks = prepare.iter().enumerate().map(|(index, line)| {
        tick(html! { input type="checkbox" data-prepare={ (step) ".prepare-" (index + 1) }; }, line)
    });
    ticks_below("Prepare", ticks)
}

/// A group of ticks below its title; nothing for none.
fn ticks_below(title: &str, ticks: impl ExactSizeIterator<Item = Markup>) -> Markup {
    html! {
        @if ticks.len() > 0 {
            fieldset class="ticks" { legend { (title) } @for tick in ticks { (tick) } }
        }
    }
}

fn step(step: &PlanStep, strip: Option<Markup>) -> Markup {
    let id = &step.id;
    html! {
        section class={ "card step" @if !step.asks() { " passed-over" } } id={ "step-" (id) } aria-labelledby={ "h-" (id) }
            tabindex="-1" {
            h2 id={ "h-" (id) } { span class="number" { (id) } " " (text(&step.name)) }
            p class="plays" { (text(&step.plays)) " \u{b7} " (text(&step.lasts)) }
            @if let Some(strip) = strip {
                figure class="paper" {
                    (strip)
                    figcaption { "6 s of the step after it has settled; times count each step that holds as 20 s." }
                }
            }
            @if !step.cautions.is_empty() {
                ul class="caution" aria-label="Cautions of this step" { (lines(&step.cautions)) }
            }
            (prepare(id, &step.prepare))
            @for one in &step.readings { (reading(one)) }
            @for one in &step.alarms { (alarm(one)) }
            @for one in &step.silent { (silence(one)) }
            @for one in &step.clears { (clear(one)) }
            @for one in &step.checks { (check(one)) }
        }
    }
}

/// A check: its class and name, the limit in words, the fields to enter, and the verdict.
fn item(id: &str, class: &str, name: [Markup; 2], limit: Markup, enter: Markup) -> Markup {
    let [group, label] = name;
    html! {
        div class=(class) data-item=(id) role="group" aria-label=(group) {
            div class="what" {
                label for={ "v-" (id) } { (label) }
                p class="limit" id={ "l-" (id) } { (limit) }
            }
            div class="enter" { (enter) }
            (verdict(id))
        }
    }
}

/// A number to enter, with its unit.
fn number(id: &str, size: u32, unit: &str) -> Markup {
    html! {
        input id={ "v-" (id) } data-field="value" type="text" inputmode="decimal" autocomplete="off"
            aria-describedby={ "l-" (id) } size=(size);
        span class="unit" { (text(unit)) }
    }
}

/// A stopwatch, and the seconds that it enters.
fn stopwatch(id: &str) -> Markup {
    html! {
        button type="button" class="watch" data-watch=(id) {
            span class="time" { "0.0 s" } " " span class="act" { "Start with the step" }
        }
        span class="pair" { (number(id, 5, "s")) }
    }
}

fn source(words: &str) -> Markup {
    html! { span class="source" { (text(words)) } }
}

fn reading(reading: &PlanReading) -> Markup {
    let (expected, because) = (reading.expected(), reading.because());
    let limit = html! {
        @if !expected.is_empty() { b { (text(&expected)) } " " }
        (text(&reading.allowed))
        @if !because.is_empty() { (source(&because)) }
        (source(&reading.source))
    };
    let name = text(&reading.name);
    item(&reading.id, "item", [name.clone(), name], limit, number(&reading.id, 7, &reading.unit))
}

fn alarm(alarm: &PlanAlarm) -> Markup {
    let name = html! { "Alarm: " (text(&alarm.name)) };
    let limit = html! {
        b { (alarm.priority) " priority" } " within " b { (alarm.latest_s()) " s" } " of the start of the step"
        @if alarm.onset_s > 0.0 { "; its limit is reached after " (plain(alarm.onset_s)) " s" }
        (source(&alarm.source))
    };
    let enter = html! {
        (stopwatch(&alarm.id))
        label class="field inline" {
            span { "Priority shown" }
            select data-field="priority" {
                option value="" { "\u{2013}" }
                @for word in ["high", "medium", "low", "none"] { option value=(word) { (word) } }
            }
        }
        label class="tick inline" { input type="checkbox" data-field="heard"; span { "Not heard" } }
    };
    item(&alarm.id, "item alarm", [name.clone(), name], limit, enter)
}

fn silence(silence: &PlanSilence) -> Markup {
    let (id, name) = (&silence.id, html! { "Silent: " (text(&silence.name)) });
    let limit = html! { "This alarm " b { "must not sound" } " in this step." };
    let enter = html! {
        select id={ "v-" (id) } data-field="heard" aria-describedby={ "l-" (id) } {
            option value="" { "\u{2013}" }
            option value="no" { "stayed silent" }
            option value="yes" { "sounded" }
        }
    };
    item(id, "item alarm", [name.clone(), name], limit, enter)
}

fn clear(clear: &PlanClear) -> Markup {
    let name = text(&clear.name);
    let limit = html! {
        "This alarm of the step before ends within " b { (clear.latest_s()) " s" } " of the start of this step."
        (source(&clear.source))
    };
    let enter = html! {
        (stopwatch(&clear.id))
        label class="tick inline" {
            input type="checkbox" data-field="heard" data-says="yes";
            span { "It went on" }
        }
    };
    let names = [html! { "Ends: " (name) }, html! { "Alarm ends: " (name) }];
    item(&clear.id, "item alarm", names, limit, enter)
}

fn check(check: &PlanCheck) -> Markup {
    let (id, name) = (&check.id, text(&check.name));
    let limit = html! { "Checked by hand." (source(&check.source)) };
    let enter = html! {
        select id={ "v-" (id) } data-field="value" aria-describedby={ "l-" (id) } {
            option value="" { "\u{2013}" }
            option value="yes" { "in order" }
            option value="no" { "not in order" }
        }
    };
    item(id, "item", [name.clone(), name], limit, enter)
}

fn verdict(id: &str) -> Markup {
    html! {
        output class="verdict" for={ "v-" (id) } {
            span class="mark" aria-hidden="true" {}
            span class="word" { "open" }
            " "
            span class="why" {}
        }
        button type="button" class="more" aria-expanded="false" aria-controls={ "m-" (id) } { "Skip, remark" }
        div class="extra" id={ "m-" (id) } hidden {
            (field("Reason to skip", html! { input type="text" data-field="skip"; }))
            (field("Remark", html! { input type="text" data-field="remark"; }))
        }
    }
}

fn after(plan: &Plan) -> Markup {
    html! {
        section class="card" id="after" aria-labelledby="h-after" {
            h2 id="h-after" { "After" }
            (kit(plan, "back", "Kit brought back"))
            h3 { "Signatures" }
            div class="grid" {
                @for (role, title) in [("done", "Done by"), ("checked", "Checked by")] {
                    (field(title, html! { input type="text" data-sign=(role) data-field="name" autocomplete="off"; }))
                    (field(&format!("{title}: date"), html! { input type="date" data-sign=(role) data-field="at"; }))
                }
            }
            p class="hint" {
                "Save the record as a file; " kbd { "pulsewright report FILE" } " computes every verdict again. Keys: "
                kbd { "Enter" } " next field, " kbd { "Alt" } "+" kbd { "\u{2193}" } " and " kbd { "Alt" } "+"
                kbd { "\u{2191}" } " next and previous step, " kbd { "Alt" } "+" kbd { "O" } " next open item, " kbd { "Ctrl" } "+" kbd { "S" } " save."
            }
        }
    }
}

fn foot(plan: &Plan) -> Markup {
    let frames = &plan.frames;
    html! {
        footer {
            p { (text(&plan.notes)) }
            dl {
                dt { "Script" } dd { (plan.script_digest) }
                dt { "Seed" } dd { (plan.seed) }
                dt { "Frames" } dd { (frames.count) " at " (frames.rate_hz) " a second, " (frames.digest) }
                dt { "Rig" } dd { (markup::rig(plan)) }
                dt { "Plan" } dd { (plan.digest) }
                dt { "Made by" } dd { (text(&plan.made_by)) }
            }
        }
    }
}

fn scripts(plan: &Plan) -> Markup {
    let data = json!({"plan": plan, "rules": EntryRule::of_plan(plan), "units": written::UNITS});
    let script = [include_str!("page/judge.js"), include_str!("page/seal.js"), include_str!("page/worksheet.js")];
    html! {
        script type="application/json" id="data" { (PreEscaped(json_in_script(&data.to_string()))) }
        script { (PreEscaped(script.concat())) }
    }
}
