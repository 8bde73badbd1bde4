//! The worksheet: one page that holds everything, works without a network, and saves the readings.

use crate::markup::{self, CAUTIONS, Dark, json_in_script, lines, look};
use crate::plan::{Plan, PlanAlarm, PlanClear, PlanReading, PlanSilence, PlanStep};
use crate::record::ABOUT;
use crate::walk::Walk;
use crate::written;
use pulsewright_plot::svg::escape;
use pulsewright_script::Document;
use serde_json::json;
use std::fmt::Write as _;

/// Rows for instruments.
const INSTRUMENTS: [&str; 4] = ["Rig", "Meter that verified the rig", "Pressure or cuff reference", "Other"];

/// The page of a plan that was made of `document`.
pub fn page(plan: &Plan, document: &Document) -> String {
    let mut html = String::new();
    head(plan, &mut html);
    let _ = write!(html, "<main id=\"main\">");
    before(plan, &mut html);
    if let Ok(walk) = Walk::new(document) {
        for (index, step) in plan.steps.iter().enumerate() {
            // A step with nothing to read is passed over; its strip would only be in the way.
            let strip = if step.asks() { markup::strip(&walk, index, step) } else { None };
            self::step(step, strip.as_deref(), &mut html);
        }
    }
    after(plan, &mut html);
    let _ = write!(html, "</main></div>");
    foot(plan, &mut html);
    html
}

// Writing to a string cannot fail; results of `write!` are dropped throughout.

fn head(plan: &Plan, html: &mut String) {
    let title = escape(&plan.title);
    let class = if plan.asset_class.is_empty() {
        "Worksheet".to_owned()
    } else {
        format!("Worksheet \u{b7} {}", escape(&plan.asset_class))
    };
    let _ = write!(
        html,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; \
         script-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'\">\n\
         <title>{title}: worksheet</title>\n<style>\n{}{}{}</style>\n</head>\n<body>\n\
         <a class=\"jump\" href=\"#main\">To the checks</a>\n\
         <header class=\"top\"><div class=\"name\"><p class=\"kind\">{class}</p><h1>{title}</h1></div>\n\
         <p class=\"tally\" role=\"status\"><b id=\"tally\">Nothing entered</b> <span id=\"draft\"></span></p>\n\
         <div class=\"acts\"><button type=\"button\" id=\"theme\" aria-pressed=\"false\">Dark</button>\
         <button type=\"button\" id=\"open\">Open record</button><input type=\"file\" id=\"file\" accept=\".json\" hidden>\
         <button type=\"button\" id=\"clear\">Start anew</button>\
         <button type=\"button\" id=\"save\" class=\"main\">Save record</button></div></header>\n\
         <noscript><p class=\"alert\">This page judges and saves only with scripts switched on. It can be printed and filled in by hand.</p></noscript>\n\
         <p class=\"alert\" id=\"message\" role=\"alert\" hidden></p>\n\
         <div class=\"frame\"><nav aria-label=\"Steps\"><ol><li><a href=\"#before\">Before</a></li>",
        look(Dark::Said),
        include_str!("page/worksheet.css"),
        markup::strip_style(),
    );
    for step in &plan.steps {
        let _ = write!(
            html,
            "<li><a href=\"#step-{0}\" data-step=\"{0}\"{2}><span class=\"dot\" aria-hidden=\"true\"></span><span>{0}. {1}<span class=\"word\"></span></span></a></li>",
            step.id,
            escape(&step.name),
            if step.asks() { "" } else { " class=\"passed-over\"" }
        );
    }
    html.push_str("<li><a href=\"#after\">After</a></li></ol></nav>\n");
}

fn before(plan: &Plan, html: &mut String) {
    let _ = writeln!(
        html,
        "<section class=\"card caution\" aria-labelledby=\"cautions\"><h2 id=\"cautions\">Cautions</h2><ul>{}{}</ul></section>",
        lines(CAUTIONS),
        lines(&plan.cautions)
    );
    html.push_str("<section class=\"card\" id=\"before\" aria-labelledby=\"h-before\"><h2 id=\"h-before\">Before</h2>\n<h3>Equipment</h3><div class=\"grid\">");
    for (word, name) in ABOUT {
        let (kind, needed) = match word {
            "date" => ("date", ""),
            "asset" => ("text", " required"),
            _ => ("text", ""),
        };
        let _ = write!(
            html,
            "<label class=\"field\"><span>{name}</span><input type=\"{kind}\" data-about=\"{word}\" autocomplete=\"off\"{needed}></label>"
        );
    }
    html.push_str("</div>\n<h3>Instruments</h3><div class=\"instruments\">");
    for (index, what) in INSTRUMENTS.iter().enumerate() {
        let _ = write!(
            html,
            "<div class=\"instrument\" role=\"group\" aria-label=\"{what}\"><span class=\"what\">{what}</span>\
             <label class=\"field\"><span>Number</span><input type=\"text\" data-instrument=\"{index}\" data-what=\"{what}\" data-field=\"id\" autocomplete=\"off\"></label>\
             <label class=\"field\"><span>Calibrated until</span><input type=\"date\" data-instrument=\"{index}\" data-what=\"{what}\" data-field=\"due\"></label></div>"
        );
    }
    html.push_str("</div>\n");
    kit(plan, "out", "Kit taken out", html);
    prepare("0", &plan.prepare, html);
    html.push_str("</section>\n");
}

fn kit(plan: &Plan, way: &str, title: &str, html: &mut String) {
    if plan.kit.is_empty() {
        return;
    }
    let _ = write!(html, "<fieldset class=\"ticks\"><legend>{title}</legend>");
    for (index, line) in plan.kit.iter().enumerate() {
        let _ = write!(
            html,
            "<label class=\"tick\"><input type=\"checkbox\" data-kit=\"{}\" data-way=\"{way}\"><span>{}</span></label>",
            index + 1,
            escape(line)
        );
    }
    html.push_str("</fieldset>\n");
}

fn prepare(step: &str, prepare: &[String], html: &mut String) {
    if prepare.is_empty() {
        return;
    }
    html.push_str("<fieldset class=\"ticks\"><legend>Prepare</legend>");
    for (index, line) in prepare.iter().enumerate() {
        let _ = write!(
            html,
            "<label class=\"tick\"><input type=\"checkbox\" data-prepare=\"{step}.prepare-{}\"><span>{}</span></label>",
            index + 1,
            escape(line)
        );
    }
    html.push_str("</fieldset>\n");
}

fn step(step: &PlanStep, strip: Option<&str>, html: &mut String) {
    let id = &step.id;
    let _ = write!(
        html,
        "<section class=\"card step{}\" id=\"step-{id}\" aria-labelledby=\"h-{id}\" tabindex=\"-1\"><h2 id=\"h-{id}\"><span class=\"number\">{id}</span> {}</h2>\n\
         <p class=\"plays\">{} \u{b7} {}</p>\n",
        if step.asks() { "" } else { " passed-over" },
        escape(&step.name),
        escape(&step.plays),
        escape(&step.lasts)
    );
    if let Some(strip) = strip {
        let _ = writeln!(
            html,
            "<figure class=\"paper\">{strip}<figcaption>6 s of it once settled; the times count a step that holds as 20 s.</figcaption></figure>"
        );
    }
    if !step.cautions.is_empty() {
        let _ =
            writeln!(html, "<ul class=\"caution\" aria-label=\"Cautions of this step\">{}</ul>", lines(&step.cautions));
    }
    prepare(id, &step.prepare, html);
    for reading in &step.readings {
        self::reading(reading, html);
    }
    for alarm in &step.alarms {
        self::alarm(alarm, html);
    }
    for silence in &step.silent {
        self::silence(silence, html);
    }
    for clear in &step.clears {
        self::clear(clear, html);
    }
    html.push_str("</section>\n");
}

fn reading(reading: &PlanReading, html: &mut String) {
    let id = &reading.id;
    let unit = escape(&reading.unit);
    let expected = match reading.expected() {
        expected if expected.is_empty() => expected,
        expected => format!("<b>{}</b> ", escape(&expected)),
    };
    let why = match reading.because() {
        because if because.is_empty() => because,
        because => format!("<span class=\"source\">{}</span>", escape(&because)),
    };
    let _ = write!(
        html,
        "<div class=\"item\" data-item=\"{id}\" role=\"group\" aria-label=\"{name}\">\
         <div class=\"what\"><label for=\"v-{id}\">{name}</label>\
         <p class=\"limit\" id=\"l-{id}\">{expected}{}{why}<span class=\"source\">{}</span></p></div>\
         <div class=\"enter\"><input id=\"v-{id}\" data-field=\"value\" type=\"text\" inputmode=\"decimal\" autocomplete=\"off\" \
         aria-describedby=\"l-{id}\" size=\"7\"><span class=\"unit\">{unit}</span></div>",
        escape(&reading.allowed),
        escape(&reading.source),
        name = escape(&reading.name),
    );
    verdict(id, html);
}

fn alarm(alarm: &PlanAlarm, html: &mut String) {
    let id = &alarm.id;
    let name = escape(&alarm.name);
    let _ = write!(
        html,
        "<div class=\"item alarm\" data-item=\"{id}\" role=\"group\" aria-label=\"Alarm: {name}\">\
         <div class=\"what\"><label for=\"v-{id}\">Alarm: {name}</label>\
         <p class=\"limit\" id=\"l-{id}\"><b>{priority} priority</b> within <b>{latest} s</b> of the start of the step{due}<span class=\"source\">{source}</span></p></div>\
         <div class=\"enter\"><button type=\"button\" class=\"watch\" data-watch=\"{id}\"><span class=\"time\">0.0 s</span> <span class=\"act\">Start with the step</span></button>\
         <span class=\"pair\"><input id=\"v-{id}\" data-field=\"value\" type=\"text\" inputmode=\"decimal\" autocomplete=\"off\" aria-describedby=\"l-{id}\" size=\"5\"><span class=\"unit\">s</span></span>\
         <label class=\"field inline\"><span>Priority shown</span><select data-field=\"priority\"><option value=\"\">\u{2013}</option>\
         <option value=\"high\">high</option><option value=\"medium\">medium</option><option value=\"low\">low</option><option value=\"none\">none</option></select></label>\
         <label class=\"tick inline\"><input type=\"checkbox\" data-field=\"heard\"><span>Not heard</span></label></div>",
        priority = alarm.priority,
        latest = alarm.latest_s(),
        due = if alarm.onset_s > 0.0 {
            format!("; its limit is reached after {} s", crate::judge::plain(alarm.onset_s))
        } else {
            String::new()
        },
        source = escape(&alarm.source),
    );
    verdict(id, html);
}

fn silence(silence: &PlanSilence, html: &mut String) {
    let (id, name) = (&silence.id, escape(&silence.name));
    let _ = write!(
        html,
        "<div class=\"item alarm\" data-item=\"{id}\" role=\"group\" aria-label=\"Silent: {name}\">\
         <div class=\"what\"><label for=\"v-{id}\">Silent: {name}</label>\
         <p class=\"limit\" id=\"l-{id}\">This alarm <b>must not sound</b> in this step.</p></div>\
         <div class=\"enter\"><select id=\"v-{id}\" data-field=\"heard\" aria-describedby=\"l-{id}\"><option value=\"\">\u{2013}</option>\
         <option value=\"no\">stayed silent</option><option value=\"yes\">sounded</option></select></div>",
    );
    verdict(id, html);
}

fn clear(clear: &PlanClear, html: &mut String) {
    let (id, name) = (&clear.id, escape(&clear.name));
    let _ = write!(
        html,
        "<div class=\"item alarm\" data-item=\"{id}\" role=\"group\" aria-label=\"Ends: {name}\">\
         <div class=\"what\"><label for=\"v-{id}\">Alarm ends: {name}</label>\
         <p class=\"limit\" id=\"l-{id}\">This alarm of the step before ends within <b>{latest} s</b> of the start of this step.\
         <span class=\"source\">{source}</span></p></div>\
         <div class=\"enter\"><button type=\"button\" class=\"watch\" data-watch=\"{id}\"><span class=\"time\">0.0 s</span> <span class=\"act\">Start with the step</span></button>\
         <span class=\"pair\"><input id=\"v-{id}\" data-field=\"value\" type=\"text\" inputmode=\"decimal\" autocomplete=\"off\" aria-describedby=\"l-{id}\" size=\"5\"><span class=\"unit\">s</span></span>\
         <label class=\"tick inline\"><input type=\"checkbox\" data-field=\"heard\" data-says=\"yes\"><span>It went on</span></label></div>",
        latest = clear.latest_s(),
        source = escape(&clear.source),
    );
    verdict(id, html);
}

fn verdict(id: &str, html: &mut String) {
    let _ = writeln!(
        html,
        "<output class=\"verdict\" for=\"v-{id}\"><span class=\"mark\" aria-hidden=\"true\"></span><span class=\"word\">open</span> <span class=\"why\"></span></output>\
         <button type=\"button\" class=\"more\" aria-expanded=\"false\" aria-controls=\"m-{id}\">Skip, remark</button>\
         <div class=\"extra\" id=\"m-{id}\" hidden><label class=\"field\"><span>Reason to skip</span><input type=\"text\" data-field=\"skip\"></label>\
         <label class=\"field\"><span>Remark</span><input type=\"text\" data-field=\"remark\"></label></div></div>"
    );
}

fn after(plan: &Plan, html: &mut String) {
    html.push_str("<section class=\"card\" id=\"after\" aria-labelledby=\"h-after\"><h2 id=\"h-after\">After</h2>\n");
    kit(plan, "back", "Kit brought back", html);
    html.push_str("<h3>Signatures</h3><div class=\"grid\">");
    for (role, title) in [("done", "Done by"), ("checked", "Checked by")] {
        let _ = write!(
            html,
            "<label class=\"field\"><span>{title}</span><input type=\"text\" data-sign=\"{role}\" data-field=\"name\" autocomplete=\"off\"></label>\
             <label class=\"field\"><span>{title}: date</span><input type=\"date\" data-sign=\"{role}\" data-field=\"at\"></label>"
        );
    }
    html.push_str(
        "</div>\n<p class=\"hint\">Save the record as a file; <kbd>pulsewright report FILE</kbd> derives every verdict anew. \
         Keys: <kbd>Enter</kbd> next field, <kbd>Alt</kbd>+<kbd>\u{2193}</kbd> and <kbd>Alt</kbd>+<kbd>\u{2191}</kbd> next and previous step, \
         <kbd>Ctrl</kbd>+<kbd>S</kbd> save.</p></section>\n",
    );
}

fn foot(plan: &Plan, html: &mut String) {
    let rig = plan.rig.as_ref().map_or("not named".to_owned(), |rig| format!("{} {}", rig.name, rig.digest));
    let _ = writeln!(
        html,
        "<footer><p>{}</p><dl><dt>Script</dt><dd>{}</dd><dt>Seed</dt><dd>{}</dd><dt>Frames</dt><dd>{} at {} a second, {}</dd>\
         <dt>Rig</dt><dd>{}</dd><dt>Plan</dt><dd>{}</dd><dt>Made by</dt><dd>{}</dd></dl></footer>",
        escape(&plan.notes),
        plan.script_digest,
        plan.seed,
        plan.frames.count,
        plan.frames.rate_hz,
        plan.frames.digest,
        escape(&rig),
        plan.digest,
        escape(&plan.made_by),
    );
    let data = json!({"plan": plan, "units": written::UNITS});
    let _ = write!(
        html,
        "<script type=\"application/json\" id=\"data\">{}</script>\n<script>\n{}{}{}</script>\n</body>\n</html>\n",
        json_in_script(&data.to_string()),
        include_str!("page/judge.js"),
        include_str!("page/seal.js"),
        include_str!("page/worksheet.js"),
    );
}
