//! Keys that a recording and noise of a recording share: the file, its channels, and the times of the stretch.

use super::kept;
use crate::limits::MAX_STEP_S;
use crate::reader::{JsonNode, NodeEntry, NodeKind, Path};
use crate::series::span;
use crate::walk::DocumentWalk;
use crate::words::{nearest, quoted, shown};
use pulsewright_core::frame::INDEPENDENT_LEADS;
use pulsewright_core::recording as core;
use pulsewright_core::time::Span;
use pulsewright_recording as open;
use pulsewright_text::fit::line;
use std::sync::Arc;

/// The times that a step names, each after the start of the recording; one that was refused is left out.
pub(crate) struct StretchTimes {
    start: Option<Span>,
    end: Option<Span>,
    passed: Option<Span>,
}

/// A stretch of a recording.
pub(crate) struct StretchBounds {
    /// Its start.
    pub(crate) from: Span,
    /// Its end.
    pub(crate) to: Span,
    /// The end, where the step names it.
    pub(crate) end: Option<Span>,
    /// The part of the stretch that is over when the step begins.
    pub(crate) passed: Span,
}

/// How long the step is.
#[derive(Clone, Copy)]
pub(crate) struct StepLength {
    /// Its duration; one that was refused is left out.
    pub(crate) duration: Option<Span>,
    /// Whether it holds.
    pub(crate) holds: bool,
}

impl DocumentWalk<'_> {
    /// The node with the name of the file: a text alone, or the value of the key `file`.
    pub(crate) fn recording_file_node<'a>(
        &mut self,
        node: JsonNode<'a>,
        entries: &[NodeEntry<'a>],
        path: &Path<'_>,
    ) -> Option<JsonNode<'a>> {
        let named = || entries.iter().find(|entry| entry.key == "file").map(|entry| entry.value);
        let found = if node.kind() == NodeKind::Text { Some(node) } else { named() };
        if found.is_none() {
            self.missing(node, path, "file", "\"file\": a header (.hea), .edf, .csv or .wav file beside the script");
        }
        found
    }

    /// The recording in a file, read once for all steps.
    pub(crate) fn recording_file(
        &mut self,
        node: JsonNode<'_>,
        scale_mv: Option<f64>,
        path: &Path<'_>,
    ) -> Option<(String, Arc<open::Recording>)> {
        let file = self.file_name_beside(node, path, "100.hea")?;
        if let Some(known) = self.recordings.find(&file, scale_mv) {
            return Some((file, known));
        }
        let beside = self.beside;
        let bytes = |path: &std::path::Path| {
            beside(&path.to_string_lossy()).map_err(|why| open::RecordingError::Absent { path: path.to_owned(), why })
        };
        match open::open(std::path::Path::new(&file), open::NumberMeaning { scale_mv, rate_hz: None }, &bytes) {
            Ok(read) => {
                let read = Arc::new(read);
                self.recordings.keep(file.clone(), scale_mv, read.clone());
                Some((file, read))
            }
            Err(error) => {
                self.report(node, path, |p| p, line(&error.to_string()).into_owned());
                None
            }
        }
    }

    /// Samples that steps can refer to.
    pub(crate) fn kept_samples(
        &mut self,
        channels: &[Vec<f32>; INDEPENDENT_LEADS],
        rate_hz: f64,
        file_node: JsonNode<'_>,
        path: &Path<'_>,
    ) -> Option<core::Recording<'static>> {
        match kept::recording(channels, rate_hz) {
            Ok(Some(samples)) => Some(samples),
            Ok(None) => {
                let allowed = format!("at most {} samples in one run of a program", kept::MOST_SAMPLES);
                self.report(file_node, path, |p| p.allowed(allowed), "too many recordings".into());
                None
            }
            Err(()) => {
                let [least, most] = core::RATES_HZ;
                let what = format!("{rate_hz} Hz, or samples that are no numbers or beyond 1e12");
                self.report(file_node, path, |p| p.allowed(format!("{least} to {most} samples a second")), what);
                None
            }
        }
    }

    /// The channel of a recording that a step names.
    pub(crate) fn recorded_channel<'r>(
        &mut self,
        read: &'r open::Recording,
        (file, name): (&str, &str),
        node: JsonNode<'_>,
        path: &Path<'_>,
    ) -> Option<(usize, &'r open::RecordedChannel)> {
        let found = read.channels.iter().enumerate().find(|(_, channel)| channel.name == name);
        if found.is_none() {
            let near = nearest(name, read.channels.iter().map(|channel| channel.name.as_str())).map(quoted);
            let what = format!("{} has no channel {}", shown(file), quoted(name));
            let allowed = shown(&read.names());
            self.report(node, path, |p| p.allowed(allowed).nearest(near), what);
        }
        found
    }

    /// The times that the entries name.
    pub(crate) fn times(&mut self, entries: &[NodeEntry<'_>], path: &Path<'_>) -> StretchTimes {
        let [start, end, passed] = ["start_s", "end_s", "passed_s"].map(|key| {
            let entry = entries.iter().find(|entry| entry.key == key)?;
            self.found.number(entry.value, &path.key(key), 0.0..=MAX_STEP_S, "s").and_then(span)
        });
        StretchTimes { start, end, passed }
    }

    /// The stretch of a recording that lasts `whole`.
    pub(crate) fn bounds(
        &mut self,
        times: &StretchTimes,
        whole: Span,
        file: &str,
        (node, entries): (JsonNode<'_>, &[NodeEntry<'_>]),
        path: &Path<'_>,
    ) -> Option<StretchBounds> {
        let zero = Span::ZERO;
        let (from, to) = (times.start.unwrap_or(zero), times.end.unwrap_or(whole));
        if to > whole || from >= to {
            let key = if times.end.is_some() { "end_s" } else { "start_s" };
            let at = entries.iter().find(|entry| entry.key == key).map_or(node, |entry| entry.value);
            let what = format!("{} lasts {:.3} s", shown(file), whole.as_secs_f64());
            let allowed = "a start before the end, both within the recording";
            self.report(at, path, |p| p.allowed(allowed), what);
            return None;
        }
        Some(StretchBounds { from, to, end: times.end, passed: times.passed.unwrap_or(zero) })
    }

    /// Whether a step is no longer than a stretch that is played once; reports that it is, with the words of `loop`.
    pub(crate) fn ends_within(
        &mut self,
        step: StepLength,
        bounds: &StretchBounds,
        (file, loops): (&str, &str),
        node: JsonNode<'_>,
        path: &Path<'_>,
    ) -> bool {
        let left = bounds.to.minus(bounds.from).minus(bounds.passed);
        let longer = step.holds || step.duration.is_some_and(|duration| duration > left);
        if longer {
            let left = left.as_secs_f64();
            let what = format!("the step is longer than the {left:.3} s that are left of {}", shown(file));
            self.report(node, path, |p| p.allowed(format!("\"loop\": {loops}, or a shorter step")), what);
        }
        !longer
    }
}
