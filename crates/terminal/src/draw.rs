//! The picture: state and clock, strips, what a correct monitor shows, the page with its rows, message, keys.

use crate::app::{SAFE, Screen, TerminalApp, TextEntry, array, text};
use crate::{forms, lists, strip};
use pulsewright_text::wrap::wrap;
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;
use serde_json::Value;

/// Smallest terminal on which a session is shown.
const LEAST: (u16, u16) = (40, 16);

/// Paints the screen.
pub fn draw(app: &TerminalApp<'_>, frame: &mut Frame<'_>) {
    let area = frame.area();
    if area.width < LEAST.0 || area.height < LEAST.1 {
        let words = format!("Make the terminal at least {} columns by {} rows.", LEAST.0, LEAST.1);
        paragraph(frame, area, wrap(&words, usize::from(area.width)), Style::new());
        return;
    }
    let width = usize::from(area.width);
    let head = wrap(&head(app), width);
    let shown = wrap(&expected(app), width);
    let message = wrap(&message(app), width);
    // A key stays beside its meaning.
    let keys: Vec<String> = keys(app).split("  ").map(|key| key.replace(' ', "\u{a0}")).collect();
    let keys = wrap(&keys.join(" | "), width);
    let height = |lines: &[String]| Constraint::Length(lines.len() as u16);
    let strips = match area.height {
        0..24 => 4,
        24..32 => 6,
        _ => 9,
    };
    let [of_head, of_strips, of_shown, page, of_message, of_keys] = Layout::vertical([
        height(&head),
        Constraint::Length(strips),
        height(&shown),
        Constraint::Min(3),
        height(&message),
        height(&keys),
    ])
    .areas(area);
    paragraph(frame, of_head, head, Style::new().add_modifier(Modifier::BOLD));
    draw_strips(app, frame, of_strips);
    paragraph(frame, of_shown, shown, Style::new());
    if app.help {
        paragraph(frame, page, HELP.iter().flat_map(|line| wrap(line, width)).collect(), Style::new());
    } else {
        draw_page(app, frame, page);
    }
    paragraph(frame, of_message, message, Style::new().add_modifier(Modifier::BOLD));
    paragraph(frame, of_keys, keys, Style::new().add_modifier(Modifier::REVERSED));
}

fn paragraph(frame: &mut Frame<'_>, area: Rect, lines: Vec<String>, style: Style) {
    let lines: Vec<Line<'_>> = lines.into_iter().map(|line| Line::styled(line, style)).collect();
    frame.render_widget(Paragraph::new(lines), area);
}

/// State, clock and countdown.
fn head(app: &TerminalApp<'_>) -> String {
    let known = app.known();
    let resting = known.state.get("resting").and_then(Value::as_bool).unwrap_or(true);
    let name = text(&known.state, "name").to_owned();
    let late_s = known.clock.get("late_ms").and_then(Value::as_f64).unwrap_or_default() / 1e3;
    let why = text(&known.clock, "why").to_owned();
    let output = text(&known.clock, "output").to_owned();
    drop(known);
    let playing = match output.as_str() {
        "" | "closed" => "Outputs closed".to_owned(),
        "opening" => format!("Waiting for the other end of {}", app.output),
        "ended" => format!("The output has ended: {why}"),
        word => {
            let behind = if word == "behind" { format!("Falling behind by {late_s:.1} s: ") } else { String::new() };
            let plays = if resting { "At rest".to_owned() } else { format!("Playing {name}") };
            let time = app.since_first_frame().map_or(String::new(), |time| format!(", {time:.1} s"));
            format!("{behind}{plays}{time}")
        }
    };
    let left = match app.left_s() {
        Some(left) if app.waits_since.is_some() => format!(", {:.0} s left, waiting", left.max(0.0).ceil()),
        Some(left) => format!(", {:.0} s left", left.max(0.0).ceil()),
        None => String::new(),
    };
    let place = match app.playing() {
        Some(at) => format!("; step {} of {}", at + 1, app.steps().len()),
        None => String::new(),
    };
    format!("{playing}{left}{place}; output: {}", app.output)
}

fn draw_strips(app: &TerminalApp<'_>, frame: &mut Frame<'_>, area: Rect) {
    let frames = (app.shown_per_s() * f64::from(strip::STRIP_S)) as usize;
    let known = app.known();
    let skipped = known.frames.len().saturating_sub(frames);
    let shown: Vec<_> = known.frames.iter().skip(skipped).copied().collect();
    drop(known);
    let ecg: Vec<f32> = shown.iter().map(|frame| frame.ecg_mv).collect();
    let arterial: Vec<f32> = shown.iter().map(|frame| frame.arterial_mmhg).collect();
    let rows = area.height / 2;
    let [of_ecg, of_arterial] = Layout::vertical([Constraint::Min(rows), Constraint::Length(rows)]).areas(area);
    for (name, samples, range, area) in [("II", ecg, (-0.5, 1.5), of_ecg), ("ART", arterial, (0.0, 150.0), of_arterial)]
    {
        let [label, trace] = Layout::horizontal([Constraint::Length(4), Constraint::Min(10)]).areas(area);
        frame.render_widget(Paragraph::new(name), label);
        // Until the window is full the trace grows from the left.
        let part = (samples.len() as f64 / frames.max(1) as f64).min(1.0);
        let trace = Rect { width: ((f64::from(trace.width) * part) as u16).max(1), ..trace };
        strip::draw(&samples, range, trace, Style::new(), frame.buffer_mut());
    }
}

/// The readings and the alarm of a correct monitor.
fn expected(app: &TerminalApp<'_>) -> String {
    let known = app.known();
    let Some(expected) = known.expected.get("expected").filter(|expected| !expected.is_null()) else {
        return "A correct monitor shows: -".to_owned();
    };
    let reading = |reading: &Value| {
        let number = |member: &str| reading.get(member).and_then(Value::as_f64);
        let (low, high) = (number("low")?, number("high")?);
        let value = if low == high { format!("{low}") } else { format!("{low} to {high}") };
        Some(format!("{} {value} {}", text(reading, "name"), text(reading, "unit")))
    };
    let mut parts: Vec<String> = array(expected, "readings").iter().filter_map(reading).take(4).collect();
    if let Some(alarm) = expected.get("alarm").filter(|alarm| !alarm.is_null()) {
        let latest = alarm.get("latest_s").and_then(Value::as_f64).unwrap_or_default();
        parts.push(format!(
            "alarm {}, {} priority, after {latest} s at the latest",
            text(alarm, "name"),
            text(alarm, "priority")
        ));
    }
    if parts.is_empty() {
        "A correct monitor shows: no reading".to_owned()
    } else {
        format!("A correct monitor shows: {}", parts.join("; "))
    }
}

/// A row as lines of text, and whether it is selected.
type PageRow = (Vec<String>, bool);

fn draw_page(app: &TerminalApp<'_>, frame: &mut Frame<'_>, area: Rect) {
    let width = usize::from(area.width).saturating_sub(2);
    let (title, rows) = page(app, width);
    let title = wrap(&title, usize::from(area.width));
    let [of_title, of_rows] =
        Layout::vertical([Constraint::Length(title.len() as u16), Constraint::Min(1)]).areas(area);
    paragraph(frame, of_title, title, Style::new().add_modifier(Modifier::UNDERLINED));
    let mut lines: Vec<Line<'_>> = Vec::new();
    let (mut first, mut last) = (0, 0);
    for (texts, selected) in rows {
        if selected {
            (first, last) = (lines.len(), lines.len() + texts.len());
        }
        for (at, line) in texts.into_iter().enumerate() {
            let mark = if selected && at == 0 { "> " } else { "  " };
            let style = if selected { Style::new().add_modifier(Modifier::BOLD) } else { Style::new() };
            lines.push(Line::from(vec![Span::raw(mark), Span::styled(line, style)]));
        }
    }
    let height = usize::from(of_rows.height);
    let scroll = last.saturating_sub(height).min(first);
    frame.render_widget(Paragraph::new(lines).scroll((scroll as u16, 0)), of_rows);
}

fn page(app: &TerminalApp<'_>, width: usize) -> (String, Vec<PageRow>) {
    let picked = |rows: Vec<String>| {
        let selected = app.selected.min(rows.len().saturating_sub(1));
        rows.into_iter().enumerate().map(|(at, row)| (wrap(&row, width), at == selected)).collect()
    };
    match app.screen {
        Screen::Confirm(line) => {
            let question = format!("Before anything plays: {}?", SAFE.get(line).unwrap_or(&""));
            let cautions = array(&app.plan, "cautions").iter().filter_map(Value::as_str);
            let lines = ["For test benches only: never to a person, nor to equipment connected to one."]
                .into_iter()
                .chain(cautions);
            (question, lines.map(|line| (wrap(&format!("! {line}"), width), false)).collect())
        }
        Screen::Before => {
            let title = format!("{}: before the first step", text(&app.plan, "title"));
            (title, picked(form(app)))
        }
        Screen::After => ("After the last step".to_owned(), picked(form(app))),
        Screen::Step(at) => step_page(app, at, width),
        Screen::Report => {
            let report = app
                .known()
                .record
                .get("signed")
                .map(|signed| (text(signed, "file").to_owned(), text(signed, "text").to_owned()));
            let (file, report) = report.unwrap_or_default();
            let lines: Vec<String> = report.lines().skip(app.selected).map(str::to_owned).collect();
            (format!("Signed: {file}"), lines.iter().map(|line| (wrap(line, width), false)).collect())
        }
        Screen::Hold => ("It plays and holds until the next key".to_owned(), vec![(wrap(&hold(app), width), false)]),
        Screen::Rhythms => {
            (format!("Rhythm: {}_", app.search), picked(lists::rows(app).into_iter().map(|row| row.words).collect()))
        }
        Screen::Controls => {
            let title = match &app.typing {
                Some(TextEntry::Setting(value)) => format!("Settings; new value: {value}_"),
                _ => "Settings".to_owned(),
            };
            (title, picked(lists::rows(app).into_iter().map(|row| row.words).collect()))
        }
        Screen::Steps => {
            ("Steps of the plan".to_owned(), picked(lists::rows(app).into_iter().map(|row| row.words).collect()))
        }
    }
}

/// The signal that plays, in a sentence.
fn hold(app: &TerminalApp<'_>) -> String {
    let known = app.known();
    let rate = known.state.get("values").and_then(|values| values.get("rate_bpm")?.get("value")?.as_f64());
    let rate = rate.map_or(String::new(), |rate| format!(" at {rate} bpm"));
    match known.state.get("resting").and_then(Value::as_bool) {
        Some(false) => format!("{}{rate}, {}.", text(&known.state, "name"), text(&known.state, "body")),
        _ => "Outputs are at rest: p picks a rhythm.".to_owned(),
    }
}

fn form(app: &TerminalApp<'_>) -> Vec<String> {
    let rows = forms::rows(app);
    let selected = app.selected.min(rows.len().saturating_sub(1));
    let line = |(at, row): (usize, forms::FormRow)| match row.kind {
        forms::FormRowKind::Text(_) | forms::FormRowKind::Instrument(..) => {
            format!("{}: {}{}", row.label, row.value, if at == selected { "_" } else { "" })
        }
        forms::FormRowKind::Tick(..) => format!("[{}] {}", if row.value.is_empty() { " " } else { "x" }, row.label),
        _ if row.value.is_empty() => row.label,
        _ => format!("{}: {}", row.label, row.value),
    };
    rows.into_iter().enumerate().map(line).collect()
}

fn step_page(app: &TerminalApp<'_>, at: usize, width: usize) -> (String, Vec<PageRow>) {
    let of = app.steps().get(at).cloned().unwrap_or_default();
    let plays = if app.playing() == Some(at) { "" } else { " (does not play)" };
    let title = format!("Step {} of {}: {}{plays}", at + 1, app.steps().len(), text(&of, "name"));
    let mut rows = vec![(wrap(text(&of, "plays"), width), false)];
    let lines = |member: &str, before: &str| {
        let lines = array(&of, member).iter().filter_map(Value::as_str);
        lines.map(|line| (wrap(&format!("{before}{line}"), width), false)).collect::<Vec<_>>()
    };
    rows.extend(lines("cautions", "! "));
    rows.extend(lines("prepare", "Prepare: "));
    let items = app.items(at);
    let selected = app.selected.min(items.len().saturating_sub(1));
    for (place, item) in items.iter().enumerate() {
        let entry = app.entry(text(item, "id"));
        let unit = text(item, "unit");
        let mut words = format!(
            "{}{}: {}",
            text(item, "name"),
            if text(item, "kind") == "alarm" { " (alarm)" } else { "" },
            text(item, "expect")
        );
        if !text(item, "why").is_empty() {
            words += &format!(". {}", text(item, "why"));
        }
        let mut lines = wrap(&words, width);
        let entered = entered(&entry, unit);
        let typing = if place == selected { typing(app) } else { None };
        let answer = typing.unwrap_or(entered);
        if !answer.is_empty() {
            lines.extend(wrap(&format!("  {answer}"), width));
        }
        rows.push((lines, place == selected));
    }
    if items.is_empty() {
        rows.push((wrap("Nothing to read.", width), false));
    }
    (title, rows)
}

/// The text that is being typed for the item that is selected.
fn typing(app: &TerminalApp<'_>) -> Option<String> {
    Some(match app.typing.as_ref()? {
        TextEntry::Value(value) => format!("value: {value}_"),
        TextEntry::Skip(reason) => format!("skipped, because: {reason}_"),
        TextEntry::Remark(remark) => format!("remark: {remark}_"),
        TextEntry::Priority(_, value) => {
            format!("after {value} s; which priority does the monitor show? h high, m medium, l low, n none")
        }
        TextEntry::Setting(_) | TextEntry::Leave => return None,
    })
}

/// An entry with its verdict.
fn entered(entry: &Value, unit: &str) -> String {
    let verdict = text(entry, "verdict");
    let written = ["value", "priority", "heard", "skip", "remark"].iter().any(|member| !text(entry, member).is_empty());
    if verdict.is_empty() || !written {
        return String::new();
    }
    let answered = ["value", "priority", "heard", "skip"].iter().any(|member| !text(entry, member).is_empty());
    let (value, why) = (text(entry, "value"), if answered { text(entry, "why") } else { "" });
    let bare = value.parse::<f64>().is_ok();
    let value = if bare { format!("{value} {unit}") } else { value.to_owned() };
    let parts: Vec<&str> =
        [value.as_str(), text(entry, "priority")].into_iter().filter(|word| !word.is_empty()).collect();
    let changed = entry.get("changed").and_then(Value::as_u64).unwrap_or(0) > 0;
    let remark = text(entry, "remark");
    format!(
        "[{verdict}] {}{}{}{}",
        parts.join(", "),
        if why.is_empty() { String::new() } else { format!(" {why}") },
        if remark.is_empty() { String::new() } else { format!(" (remark: {remark})") },
        if changed { " (changed; the record keeps the earlier answer)" } else { "" },
    )
}

fn message(app: &TerminalApp<'_>) -> String {
    if app.typing == Some(TextEntry::Leave) {
        return "Leave the session? What was entered is kept. y leaves, any other key goes on.".to_owned();
    }
    app.message.clone()
}

/// The keys that do something here.
fn keys(app: &TerminalApp<'_>) -> String {
    let common = "x stop  ? help  q leave";
    match (app.screen, &app.typing) {
        (_, Some(TextEntry::Leave)) => "y leave".to_owned(),
        (_, Some(TextEntry::Priority(..))) => "h high  m medium  l low  n none  Esc drops it".to_owned(),
        (_, Some(_)) => "Enter takes it  Esc drops it".to_owned(),
        (Screen::Confirm(_), None) => "y it holds  n it does not: nothing plays  ? help  q leave".to_owned(),
        (Screen::Before | Screen::After, None) => {
            "Enter next row, or does it  Space ticks  Up Down move  F1 help  Esc stop  Ctrl+C leave".to_owned()
        }
        (Screen::Step(at), None) => {
            let items = app.items(at);
            let kind = items.get(app.selected.min(items.len().saturating_sub(1))).map_or("", |item| text(item, "kind"));
            let own = match kind {
                "reading" => "0-9 value  ",
                "alarm" => "Space it sounds now  n not heard  0-9 time  ",
                "clear" => "Space it has ended now  n it goes on  ",
                "silence" => "y stayed silent  n it sounded  ",
                "check" => "y in order  n not in order  ",
                _ => "",
            };
            let skip = if kind.is_empty() { "" } else { "s skip  m remark  u undo  o next open  " };
            let wait = if app.left_s().is_some() { "w wait  " } else { "" };
            let next = if at + 1 < app.steps().len() { "g next step  " } else { "" };
            format!("{own}{skip}{wait}{next}a play again  l steps  p rhythm  c settings  e end  {common}")
        }
        (Screen::Rhythms, None) => {
            "Type a name or abbreviation  Up Down move  Enter plays it  Esc back  F1 help".to_owned()
        }
        (Screen::Controls, None) => "Up Down move  0-9 new value  Esc back  F1 help".to_owned(),
        (Screen::Steps, None) => "Up Down move  Enter shows the step  Esc back  F1 help".to_owned(),
        (Screen::Report, None) => "Up Down move  f next record  q leave".to_owned(),
        (Screen::Hold, None) => format!("p rhythm  c settings  b premature beat  {common}"),
    }
}

/// Help.
const HELP: [&str; 12] = [
    "Help; any key closes it.",
    "p or / finds a rhythm by name or abbreviation (vf, afib, chb): Enter plays it at once, and it holds.",
    "c changes a setting of what plays. b asks for one premature beat. x or Esc brings every output to rest.",
    "g plays the next step of the plan, a the step on the screen; l lists the steps.",
    "A reading: type the number; 120,5 and 16 kPa are understood. An alarm: Space when it sounds, then the priority shown.",
    "Its time counts from the first frame of the step. A key pressed before the step began is thrown away.",
    "n not heard, not in order, it sounded, it goes on; y stayed silent, in order.",
    "s skips with a reason, m writes a remark, u takes the last entry back. The record keeps answers that were replaced.",
    "A rest goes on to the next step by itself; w lets its countdown wait.",
    "f goes to the page before the first step, e to the one after the last: kit, what is missing, the signature.",
    "q, or Ctrl+C anywhere, leaves with outputs at rest. The same command line goes on from there.",
    "F1 shows this where letters are text.",
];
