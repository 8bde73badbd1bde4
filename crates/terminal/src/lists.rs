//! Lists to pick from: rhythms by everyday words, settings, the steps of the plan.

use crate::app::{AnswerPurpose, Screen, TerminalApp, TextEntry, array, text, type_into};
use crate::step;
use pulsewright_bench::{Request, offer};
use ratatui::crossterm::event::KeyCode;
use serde_json::Value;

/// A row of a list.
pub struct ListRow {
    /// Its words.
    pub words: String,
    /// The word that picks it.
    pub id: String,
}

/// The rows of the list on the screen.
pub fn rows(app: &TerminalApp<'_>) -> Vec<ListRow> {
    match app.screen {
        Screen::Rhythms => rhythms(app),
        Screen::Controls => controls(app),
        Screen::Steps => steps(app),
        _ => Vec::new(),
    }
}

/// The rhythms that the search finds, the likeliest first.
fn rhythms(app: &TerminalApp<'_>) -> Vec<ListRow> {
    let groups = array(&app.offer, "rhythms").iter();
    let all = groups.flat_map(|group| array(group, "rhythms").iter().map(move |rhythm| (group, rhythm)));
    let row = |id: &'static str| {
        let (group, rhythm) = all.clone().find(|(_, rhythm)| text(rhythm, "id") == id)?;
        let others: Vec<&str> = array(rhythm, "words").iter().filter_map(Value::as_str).take(4).collect();
        let others = if others.is_empty() { String::new() } else { format!(" ({})", others.join(", ")) };
        let words = format!("{}: {}{others}", text(group, "name"), text(rhythm, "name"));
        Some(ListRow { words, id: id.to_owned() })
    };
    offer::search(&app.search).into_iter().filter_map(row).collect()
}

/// The settings with their values and limits.
fn controls(app: &TerminalApp<'_>) -> Vec<ListRow> {
    let state = app.known().state.clone();
    let controls = array(&app.offer, "controls").iter().flat_map(|group| array(group, "controls"));
    let row = |control: &Value| {
        let id = text(control, "field").to_owned();
        let now = state.get("values").and_then(|values| values.get(&id)).cloned().unwrap_or_default();
        let value = now.get("value").and_then(Value::as_f64);
        let limit =
            |member: &str| now.get(member).or_else(|| control.get(member)).and_then(Value::as_f64).unwrap_or_default();
        let unit = text(control, "unit");
        let words = match value {
            Some(value) => format!("{}: {value} {unit} ({} to {})", text(control, "label"), limit("min"), limit("max")),
            None => format!("{}: this rhythm has none", text(control, "label")),
        };
        ListRow { words, id }
    };
    controls.map(row).collect()
}

fn steps(app: &TerminalApp<'_>) -> Vec<ListRow> {
    let row = |(at, of): (usize, &Value)| {
        let words = format!("{}. {}  {}", at + 1, text(of, "name"), step::worst(app, at));
        ListRow { words: words.trim_end().to_owned(), id: at.to_string() }
    };
    app.steps().iter().enumerate().map(row).collect()
}

/// A key on a list; whether it opened a question.
pub fn key(app: &mut TerminalApp<'_>, key: KeyCode) -> bool {
    let rows = rows(app);
    let last = rows.len().saturating_sub(1);
    app.selected = app.selected.min(last);
    let id = rows.into_iter().nth(app.selected).map(|row| row.id);
    if let Some(TextEntry::Setting(mut value)) = app.typing.take() {
        match key {
            KeyCode::Esc => {}
            KeyCode::Enter => set(app, id.unwrap_or_default(), &value),
            _ => {
                type_into(&mut value, key);
                app.typing = Some(TextEntry::Setting(value));
            }
        }
        return false;
    }
    match (key, app.screen) {
        (KeyCode::Up, _) => app.selected = app.selected.saturating_sub(1),
        (KeyCode::Down | KeyCode::Tab, _) => app.selected = (app.selected + 1).min(last),
        (KeyCode::PageUp, _) => app.selected = app.selected.saturating_sub(10),
        (KeyCode::PageDown, _) => app.selected = (app.selected + 10).min(last),
        (KeyCode::Esc, Screen::Rhythms) if !app.search.is_empty() => {
            app.search.clear();
            app.selected = 0;
        }
        (KeyCode::Esc, _) => app.go(app.below),
        (KeyCode::Enter, Screen::Rhythms) => match id {
            Some(rhythm) => {
                app.ask(Request::Rhythm { rhythm }, AnswerPurpose::Done);
                app.message.clear();
                app.go(app.below);
            }
            None => app.message = format!("No rhythm is called '{}'.", app.search),
        },
        (KeyCode::Enter, Screen::Controls) => app.typing = Some(TextEntry::Setting(String::new())),
        (KeyCode::Char(digit @ ('0'..='9' | '-')), Screen::Controls) => {
            app.typing = Some(TextEntry::Setting(digit.to_string()));
        }
        (KeyCode::Enter, Screen::Steps) => app.go(Screen::Step(app.selected)),
        (key, Screen::Rhythms) => {
            type_into(&mut app.search, key);
            app.selected = 0;
        }
        (key, _) => return app.command(key),
    }
    false
}

fn set(app: &mut TerminalApp<'_>, field: String, typed: &str) {
    match typed.trim().replace(',', ".").parse::<f32>() {
        Ok(value) => app.ask(Request::Set { values: [(field, value)].into() }, AnswerPurpose::Done),
        Err(_) => app.message = format!("'{}' is not a number", typed.trim()),
    }
}
