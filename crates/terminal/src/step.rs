//! A step of the plan: its items, their entry, their verdicts.

use crate::app::{AnswerPurpose, Screen, TerminalApp, TextEntry, array, text, type_into};
use pulsewright_bench::Request;
use pulsewright_record::record::ItemEntry;
use ratatui::crossterm::event::KeyCode;
use serde_json::Value;

/// The priorities that a monitor may show, with their keys.
const PRIORITIES: [(char, &str); 4] = [('h', "high"), ('m', "medium"), ('l', "low"), ('n', "none")];

/// The worst verdict of a step; empty when no record is open.
pub fn worst(app: &TerminalApp<'_>, step: usize) -> &'static str {
    let verdicts: Vec<String> =
        app.items(step).iter().map(|item| text(&app.entry(text(item, "id")), "verdict").to_owned()).collect();
    ["fail", "open", "skipped", "pass"].into_iter().find(|word| verdicts.iter().any(|of| of == word)).unwrap_or("")
}

/// Name of an item with its step.
pub fn name_of(app: &TerminalApp<'_>, id: &str) -> String {
    let named = app.steps().iter().find_map(|step| {
        let item = array(step, "items").iter().find(|item| text(item, "id") == id)?;
        Some(format!("{}, {}", text(item, "name"), text(step, "name")))
    });
    named.unwrap_or_else(|| id.to_owned())
}

/// An entry was taken down and judged.
pub fn entered(app: &mut TerminalApp<'_>, id: &str, found: &Value) {
    let (verdict, why) = (text(found, "verdict"), text(found, "why"));
    let name = name_of(app, id);
    app.message = if why.is_empty() { format!("{name}: {verdict}") } else { format!("{name}: {verdict}: {why}") };
    // One that was asked back stays selected. The news of the record came before this answer.
    if verdict != "open" {
        app.select_open();
    }
}

/// A key on a step; whether it opened a question.
pub fn key(app: &mut TerminalApp<'_>, key: KeyCode, at: usize) -> bool {
    let count = app.items(at).len();
    app.selected = app.selected.min(count.saturating_sub(1));
    let item = app.items(at).get(app.selected).cloned().unwrap_or_default();
    if let Some(typing) = app.typing.take() {
        return typed(app, key, typing, &item);
    }
    let kind = text(&item, "kind").to_owned();
    let answer = |value: &str, heard: &str| ItemEntry {
        value: value.to_owned(),
        heard: heard.to_owned(),
        ..ItemEntry::default()
    };
    match (key, kind.as_str()) {
        (KeyCode::Char(' '), "alarm" | "clear") => return sounds(app, &item, at, &kind),
        (KeyCode::Enter, "reading" | "alarm" | "clear") => app.typing = Some(TextEntry::Value(String::new())),
        (KeyCode::Char(digit @ ('0'..='9' | '-')), "reading" | "alarm" | "clear") => {
            app.typing = Some(TextEntry::Value(digit.to_string()));
        }
        (KeyCode::Char('n'), "alarm") => enter(app, &item, answer("", "no")),
        (KeyCode::Char('n'), "clear") => enter(app, &item, answer("", "yes")),
        (KeyCode::Char('y'), "silence") => enter(app, &item, answer("", "no")),
        (KeyCode::Char('n'), "silence") => enter(app, &item, answer("", "yes")),
        (KeyCode::Char('y'), "check") => enter(app, &item, answer("yes", "")),
        (KeyCode::Char('n'), "check") => enter(app, &item, answer("no", "")),
        (KeyCode::Char('s'), kind) if !kind.is_empty() => app.typing = Some(TextEntry::Skip(String::new())),
        (KeyCode::Char('m'), kind) if !kind.is_empty() => app.typing = Some(TextEntry::Remark(String::new())),
        (KeyCode::Char('a'), _) => app.play_step(at),
        (KeyCode::Char('o'), _) => match app.first_open(at + 1) {
            Some(place) => app.go(Screen::Step(place)),
            None => app.message = "No item is open.".to_owned(),
        },
        (KeyCode::Down | KeyCode::Tab, _) => app.selected = (app.selected + 1).min(count.saturating_sub(1)),
        _ => return app.command(key),
    }
    false
}

/// The alarm of the item sounds now, or has ended now.
fn sounds(app: &mut TerminalApp<'_>, item: &Value, at: usize, kind: &str) -> bool {
    let Some(since) = app.first_frame().filter(|_| app.playing() == Some(at)) else {
        app.message = "This step does not play: its alarm can't be timed now. a plays it again.".to_owned();
        return false;
    };
    let time = match app.bench.time_now(since) {
        Ok(time) => time,
        Err(why) => {
            app.message = why.to_owned();
            return false;
        }
    };
    let value = format!("{time:.1}");
    if kind == "clear" {
        enter(app, item, ItemEntry { value, ..ItemEntry::default() });
        return false;
    }
    app.typing = Some(TextEntry::Priority(text(item, "id").to_owned(), value));
    true
}

/// A key while something is typed.
fn typed(app: &mut TerminalApp<'_>, key: KeyCode, typing: TextEntry, item: &Value) -> bool {
    if key == KeyCode::Esc {
        return false;
    }
    match typing {
        TextEntry::Priority(id, value) => match PRIORITIES.iter().find(|(letter, _)| key == KeyCode::Char(*letter)) {
            Some((_, word)) => {
                let entry = ItemEntry { value, priority: (*word).to_owned(), ..ItemEntry::default() };
                app.ask(Request::Enter { item: id.clone(), entry }, AnswerPurpose::Entered(id));
            }
            None => app.typing = Some(TextEntry::Priority(id, value)),
        },
        TextEntry::Value(value) => {
            if let Some(value) = line(app, key, value, TextEntry::Value) {
                if text(item, "kind") == "alarm" {
                    app.typing = Some(TextEntry::Priority(text(item, "id").to_owned(), value));
                    return true;
                }
                enter(app, item, ItemEntry { value, ..ItemEntry::default() });
            }
        }
        TextEntry::Skip(reason) => {
            if let Some(skip) = line(app, key, reason, TextEntry::Skip) {
                enter(app, item, ItemEntry { skip, ..ItemEntry::default() });
            }
        }
        TextEntry::Remark(remark) => {
            if let Some(remark) = line(app, key, remark, TextEntry::Remark) {
                let before = app.entry(text(item, "id"));
                let of = |member| text(&before, member).to_owned();
                let (value, priority, heard, skip) = (of("value"), of("priority"), of("heard"), of("skip"));
                enter(app, item, ItemEntry { value, priority, heard, skip, remark, ..ItemEntry::default() });
            }
        }
        TextEntry::Setting(_) | TextEntry::Leave => {}
    }
    false
}

/// A line of text; complete when Enter was pressed and it is not empty.
fn line(
    app: &mut TerminalApp<'_>,
    key: KeyCode,
    mut typed: String,
    typing: impl FnOnce(String) -> TextEntry,
) -> Option<String> {
    if key == KeyCode::Enter && !typed.trim().is_empty() {
        return Some(typed.trim().to_owned());
    }
    type_into(&mut typed, key);
    app.typing = Some(typing(typed));
    None
}

fn enter(app: &mut TerminalApp<'_>, item: &Value, entry: ItemEntry) {
    let id = text(item, "id").to_owned();
    app.ask(Request::Enter { item: id.clone(), entry }, AnswerPurpose::Entered(id));
}
