//! The page: its files, built in, and the data that it is made from.

use pulsewright_bench::offer;
use pulsewright_core::time::FrameRate;
use serde_json::{Value, json};

/// A file of the page: its path, media type and text.
pub struct File {
    /// Path, with its slash.
    pub path: &'static str,
    /// Media type.
    pub kind: &'static str,
    /// Content.
    pub text: &'static str,
}

/// Every file.
pub static FILES: &[File] = &[
    File { path: "/", kind: "text/html; charset=utf-8", text: include_str!("page/console.html") },
    File { path: "/console.css", kind: "text/css; charset=utf-8", text: include_str!("page/console.css") },
    File { path: "/console.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/console.js") },
    File { path: "/check.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/check.js") },
    File { path: "/dom.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/dom.js") },
    File { path: "/item.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/item.js") },
    File { path: "/icon.svg", kind: "image/svg+xml", text: include_str!("page/icon.svg") },
    File { path: "/editor", kind: "text/html; charset=utf-8", text: include_str!("page/editor.html") },
    File { path: "/editor.css", kind: "text/css; charset=utf-8", text: include_str!("page/editor.css") },
    File { path: "/editor.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/editor.js") },
    File { path: "/editor-step.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/editor-step.js") },
    File { path: "/kit.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/kit.js") },
    File { path: "/photos.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/photos.js") },
    File { path: "/scan.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/scan.js") },
    File { path: "/rhythms.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/rhythms.js") },
    File { path: "/script.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/script.js") },
    File { path: "/strips.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/strips.js") },
];

/// Everything that does not change while the console runs.
pub fn data(rate: FrameRate, output: &str, log: &str, plan: Value) -> Value {
    let mut data = offer::all();
    if let Some(data) = data.as_object_mut() {
        let own =
            json!({"rate_hz": rate.as_hz(), "every": offer::every(rate), "output": output, "log": log, "plan": plan});
        data.extend(own.as_object().cloned().unwrap_or_default());
    }
    data
}
