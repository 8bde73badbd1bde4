//! The pages before the first step and after the last: rows with a text, a tick, or something to do.

use crate::app::{AnswerPurpose, Screen, TerminalApp, array, text, type_into};
use pulsewright_bench::Request;
use pulsewright_record::record::Instrument;
use ratatui::crossterm::event::KeyCode;
use serde_json::Value;

/// A row.
pub struct FormRow {
    /// Its name.
    pub label: String,
    /// Its text; for a tick `yes` or nothing.
    pub value: String,
    /// Its kind.
    pub kind: FormRowKind,
}

/// The kind of a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FormRowKind {
    /// To be read.
    Words,
    /// A text, by its key in [`TerminalApp::typed`].
    Text(String),
    /// A member of an instrument, by its key in [`TerminalApp::typed`]: number or calibration of this kind of instrument.
    Instrument(String, String),
    /// The number or the place of a piece of kit, by the piece's number in the plan and its key in [`TerminalApp::typed`].
    Piece(String, String),
    /// A preparation or a piece of kit, by its number.
    Tick(TickList, String),
    /// Takes up the draft of this asset.
    TakeUp(String),
    /// Opens the record.
    Begin,
    /// Plays the step that follows.
    Play,
    /// Signs the record.
    Sign,
}

/// The list that a tick belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TickList {
    /// A preparation.
    Prepared,
    /// Kit that is out.
    Out,
    /// Kit that is back.
    Back,
}

fn row(label: impl Into<String>, value: impl Into<String>, kind: FormRowKind) -> FormRow {
    FormRow { label: label.into(), value: value.into(), kind }
}

/// The rows of the page on the screen.
pub fn rows(app: &TerminalApp<'_>) -> Vec<FormRow> {
    let record = app.known().record.clone();
    if app.screen == Screen::After { after(app, &record) } else { before(app, &record) }
}

fn is_open(record: &Value) -> bool {
    record.get("open").and_then(Value::as_bool).unwrap_or(false)
}

fn before(app: &TerminalApp<'_>, record: &Value) -> Vec<FormRow> {
    let mut rows = Vec::new();
    let about = array(&app.plan, "about").iter().filter_map(Value::as_array);
    let about = about.map(|pair| (pair.first().and_then(Value::as_str), pair.get(1).and_then(Value::as_str)));
    let about: Vec<(&str, &str)> = about.filter_map(|(word, name)| Some((word?, name?))).collect();
    if !is_open(record) {
        let take_up = |draft: &Value| {
            let asset = text(draft, "asset").to_owned();
            row(format!("Go on with {asset}"), format!("saved {}", text(draft, "saved_at")), FormRowKind::TakeUp(asset))
        };
        rows.extend(array(record, "unfinished").iter().map(take_up));
        for (word, name) in about.iter().filter(|(word, _)| *word != "date") {
            rows.push(row(
                *name,
                app.typed.get(*word).cloned().unwrap_or_default(),
                FormRowKind::Text((*word).to_owned()),
            ));
        }
        rows.push(row("Begin the record", "", FormRowKind::Begin));
        return rows;
    }
    let words = |word: &str| record.get("about").map_or("", |about| text(about, word)).to_owned();
    let named = about.iter().filter(|(word, _)| !words(word).is_empty());
    let line: Vec<String> = named.map(|(word, name)| format!("{name} {}", words(word))).collect();
    rows.push(row(line.join("; "), "", FormRowKind::Words));
    for what in array(&app.plan, "instruments").iter().filter_map(Value::as_str) {
        let kept = array(record, "instruments").iter().find(|of| text(of, "what") == what).cloned().unwrap_or_default();
        for (member, name) in [("id", "number"), ("due", "calibrated until, as 2027-03-01")] {
            let key = format!("{what}/{member}");
            let value = app.typed.get(&key).cloned().unwrap_or_else(|| text(&kept, member).to_owned());
            rows.push(row(format!("{what}, {name}"), value, FormRowKind::Instrument(what.to_owned(), key)));
        }
    }
    for (at, tick) in ticks(&app.plan, record, "kit", TickList::Out).into_iter().enumerate() {
        let number = (at + 1).to_string();
        let kept = record.get("kit").and_then(|kit| kit.get(&number)).cloned().unwrap_or_default();
        let line = tick.label.clone();
        rows.push(tick);
        for (member, name) in [("id", "number"), ("place", "place")] {
            let key = piece_key(&number, member);
            let value = app.typed.get(&key).cloned().unwrap_or_else(|| text(&kept, member).to_owned());
            rows.push(row(format!("{line}, {name}"), value, FormRowKind::Piece(number.clone(), key)));
        }
    }
    rows.extend(ticks(&app.plan, record, "prepare", TickList::Prepared));
    let next = app.steps().get(app.follows()).map_or("", |step| text(step, "name"));
    rows.push(row(format!("Play step {}: {next}", app.follows() + 1), "", FormRowKind::Play));
    rows
}

/// The key in [`TerminalApp::typed`] of a member of a piece of kit.
fn piece_key(number: &str, member: &str) -> String {
    format!("kit.{number}/{member}")
}

fn ticks(plan: &Value, record: &Value, list: &str, tick: TickList) -> Vec<FormRow> {
    let lines = array(plan, list).iter().filter_map(Value::as_str).enumerate();
    let of = |(at, line): (usize, &str)| {
        let (label, key) = match tick {
            TickList::Prepared => (format!("Prepare: {line}"), format!("0.prepare-{}", at + 1)),
            TickList::Out => (format!("Kit out: {line}"), (at + 1).to_string()),
            TickList::Back => (format!("Kit back: {line}"), (at + 1).to_string()),
        };
        let ticked = match tick {
            TickList::Prepared => record.get("prepared").map(|all| text(all, &key)),
            TickList::Out => record.get("kit").and_then(|all| all.get(&key)).map(|state| text(state, "out")),
            TickList::Back => record.get("kit").and_then(|all| all.get(&key)).map(|state| text(state, "back")),
        };
        row(label, ticked.unwrap_or_default(), FormRowKind::Tick(tick, key))
    };
    lines.map(of).collect()
}

fn after(app: &TerminalApp<'_>, record: &Value) -> Vec<FormRow> {
    if !is_open(record) {
        return vec![row("No record is open: f goes to the page before the first step.", "", FormRowKind::Words)];
    }
    let mut rows = ticks(&app.plan, record, "kit", TickList::Back);
    rows.push(row(format!("So far {}", text(record, "counts")), "", FormRowKind::Words));
    rows.extend(
        array(record, "missing").iter().filter_map(Value::as_str).map(|line| row(line, "", FormRowKind::Words)),
    );
    for (key, name) in [("signer", "Done by"), ("next_due", "Next check due, as 2027-03-01")] {
        rows.push(row(name, app.typed.get(key).cloned().unwrap_or_default(), FormRowKind::Text(key.to_owned())));
    }
    rows.push(row("Stop the outputs and sign the record", "", FormRowKind::Sign));
    rows
}

/// A key on a page; whether it opened a question.
pub fn key(app: &mut TerminalApp<'_>, key: KeyCode) -> bool {
    let rows = rows(app);
    let last = rows.len().saturating_sub(1);
    app.selected = app.selected.min(last);
    let Some(FormRow { value, kind, .. }) = rows.into_iter().nth(app.selected) else { return app.command(key) };
    match key {
        KeyCode::Up => {
            keep(app, &kind);
            app.selected = app.selected.saturating_sub(1);
            return false;
        }
        KeyCode::Down | KeyCode::Tab => {
            keep(app, &kind);
            app.selected = (app.selected + 1).min(last);
            return false;
        }
        _ => {}
    }
    match (kind, key) {
        (kind @ (FormRowKind::Text(_) | FormRowKind::Instrument(..) | FormRowKind::Piece(..)), KeyCode::Enter) => {
            if kind == FormRowKind::Text("asset".to_owned()) {
                fill_in(app);
            }
            keep(app, &kind);
            app.selected = (app.selected + 1).min(last);
        }
        (FormRowKind::Text(name) | FormRowKind::Instrument(_, name) | FormRowKind::Piece(_, name), key) => {
            let mut value = value;
            if type_into(&mut value, key) {
                app.typed.insert(name, value);
            } else if key == KeyCode::Esc {
                return app.command(key);
            }
        }
        (FormRowKind::Tick(tick, name), KeyCode::Enter | KeyCode::Char(' ')) => {
            let on = key == KeyCode::Enter || value.is_empty();
            let request = match tick {
                TickList::Prepared => Request::Prepared { id: name, on },
                TickList::Out => Request::Kit { number: name, back: false, on },
                TickList::Back => Request::Kit { number: name, back: true, on },
            };
            app.ask(request, AnswerPurpose::Done);
            if key == KeyCode::Enter {
                app.selected = (app.selected + 1).min(last);
            }
        }
        (FormRowKind::Words, KeyCode::Enter) => app.selected = (app.selected + 1).min(last),
        (FormRowKind::TakeUp(asset), KeyCode::Enter) => {
            app.ask(Request::Begin { about: [("asset".to_owned(), asset)].into() }, AnswerPurpose::Begun);
        }
        (FormRowKind::Begin, KeyCode::Enter) => {
            app.ask(Request::Begin { about: app.typed.clone() }, AnswerPurpose::Begun)
        }
        (FormRowKind::Play, KeyCode::Enter) => play(app),
        (FormRowKind::Sign, KeyCode::Enter) => {
            app.ask(Request::Stop, AnswerPurpose::Done);
            app.signs = true;
        }
        (_, key) => return app.command(key),
    }
    false
}

/// Signs once the outputs are at rest: the step that played has ended then.
pub fn sign_at_rest(app: &mut TerminalApp<'_>) {
    let resting = app.known().state.get("resting").and_then(Value::as_bool).unwrap_or(false);
    if app.signs && resting && app.since_first_frame().is_some() {
        app.signs = false;
        let word = |key: &str| app.typed.get(key).cloned().unwrap_or_default();
        app.ask(Request::Sign { name: word("signer"), next_due: word("next_due") }, AnswerPurpose::Signed);
    }
}

/// Plays the step that follows, when every preparation was made.
fn play(app: &mut TerminalApp<'_>) {
    let record = app.known().record.clone();
    let missing = ticks(&app.plan, &record, "prepare", TickList::Prepared).into_iter().find(|row| row.value.is_empty());
    match missing {
        Some(row) => app.message = format!("This is not ticked, so nothing plays: {}", row.label),
        None => app.play_step(app.follows()),
    }
}

/// Hands in what was typed about an instrument or a piece of kit.
fn keep(app: &mut TerminalApp<'_>, kind: &FormRowKind) {
    match kind {
        FormRowKind::Instrument(what, key) if app.typed.contains_key(key) => keep_instrument(app, what),
        FormRowKind::Piece(number, key) if app.typed.contains_key(key) => keep_piece(app, number),
        _ => {}
    }
}

fn keep_piece(app: &mut TerminalApp<'_>, number: &str) {
    let kept = app.known().record.get("kit").and_then(|kit| kit.get(number)).cloned().unwrap_or_default();
    let member = |member: &str| {
        let typed = app.typed.get(&piece_key(number, member));
        typed.map_or_else(|| text(&kept, member), String::as_str).trim().to_owned()
    };
    let (id, place) = (member("id"), member("place"));
    app.ask(Request::Piece { number: number.to_owned(), id, place }, AnswerPurpose::Done);
}

fn keep_instrument(app: &mut TerminalApp<'_>, what: &str) {
    let kept = array(&app.known().record, "instruments").iter().find(|of| text(of, "what") == what).cloned();
    let kept = kept.unwrap_or_default();
    let member = |member: &str| {
        let typed = app.typed.get(&format!("{what}/{member}"));
        typed.map_or_else(|| text(&kept, member), String::as_str).trim().to_owned()
    };
    let instrument = Instrument { what: what.to_owned(), id: member("id"), due: member("due") };
    app.ask(Request::Instrument { instrument }, AnswerPurpose::Done);
}

/// The rest of a piece of equipment that the address book knows.
fn fill_in(app: &mut TerminalApp<'_>) {
    let number = app.typed.get("asset").map_or("", |asset| asset.trim()).to_owned();
    let known = array(&app.known().record, "assets").iter().find(|asset| text(asset, "asset") == number).cloned();
    for word in ["model", "serial", "software", "location"] {
        if let Some(known) = known.as_ref().map(|known| text(known, word)).filter(|known| !known.is_empty()) {
            app.typed.entry(word.to_owned()).or_insert_with(|| known.to_owned());
        }
    }
}
