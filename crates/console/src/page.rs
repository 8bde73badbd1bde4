//! The page: its files, built in, and the data that it is made from.

use crate::{controls, tee};
use pulsewright_core::body::BODIES;
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::EctopicSite;
use pulsewright_core::time::FrameRate;
use pulsewright_script::{catalogue_text, rhythm_words};
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
    File { path: "/strips.js", kind: "text/javascript; charset=utf-8", text: include_str!("page/strips.js") },
];

/// Everything that does not change while the console runs.
pub fn data(rate: FrameRate, output: &str, log: &str, plan: Value) -> Value {
    let channels: Vec<Value> = tee::channels().map(|of| json!({"id": of.id(), "unit": of.kind().unit()})).collect();
    json!({
        "rhythms": rhythms(), "controls": controls::list(), "channels": channels,
        "bodies": BODIES.iter().map(|body| json!({"id": body.id, "name": body.name})).collect::<Vec<_>>(),
        "sites": EctopicSite::ALL.iter().map(|site| site.id()).collect::<Vec<_>>(),
        "rate_hz": rate.as_hz(), "every": tee::every(rate), "output": output, "log": log,
        "plan": plan,
    })
}

/// The rhythms by group, each with its words.
fn rhythms() -> Value {
    let group = |group: &rhythm_words::RhythmGroup| {
        let rows = rhythm_words::ALL.iter().filter(|row| row.group == *group);
        let rows: Vec<Value> = rows
            .filter_map(|row| {
                let rhythm = RHYTHMS.iter().find(|rhythm| rhythm.id == row.id)?;
                let criteria = catalogue_text::find(row.id).map_or("", |text| text.criteria);
                Some(json!({"id": row.id, "name": rhythm.name, "words": row.words, "criteria": criteria}))
            })
            .collect();
        json!({"name": group.name(), "rhythms": rows})
    };
    rhythm_words::RhythmGroup::ALL.iter().map(group).collect()
}
