//! The page: its files, built in, and the data that it is made from.

use pulsewright_bench::offer;
use pulsewright_core::time::FrameRate;
use serde_json::{Value, json};

/// A file of the page: its path, media type and text.
pub struct PageFile {
    /// Path, with its slash.
    pub path: &'static str,
    /// Media type.
    pub kind: &'static str,
    /// Content.
    pub text: &'static str,
}

/// Every file.
pub static FILES: &[PageFile] = &[
    PageFile { path: "/", kind: "text/html; charset=utf-8", text: include_str!("page/console.html") },
    PageFile { path: "/console.css", kind: "text/css; charset=utf-8", text: include_str!("page/console.css") },
    PageFile { path: "/console.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/console.js") },
    PageFile { path: "/check.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/check.js") },
    PageFile { path: "/dom.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/dom.js") },
    PageFile { path: "/item.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/item.js") },
    PageFile { path: "/icon.svg", kind: "image/svg+xml", text: include_str!("page/icon.svg") },
    PageFile { path: "/editor", kind: "text/html; charset=utf-8", text: include_str!("page/editor.html") },
    PageFile { path: "/editor.css", kind: "text/css; charset=utf-8", text: include_str!("page/editor.css") },
    PageFile { path: "/editor.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/editor.js") },
    PageFile {
        path: "/editor-step.js",
        kind: "text/javascript; charset=utf-8",
        text: include_str!("page/editor-step.js"),
    },
    PageFile { path: "/kit.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/kit.js") },
    PageFile { path: "/photos.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/photos.js") },
    PageFile { path: "/scan.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/scan.js") },
    PageFile { path: "/rhythms.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/rhythms.js") },
    PageFile { path: "/script.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/script.js") },
    PageFile { path: "/strips.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/strips.js") },
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
