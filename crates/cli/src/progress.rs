//! A progress bar for long work: on a terminal only, and only after a while.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::time::{Duration, Instant};

/// Work shorter than this shows no bar.
const PATIENCE: Duration = Duration::from_millis(700);

/// A bar that appears late. On anything but a terminal it never does.
pub struct LateProgressBar {
    began: Instant,
    bar: Option<ProgressBar>,
}

impl LateProgressBar {
    /// Work begins.
    pub fn new() -> LateProgressBar {
        LateProgressBar { began: Instant::now(), bar: None }
    }

    /// `done` of `total` is done.
    pub fn show(&mut self, done: u64, total: u64) {
        if self.bar.is_none() && self.began.elapsed() < PATIENCE {
            return;
        }
        self.bar.get_or_insert_with(|| bar(total)).set_position(done);
    }
}

impl Drop for LateProgressBar {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

fn bar(total: u64) -> ProgressBar {
    let style = ProgressStyle::with_template("{wide_bar} {percent:>3} %, {eta} left");
    let bar = ProgressBar::with_draw_target(Some(total), ProgressDrawTarget::stderr_with_hz(10));
    bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
    bar
}
