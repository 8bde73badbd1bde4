//! A signal to end is remembered, so that work under way can remove its temporary files first.

use std::sync::atomic::{AtomicBool, Ordering};

static ASKED: AtomicBool = AtomicBool::new(false);

/// From now on a signal to end is remembered instead of ending the program at once.
///
/// Only for work that looks at [`asked`] often.
pub fn watch() {
    // Without a handler a signal ends the program at once, which is safe too.
    let _ = ctrlc::set_handler(|| ASKED.store(true, Ordering::Relaxed));
}

/// Whether the program was asked to end.
pub fn asked() -> bool {
    ASKED.load(Ordering::Relaxed)
}
