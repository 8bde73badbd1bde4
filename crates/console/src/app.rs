//! The state that every request works with.

use crate::editor::Editor;
use crate::guard::RequestGuard;
use crate::pages::Pages;
use pulsewright_bench::Bench;
use std::path::PathBuf;
use std::sync::Mutex;

/// Gets each link that works next.
pub type LinkSource = Box<dyn FnMut(&str) + Send>;

/// The state that requests work with.
pub struct ConsoleApp {
    /// The session.
    pub bench: Bench,
    /// The pages.
    pub pages: Pages,
    /// Who may come in.
    pub guard: RequestGuard,
    /// Data that does not change while the console runs, JSON.
    pub data: String,
    /// Folder of the photos.
    pub folder: PathBuf,
    /// The plan editor.
    pub editor: Editor,
    /// Gets each link that works next.
    pub links: Mutex<LinkSource>,
}

impl ConsoleApp {
    /// Says which link works next.
    pub fn say_link(&self) {
        if let Ok(mut links) = self.links.lock() {
            links(&self.guard.link());
        }
    }
}
