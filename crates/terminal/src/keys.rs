//! Keys, answers and the clock, each handed to the screen that they are for.

use crate::app::{AnswerPurpose, SAFE, Screen, TerminalApp, TextEntry};
use crate::{forms, lists, step};
use pulsewright_bench::Request;
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use serde_json::Value;
use std::time::{Duration, Instant};

/// How often the state of the output is asked for.
const CLOCK: Duration = Duration::from_millis(200);

/// Looks at the clock and at what has come. Whether keys that were pressed before now are to be thrown away: a step has begun.
pub fn tick(app: &mut TerminalApp<'_>) -> bool {
    if app.next_clock <= Instant::now() {
        app.next_clock = Instant::now() + CLOCK;
        app.bench.tick();
    }
    while let Ok((after, answer)) = app.answers.try_recv() {
        match answer {
            Ok(value) => done(app, after, &value),
            Err(why) => app.message = why,
        }
    }
    forms::sign_at_rest(app);
    let warning = app.known().warning.take();
    if let Some(words) = warning {
        app.message = words;
    }
    let now = {
        let known = app.known();
        (known.state.get("step").and_then(Value::as_u64), known.state.get("since").and_then(Value::as_u64).unwrap_or(0))
    };
    let begun = now != app.began;
    if begun {
        app.began = now;
        (app.waited, app.waits_since, app.went_on) = (Duration::ZERO, None, None);
        if let Some(step) = now.0 {
            app.message.clear();
            app.go(Screen::Step(step as usize));
        }
    }
    if let Some(step) = app.playing()
        && app.waits_since.is_none()
        && app.went_on != Some(step)
        && app.left_s().is_some_and(|left| left <= 0.0)
        && step + 1 < app.steps().len()
    {
        app.went_on = Some(step);
        app.play_step(step + 1);
    }
    begun
}

fn done(app: &mut TerminalApp<'_>, after: AnswerPurpose, value: &Value) {
    match after {
        AnswerPurpose::Done => {}
        AnswerPurpose::Entered(id) => step::entered(app, &id, value),
        AnswerPurpose::Undone => {
            let name = step::name_of(app, value.as_str().unwrap_or_default());
            app.message = format!("Taken back: {name}. The draft keeps both.");
        }
        AnswerPurpose::Begun => {
            app.typed.clear();
            app.selected = 0;
            app.message = "The record is open; every entry is kept at once.".to_owned();
        }
        AnswerPurpose::Signed => app.go(Screen::Report),
        AnswerPurpose::Step(step) => app.message = format!("Step {} was ordered.", step + 1),
        AnswerPurpose::Confirmed => {
            let home = app.home();
            app.go(home);
            if home == Screen::Hold {
                app.open_list(Screen::Rhythms);
            }
        }
    }
}

/// A key was pressed. Whether it opened a question that keys pressed before must not answer.
pub fn key(app: &mut TerminalApp<'_>, pressed: KeyEvent) -> bool {
    let control = pressed.modifiers.contains(KeyModifiers::CONTROL);
    if control && pressed.code == KeyCode::Char('c') {
        app.typing = Some(TextEntry::Leave);
        return true;
    }
    if app.help {
        app.help = false;
        return false;
    }
    if pressed.code == KeyCode::F(1) {
        app.help = true;
        return false;
    }
    if pressed.modifiers.contains(KeyModifiers::ALT) {
        // A terminal sends Esc and a key that follows at once as one.
        key(app, KeyEvent::new(KeyCode::Esc, KeyModifiers::NONE));
        return key(app, KeyEvent::new(pressed.code, pressed.modifiers.difference(KeyModifiers::ALT)));
    }
    if control {
        return false;
    }
    if app.typing == Some(TextEntry::Leave) {
        app.typing = None;
        app.over = matches!(pressed.code, KeyCode::Char('y' | 'Y'));
        return false;
    }
    match app.screen {
        Screen::Confirm(line) => confirm(app, pressed.code, line),
        Screen::Before | Screen::After => forms::key(app, pressed.code),
        Screen::Step(at) => step::key(app, pressed.code, at),
        Screen::Rhythms | Screen::Controls | Screen::Steps => lists::key(app, pressed.code),
        Screen::Hold | Screen::Report => app.command(pressed.code),
    }
}

fn confirm(app: &mut TerminalApp<'_>, key: KeyCode, line: usize) -> bool {
    match key {
        KeyCode::Char('y' | 'Y') if line + 1 < SAFE.len() => app.screen = Screen::Confirm(line + 1),
        KeyCode::Char('y' | 'Y') => app.ask(Request::Confirm { person: true, output: true }, AnswerPurpose::Confirmed),
        KeyCode::Char('n' | 'N') => {
            app.refused = SAFE.get(line).copied();
            app.over = true;
        }
        KeyCode::Char('?') => app.help = true,
        KeyCode::Char('q') => app.typing = Some(TextEntry::Leave),
        _ => app.message = "Press y when it holds, n when it does not.".to_owned(),
    }
    // The same key pressed twice must not answer the next question.
    true
}
