//! Reading the recording of a step.

use super::part::{StepLength, StretchBounds};
use super::stretch::{Repeats, stretch};
use super::{Named, SCALES_MV, StepRecording, loop_words};
use crate::reader::{JsonNode, NodeEntry, NodeKind, Path};
use crate::series::StepSeries;
use crate::walk::DocumentWalk;
use crate::words::{nearest, quoted, shown};
use pulsewright_core::frame::{Channel, INDEPENDENT_LEADS, Lead};
use pulsewright_core::time::Span;
use pulsewright_recording as open;
use pulsewright_text::json;

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

impl DocumentWalk<'_> {
    /// The recording of a step, with the series of its beats.
    pub(crate) fn recording(
        &mut self,
        node: JsonNode<'_>,
        path: &Path<'_>,
        step: StepLength,
    ) -> Option<(StepRecording, StepSeries)> {
        let before = self.found.count();
        let entries = match node.kind() {
            NodeKind::Text => Vec::new(),
            NodeKind::Object => self.entries(node, path, "a recording")?,
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
        let file_node = self.recording_file_node(node, &entries, path)?;
        let times = self.times(&entries, path);
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
        let bounds = self.bounds(&times, whole, &file, (node, &entries), path)?;
        let found = match stretch(&all.beats, bounds.from, bounds.to, repeats) {
            Ok(found) => found,
            Err(what) => {
                self.report(node, path, |p| p, format!("{}: {what}", shown(&file)));
                return None;
            }
        };
        let loops = "\"beats\" or \"ends\"";
        if repeats == Repeats::No && !self.ends_within(step, &bounds, (&file, loops), node, path) {
            return None;
        }
        let beats = find("beats").and_then(|entry| json::value(entry.value.raw()).ok());
        let leads = leads.into_iter().map(|(lead, _, name)| (lead, name)).collect();
        let StretchBounds { from: start, end, passed, .. } = bounds;
        let named = Named { file, scale_mv: scale, leads, beats, start, end, repeats };
        let played = samples.stretch(found.from, found.series.length);
        let series = if passed > Span::ZERO { found.series.from(passed) } else { found.series };
        Some((StepRecording { named, played, passed }, series))
    }

    /// The leads to play, each with the place and the name of its channel in the recording.
    fn recorded_leads(
        &mut self,
        named: Option<&NodeEntry<'_>>,
        read: &open::Recording,
        file: &str,
        file_node: JsonNode<'_>,
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
            match self.recorded_channel(read, (file, &name), entry.value, &path) {
                Some((place, _)) if is_potential(place) => found.push((lead, place, name)),
                Some((_, channel)) => {
                    let what = format!("channel {} is in {}; leads are in mV", quoted(&name), shown(&channel.unit));
                    self.report(entry.value, &path, |p| p, what);
                }
                None => {}
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
        named: Option<&NodeEntry<'_>>,
        file: &str,
        file_node: JsonNode<'_>,
        path: &Path<'_>,
    ) -> Option<StepSeries> {
        if let Some(entry) = named {
            return self.series(entry.value, &path.key("beats"));
        }
        let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
        self.series_of(&format!("{stem}.{ANNOTATIONS}"), file_node, path)
    }

    /// Refuses what has no meaning beside a recording.
    pub(crate) fn recording_alone(&mut self, entries: &[NodeEntry<'_>], path: &Path<'_>) {
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
