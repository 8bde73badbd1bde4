//! Arguments from Python as scripts, channels and rates.

use crate::error::ScriptError;
use pulsewright_core::expect::AlarmLimits;
use pulsewright_core::frame::Channel;
use pulsewright_core::script::Script;
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_files::{Content, Encoding, FileFormat, RenderOptions};
use pulsewright_script::Document;
use pulsewright_text::source;
use pyo3::prelude::*;
use std::fmt::Display;
use std::path::Path;

/// An error of the user's input.
pub fn wrong(what: impl Display) -> PyErr {
    ScriptError::new_err(what.to_string())
}

/// Name of a script that was not read from a file.
pub const NO_FILE: &str = "script";

/// A script from its JSON; `name` is its path, or [`NO_FILE`]. Documents beside it, such as rhythms, are read from its folder.
pub fn document(text: &[u8], name: &str, seed: Option<u64>) -> PyResult<Document> {
    let beside = |file: &str| {
        if name == NO_FILE {
            return Err("this script is not read from a file".to_owned());
        }
        let file = Path::new(name).with_file_name(file);
        source::file(&file, pulsewright_script::MAX_BESIDE_BYTES).map_err(|error| error.why())
    };
    let document = pulsewright_script::parse_beside(text, name, &beside);
    let document = document.map_err(|problems| wrong(problems.render(false)))?;
    Ok(seed.into_iter().fold(document, Document::with_seed))
}

/// Channels by their words, as `pulsewright catalog channels` lists them.
pub fn channels(words: &[String]) -> PyResult<Vec<Channel>> {
    let channel =
        |word: &String| Channel::find(word).ok_or_else(|| wrong(format!("unknown channel '{}'", word.escape_debug())));
    words.iter().map(channel).collect()
}

/// A frame rate in frames a second.
pub fn frame_rate(hz: u32) -> PyResult<FrameRate> {
    FrameRate::hz(hz).map_err(wrong)
}

/// A length in seconds.
pub fn span(seconds: f64) -> PyResult<Span> {
    if !(seconds > 0.0 && seconds < 1e9) {
        return Err(wrong(format!("duration_s is {seconds}; allowed: above 0, below 1e9")));
    }
    Ok(Span::from_ticks((seconds * pulsewright_core::time::TICKS_PER_SECOND as f64).round() as u64))
}

/// Frames that a render has, after every check that a render to a file makes.
pub fn frames(script: &Script<'_>, rate: FrameRate, channels: &[Channel], duration: Option<Span>) -> PyResult<u64> {
    let options = RenderOptions { duration, ..RenderOptions::new(rate, channels, FileFormat::Raw(Encoding::Float)) };
    let plan = pulsewright_files::plan::RenderPlan::new(
        Content { script, title: "", labels: &[], limits: AlarmLimits::USUAL },
        &options,
    );
    plan.map(|plan| plan.frames).map_err(wrong)
}
