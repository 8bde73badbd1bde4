//! Reading the recording of a step.

use super::stretch::{Repeats, stretch};
use super::{Named, Recording, SCALES_MV, kept, loop_words};
use crate::limits::MAX_STEP_S;
use crate::reader::{Entry, Kind, Node, Path};
use crate::series::{Series, span};
use crate::walk::Walk;
use crate::words::{nearest, quoted, shown};
use pulsewright_core::frame::{Channel, INDEPENDENT_LEADS, Lead};
use pulsewright_core::recording as core;
use pulsewright_core::time::Span;
use pulsewright_recording as open;
use pulsewright_text::fit::line;
use pulsewright_text::json;
use std::sync::Arc;

/// Keys of a recording.
const KEYS: [&str; 8] = ["file", "scale_mv", "leads", "beats", "start_s", "end_s", "loop", "passed_s"];

/// Keys of a step that have no meaning beside a recording, and why.
const OTHERS: [(&str, &str); 3] = [
    ("rhythm", "the recording has its own rhythm"),
    ("beats", "the recording has its own beats"),
    ("series", "the beats of a recording are named in it: \"beats\""),
];

/// The ending of an annotation file that is taken without being named.
const ANNOTATIONS: &str = "atr";

impl Walk<'_> {
    /// The recording of a step that lasts `duration`, `None` when it holds, with the series of its beats.
    pub(crate) fn recording(
        &mut self,
        node: Node<'_>,
        path: &Path<'_>,
        duration: Option<Span>,
        holds: bool,
    ) -> Option<(Recording, Series)> {
        let before = self.found.count();
        let entries = match node.kind() {
            Kind::Text => Vec::new(),
            Kind::Object => self.entries(node, path, "a recording")?,
            kind => {
                let allowed = "the name of a file beside the script, or {\"file\": \"100.hea\", ...}";
                self.report(node, path, |p| p.allowed(allowed), format!("a recording can't be {}", kind.noun()));
                return None;
            }
        };
        for entry in entries.iter().filter(|entry| !KEYS.contains(&entry.key.as_str())) {
            self.unknown(entry, &path.key(&entry.key), &KEYS, nearest(&entry.key, KEYS).map(quoted));
        }
        let find = |key: &str| entries.iter().find(|entry| entry.key == key);
        let Some(file_node) =
            (if node.kind() == Kind::Text { Some(node) } else { find("file").map(|entry| entry.value) })
        else {
            self.missing(node, path, "file", "\"file\": a header (.hea), .edf, .csv or .wav file beside the script");
            return None;
        };
        let seconds = |walk: &mut Self, key: &str| {
            let found = find(key).map(|entry| walk.found.number(entry.value, &path.key(key), 0.0..=MAX_STEP_S, "s"));
            found.map(|number| number.and_then(span))
        };
        let [start, end, passed] = ["start_s", "end_s", "passed_s"].map(|key| seconds(self, key));
        let repeats = match find("loop") {
            None => Repeats::No,
            Some(entry) => {
                let place = self.found.word(entry.value, &path.key("loop"), &loop_words())?;
                Repeats::ALL.get(place).map_or(Repeats::No, |(repeats, _)| *repeats)
            }
        };
        let scale = find("scale_mv")
            .map(|entry| self.found.number(entry.value, &path.key("scale_mv"), SCALES_MV, "mV"))
            .map_or(Some(None), |scale| scale.map(Some))?;
        let (file, read) = self.recording_file(file_node, scale, path)?;
        let leads = self.recorded_leads(find("leads"), &read, &file, file_node, path)?;
        let all = self.recorded_beats(find("beats"), &file, file_node, path)?;
        let samples = self.kept_samples(&samples(&read, &leads), read.rate_hz, file_node, path)?;
        if self.found.count() > before {
            return None;
        }
        let (_, whole) = samples.bounds();
        let start = start.flatten().unwrap_or(Span::ZERO);
        let end = end.flatten();
        let to = end.unwrap_or(whole);
        if to > whole || start >= to {
            let at = if end.is_some() { find("end_s") } else { find("start_s") };
            let what = format!("{} lasts {:.3} s", shown(&file), whole.as_secs_f64());
            let allowed = "a start before the end, both within the recording";
            self.report(at.map_or(node, |entry| entry.value), path, |p| p.allowed(allowed), what);
            return None;
        }
        let found = match stretch(&all.beats, start, to, repeats) {
            Ok(found) => found,
            Err(what) => {
                self.report(node, path, |p| p, format!("{}: {what}", shown(&file)));
                return None;
            }
        };
        let passed = passed.flatten().unwrap_or(Span::ZERO);
        let left = to.minus(start).minus(passed);
        if repeats == Repeats::No && (holds || duration.is_some_and(|duration| duration > left)) {
            let what =
                format!("the step is longer than the {:.3} s that are left of {}", left.as_secs_f64(), shown(&file));
            self.report(node, path, |p| p.allowed("\"loop\": \"beats\" or \"ends\", or a shorter step"), what);
            return None;
        }
        let beats = find("beats").and_then(|entry| json::value(entry.value.raw()).ok());
        let leads = leads.into_iter().map(|(lead, _, name)| (lead, name)).collect();
        let named = Named { file, scale_mv: scale, leads, beats, start, end, repeats };
        let played = samples.stretch(found.from, found.series.length);
        let series = if passed > Span::ZERO { found.series.from(passed) } else { found.series };
        Some((Recording { named, played, passed }, series))
    }

    /// The recording in a file, read once for all steps.
    pub(crate) fn recording_file(
        &mut self,
        node: Node<'_>,
        scale_mv: Option<f64>,
        path: &Path<'_>,
    ) -> Option<(String, Arc<open::Recording>)> {
        let file = self.file_name_beside(node, path, "100.hea")?;
        if let Some((_, _, known)) = self.recordings.iter().find(|(name, scale, _)| *name == file && *scale == scale_mv)
        {
            return Some((file, known.clone()));
        }
        let beside = self.beside;
        let bytes = |path: &std::path::Path| {
            beside(&path.to_string_lossy()).map_err(|what| open::ReadError::Content { path: path.to_owned(), what })
        };
        match open::open(std::path::Path::new(&file), open::Meaning { scale_mv, rate_hz: None }, &bytes) {
            Ok(read) => {
                let read = Arc::new(read);
                self.recordings.push((file.clone(), scale_mv, read.clone()));
                Some((file, read))
            }
            Err(error) => {
                self.report(node, path, |p| p, format!("the recording can't be read: {}", line(&error.to_string())));
                None
            }
        }
    }

    /// Samples that steps can refer to.
    pub(crate) fn kept_samples(
        &mut self,
        channels: &[Vec<f32>; INDEPENDENT_LEADS],
        rate_hz: f64,
        file_node: Node<'_>,
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

    /// The leads to play, each with the place and the name of its channel in the recording.
    fn recorded_leads(
        &mut self,
        named: Option<&Entry<'_>>,
        read: &open::Recording,
        file: &str,
        file_node: Node<'_>,
        path: &Path<'_>,
    ) -> Option<Vec<(Lead, usize, String)>> {
        let channel = |place: usize| read.channels.get(place);
        let is_potential = |place: usize| channel(place).is_some_and(|channel| channel.unit == "mV");
        let Some(entry) = named else {
            // Channels that are called after a lead, also as modified limb leads are (MLII), or as EDF+ has it (ECG II).
            let of = |lead: Lead| {
                let id = Channel::Lead(lead).id();
                let called =
                    |name: &str| name.eq_ignore_ascii_case(id) || name.eq_ignore_ascii_case(&format!("ML{id}"));
                let place = read.channels.iter().position(|channel| {
                    let name = channel.name.trim();
                    called(name.strip_prefix("ECG ").unwrap_or(name))
                })?;
                is_potential(place).then(|| (lead, place, read.channels.get(place).map_or("", |c| &c.name).to_owned()))
            };
            let found: Vec<_> = Lead::INDEPENDENT.into_iter().filter_map(of).collect();
            if found.is_empty() {
                let allowed = format!("\"leads\": {{\"II\": a channel}}; channels are {}", shown(&read.names()));
                let what = format!("no channel of {} is called after a lead", shown(file));
                self.report(file_node, path, |p| p.allowed(allowed), what);
                return None;
            }
            return Some(found);
        };
        let path = path.key("leads");
        let entries = self.entries(entry.value, &path, "leads with channels")?;
        let before = self.found.count();
        let mut found: Vec<(Lead, usize, String)> = Vec::new();
        for entry in &entries {
            let path = path.key(&entry.key);
            let lead =
                Lead::INDEPENDENT.into_iter().find(|lead| Channel::Lead(*lead).id().eq_ignore_ascii_case(&entry.key));
            let Some(lead) = lead.filter(|lead| !found.iter().any(|(one, ..)| one == lead)) else {
                let words = Lead::INDEPENDENT.map(|lead| Channel::Lead(lead).id());
                let near = nearest(&entry.key, words).map(quoted);
                self.unknown(entry, &path, &words, near);
                continue;
            };
            let Some(name) = self.text(entry.value, &path) else { continue };
            match read.channels.iter().position(|channel| channel.name == name) {
                Some(place) if is_potential(place) => found.push((lead, place, name)),
                Some(place) => {
                    let unit = channel(place).map_or("", |channel| channel.unit.as_str());
                    let what = format!("channel {} is in {}; leads are in mV", quoted(&name), shown(unit));
                    self.report(entry.value, &path, |p| p, what);
                }
                None => {
                    let near = nearest(&name, read.channels.iter().map(|channel| channel.name.as_str())).map(quoted);
                    let what = format!("{} has no channel {}", shown(file), quoted(&name));
                    let allowed = shown(&read.names());
                    self.report(entry.value, &path, |p| p.allowed(allowed).nearest(near), what);
                }
            }
        }
        if found.is_empty() && self.found.count() == before {
            self.report(entry.value, &path, |p| p.allowed("at least one lead"), "no leads".into());
        }
        (self.found.count() == before).then_some(found)
    }

    /// The beats of a whole recording: those that are named, or those of the annotation file of its name.
    fn recorded_beats(
        &mut self,
        named: Option<&Entry<'_>>,
        file: &str,
        file_node: Node<'_>,
        path: &Path<'_>,
    ) -> Option<Series> {
        if let Some(entry) = named {
            return self.series(entry.value, &path.key("beats"));
        }
        let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
        self.series_of(&format!("{stem}.{ANNOTATIONS}"), file_node, path)
    }

    /// Refuses what has no meaning beside a recording.
    pub(crate) fn recording_alone(&mut self, entries: &[Entry<'_>], path: &Path<'_>) {
        for (key, why) in OTHERS {
            if let Some(entry) = entries.iter().find(|entry| entry.key == key) {
                let what = format!("{key} beside a recording");
                self.report(entry.key_node, &path.key(key), |p| p.allowed(why), what);
            }
        }
    }
}

/// The samples of the leads in the order in which frames hold them; a lead that is not played has none.
fn samples(read: &open::Recording, leads: &[(Lead, usize, String)]) -> [Vec<f32>; INDEPENDENT_LEADS] {
    Lead::INDEPENDENT.map(|lead| {
        let place = leads.iter().find(|(one, ..)| *one == lead).map(|(_, place, _)| *place);
        place.and_then(|place| read.channels.get(place)).map_or(Vec::new(), |channel| channel.samples.clone())
    })
}
