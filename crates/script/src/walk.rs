//! The walk over a document: what it has found so far, and how it reads a value or reports a problem.

use crate::carry;
use crate::document::DocumentPart;
use crate::expect::expected::ReadingLimits;
use crate::noise_ratio::Measurements;
use crate::problem::{Problem, ProblemCollector};
use crate::reader::{JsonNode, NodeEntry, NodeKind, Path};
use pulsewright_core::body::Body;
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::script::Conflict;
use pulsewright_core::settings::{FIELDS, Field, Settings};
use pulsewright_recording::Recording;
use std::sync::Arc;

/// Gives the bytes of a file beside a script, or the reason why it can't, which does not name the file.
pub type FilesBeside<'f> = dyn Fn(&str) -> Result<Vec<u8>, String> + 'f;

/// Recordings that were read for documents of one folder, by the names of their files and the scales that were given.
#[derive(Debug, Default)]
pub struct ReadRecordings(Vec<(String, Option<f64>, Arc<Recording>)>);

impl ReadRecordings {
    /// The recording in a file, when it was read with this scale.
    pub(crate) fn find(&self, file: &str, scale_mv: Option<f64>) -> Option<Arc<Recording>> {
        let found = self.0.iter().find(|(name, scale, _)| name == file && *scale == scale_mv);
        found.map(|(.., recording)| recording.clone())
    }

    /// Keeps a recording.
    pub(crate) fn keep(&mut self, file: String, scale_mv: Option<f64>, recording: Arc<Recording>) {
        self.0.push((file, scale_mv, recording));
    }

    /// Samples of all of them.
    pub fn samples(&self) -> usize {
        self.0.iter().flat_map(|(.., recording)| &recording.channels).map(|channel| channel.samples.len()).sum()
    }
}

/// For a script without a folder.
pub(crate) fn nothing_beside(_: &str) -> Result<Vec<u8>, String> {
    Err("this script is not read from a file".to_owned())
}

/// The walk over a document: what it found so far.
pub(crate) struct DocumentWalk<'b> {
    /// Files beside the script.
    pub(crate) beside: &'b FilesBeside<'b>,
    /// Rhythms of the document's own, known before its steps are read.
    pub(crate) own: Vec<&'static Rhythm>,
    /// Words of rhythms that have problems.
    pub(crate) refused: Vec<String>,
    /// Bodies of the document's own, likewise.
    pub(crate) own_bodies: Vec<&'static Body>,
    pub(crate) refused_bodies: Vec<String>,
    pub(crate) found: ProblemCollector,
    /// The state that the next step starts from.
    pub(crate) carried: Settings,
    /// Fields whose value was refused: their conflicts are not reported.
    pub(crate) doubtful: [bool; FIELDS],
    /// Conflicts of the last step, which carry over with its settings.
    pub(crate) conflicting: Vec<Conflict>,
    /// Limits of the document, known before its steps are read.
    pub(crate) limits: ReadingLimits,
    pub(crate) parts: Vec<DocumentPart>,
    /// Recordings read so far.
    pub(crate) recordings: ReadRecordings,
    /// Seed of the document, known before its steps are read.
    pub(crate) seed: u64,
    /// Signals and noise measured for ratios.
    pub(crate) measurements: Measurements,
}

impl<'b> DocumentWalk<'b> {
    pub(crate) fn new(beside: &'b FilesBeside<'b>) -> DocumentWalk<'b> {
        DocumentWalk {
            beside,
            own: vec![],
            refused: vec![],
            own_bodies: vec![],
            refused_bodies: vec![],
            found: ProblemCollector::default(),
            carried: carry::RESTING,
            doubtful: [false; FIELDS],
            conflicting: vec![],
            limits: vec![],
            parts: vec![],
            recordings: ReadRecordings::default(),
            seed: 0,
            measurements: Measurements::default(),
        }
    }

    /// A walk over a file beside the document, which knows the rhythms and bodies above it.
    pub(crate) fn of_file<'f>(&self, beside: &'f FilesBeside<'f>) -> DocumentWalk<'f> {
        DocumentWalk {
            own: self.own.clone(),
            refused: self.refused.clone(),
            own_bodies: self.own_bodies.clone(),
            refused_bodies: self.refused_bodies.clone(),
            ..DocumentWalk::new(beside)
        }
    }

    /// See [`ProblemCollector::entries`].
    pub(crate) fn entries<'a>(
        &mut self,
        node: JsonNode<'a>,
        path: &Path<'_>,
        what: &str,
    ) -> Option<Vec<NodeEntry<'a>>> {
        self.found.entries(node, path, what)
    }

    /// See [`ProblemCollector::whole`].
    pub(crate) fn whole(&mut self, node: JsonNode<'_>, path: &Path<'_>, min: u64, max: u64) -> Option<u64> {
        self.found.whole(node, path, min, max)
    }

    /// See [`ProblemCollector::text`].
    pub(crate) fn text(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<String> {
        self.found.text(node, path)
    }

    /// See [`ProblemCollector::line`].
    pub(crate) fn line(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<String> {
        self.found.line(node, path)
    }

    /// See [`ProblemCollector::wrong_kind`].
    pub(crate) fn wrong_kind(&mut self, node: JsonNode<'_>, path: &Path<'_>, wanted: NodeKind) {
        self.found.wrong_kind(node, path, wanted);
    }

    /// See [`ProblemCollector::missing`].
    pub(crate) fn missing(&mut self, node: JsonNode<'_>, path: &Path<'_>, key: &str, allowed: &str) {
        self.found.missing(node, path, key, allowed);
    }

    /// See [`ProblemCollector::unknown`].
    pub(crate) fn unknown(&mut self, entry: &NodeEntry<'_>, path: &Path<'_>, keys: &[&str], nearest: Option<String>) {
        self.found.unknown(entry, path, keys, nearest);
    }

    /// See [`ProblemCollector::report`].
    pub(crate) fn report(
        &mut self,
        node: JsonNode<'_>,
        path: &Path<'_>,
        more: impl FnOnce(Problem) -> Problem,
        what: String,
    ) {
        self.found.report(node, path, more, what);
    }

    /// Notes whether the value of a field was refused.
    pub(crate) fn doubt(&mut self, field: Field, doubtful: bool) {
        if let Some(doubt) = self.doubtful.get_mut(field as usize) {
            *doubt = doubtful;
        }
    }
}
