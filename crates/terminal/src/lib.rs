//! A session at the bench in a terminal: one screen with the live strip, the clock, what to do, and the keys that do it.
//!
//! # Map
//! The session itself is [`pulsewright_bench`]; this is its view. `feed` keeps the latest news and frames, which come from the
//! threads of the session; `app` holds what is on the screen; `keys` hands keys and answers to the screen that they are
//! for; `step` has the keys of a step of the plan, `forms` those of the pages before the first step and after the last, `lists`
//! those of the lists; `draw` paints; `strip` draws frames as braille dots.
//!
//! # What holds
//! - A key counts for what was on the screen when it was pressed: keys that were pressed before a step began, or before a question
//!   was shown, are thrown away.
//! - The screen says "Playing" only while the output takes frames.

mod app;
mod draw;
mod feed;
mod forms;
mod keys;
mod lists;
mod step;
mod strip;

use app::TerminalApp;
use feed::NewsFeed;
use pulsewright_bench::{Bench, BenchError, SessionEnd, Setup};
use ratatui::crossterm::event::{self, Event, KeyEventKind};
use std::io;
use std::time::Duration;

/// Pictures a second, at most.
const PICTURE: Duration = Duration::from_millis(60);

/// Why a session in the terminal failed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TerminalError {
    /// The session can't begin, or did not end well.
    #[error(transparent)]
    Bench(#[from] BenchError),
    /// The terminal failed.
    #[error("the terminal failed: {0}")]
    Terminal(#[source] io::Error),
}

/// How a session in the terminal ended.
#[derive(Debug)]
pub struct TerminalEnd {
    /// How the session ended.
    pub served: SessionEnd,
    /// The line that a person refused before anything was played.
    pub refused: Option<&'static str>,
}

/// Shows a session until the person leaves or `asked` returns true. The terminal is given back as it was.
///
/// # Errors
/// When the session can't be opened, or the terminal fails; what was entered until then is kept.
pub fn run(setup: Setup, asked: impl Fn() -> bool) -> Result<TerminalEnd, TerminalError> {
    let feed = NewsFeed::default();
    let output = setup.consumer.name.clone();
    let plan = setup.plan.as_ref().map(|plan| plan.page.clone());
    let rate = setup.rate;
    let bench = Bench::open(setup, Box::new(feed.clone()))?;
    let mut app = TerminalApp::new(&bench, feed, plan, output, rate);
    let shown = show(&mut app, asked);
    let refused = app.refused;
    let served = bench.close()?;
    shown.map_err(TerminalError::Terminal)?;
    Ok(TerminalEnd { served, refused })
}

fn show(app: &mut TerminalApp<'_>, asked: impl Fn() -> bool) -> io::Result<()> {
    let mut terminal = ratatui::try_init()?;
    let shown = (|| {
        while !app.over && !asked() {
            if keys::tick(app) {
                discard()?;
            }
            terminal.draw(|frame| draw::draw(app, frame))?;
            // Every key that has come meanwhile belongs to the picture that was shown.
            let mut wait = PICTURE;
            while event::poll(wait)? {
                if let Event::Key(key) = event::read()?
                    && key.kind != KeyEventKind::Release
                {
                    let questioned = keys::key(app, key);
                    // Before the question is shown: a key that answers the picture must not be lost.
                    if questioned {
                        discard()?;
                    }
                    terminal.draw(|frame| draw::draw(app, frame))?;
                }
                wait = Duration::ZERO;
            }
        }
        Ok(())
    })();
    ratatui::restore();
    shown
}

/// Throws away keys that were pressed before the present question.
fn discard() -> io::Result<()> {
    while event::poll(Duration::ZERO)? {
        event::read()?;
    }
    Ok(())
}
