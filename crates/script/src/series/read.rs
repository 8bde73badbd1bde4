//! Reading the series of a step.

use super::{MOST_SERIES_BEATS, StepSeries, code, file, span};
use crate::reader::{JsonNode, NodeEntry, NodeKind, Path};
use crate::walk::DocumentWalk;
use crate::words::{nearest, quoted, shown};
use pulsewright_core::script::{SHORTEST_RR, SeriesBeat};
use pulsewright_core::time::Span;
use pulsewright_core::truth::BeatCode;
use pulsewright_text::fit::line;
use pulsewright_text::number::counted;

/// Keys of a list.
const LIST_KEYS: [&str; 4] = ["rr_s", "at_s", "codes", "length_s"];

/// Keys of a file.
const FILE_KEYS: [&str; 2] = ["file", "hz"];

/// The forms of a series, for messages.
const FORMS: &str = "{\"rr_s\": [seconds, ...]}, {\"at_s\": [seconds, ...]} or the name of a file beside the script";

impl DocumentWalk<'_> {
    /// The series of a step.
    pub(crate) fn series(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<StepSeries> {
        match node.kind() {
            NodeKind::Text => self.series_in_file(node, path, None),
            NodeKind::Object => {
                let entries = self.entries(node, path, "a series of beats")?;
                let all = [LIST_KEYS.as_slice(), &FILE_KEYS].concat();
                for entry in entries.iter().filter(|entry| !all.contains(&entry.key.as_str())) {
                    let near = nearest(&entry.key, all.iter().copied()).map(quoted);
                    self.unknown(entry, &path.key(&entry.key), &all, near);
                }
                let find = |key: &str| entries.iter().find(|entry| entry.key == key);
                let given: Vec<&NodeEntry<'_>> = ["rr_s", "at_s", "file"].into_iter().filter_map(find).collect();
                match given.as_slice() {
                    [one] => {
                        let others = if one.key == "file" { LIST_KEYS.as_slice() } else { &FILE_KEYS };
                        for entry in entries.iter().filter(|entry| others.contains(&entry.key.as_str())) {
                            let what = format!("{} has no meaning beside {}", entry.key, one.key);
                            self.report(entry.key_node, &path.key(&entry.key), |p| p, what);
                        }
                        if one.key == "file" {
                            let hz = find("hz").map(|entry| self.rate_of_file(entry.value, &path.key("hz")));
                            return match hz {
                                Some(None) => None,
                                hz => self.series_in_file(one.value, &path.key("file"), hz.flatten()),
                            };
                        }
                        self.series_in_list(one, find("codes"), find("length_s"), path)
                    }
                    [] if entries.iter().any(|entry| !all.contains(&entry.key.as_str())) => None,
                    _ => {
                        let what = "a series has one of rr_s, at_s and file".to_owned();
                        self.report(node, path, |p| p.allowed(FORMS), what);
                        None
                    }
                }
            }
            kind => {
                self.report(node, path, |p| p.allowed(FORMS), format!("a series can't be {}", kind.noun()));
                None
            }
        }
    }

    fn rate_of_file(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<f64> {
        self.found.number(node, path, 1.0..=1e6, "Hz")
    }

    /// Intervals or times, with their codes.
    fn series_in_list(
        &mut self,
        times: &NodeEntry<'_>,
        codes: Option<&NodeEntry<'_>>,
        length: Option<&NodeEntry<'_>>,
        path: &Path<'_>,
    ) -> Option<StepSeries> {
        let intervals = times.key == "rr_s";
        let times_path = path.key(&times.key);
        let Some((list, count)) = times.value.list(MOST_SERIES_BEATS) else {
            self.wrong_kind(times.value, &times_path, NodeKind::List);
            return None;
        };
        if count > MOST_SERIES_BEATS || count == 0 {
            let allowed = format!("1 to {MOST_SERIES_BEATS}");
            self.report(times.value, &times_path, |p| p.allowed(allowed), format!("{count} beats in a series"));
            return None;
        }
        let least = if intervals { SHORTEST_RR } else { Span::ZERO };
        let mut after = Some(Vec::with_capacity(list.len()));
        let mut sum = Span::ZERO;
        for (index, node) in list.iter().enumerate() {
            let seconds =
                if node.kind() == NodeKind::Number { node.raw().parse().unwrap_or(f64::NAN) } else { f64::NAN };
            match span(seconds).filter(|span| *span >= least) {
                Some(span) => {
                    sum = if intervals { sum.plus(span) } else { span };
                    after.iter_mut().for_each(|after| after.push(sum));
                }
                None => {
                    let path = Path::Index(&times_path, index);
                    let what = format!("{} can't be {}", times.key, shown(node.raw()));
                    self.report(*node, &path, |p| p.allowed(format!("seconds, at least {}", least.as_secs())), what);
                    after = None;
                    if self.found.is_flood() {
                        return None;
                    }
                }
            }
        }
        let codes = match codes {
            None => Some(vec![BeatCode::Normal; count]),
            Some(entry) => self.codes(entry.value, &path.key("codes"), count),
        };
        let length = match length {
            None => Some(intervals.then_some(sum)),
            Some(entry) if intervals => {
                let what =
                    "length_s has no meaning beside rr_s: a series of intervals is as long as their sum".to_owned();
                self.report(entry.key_node, &path.key("length_s"), |p| p, what);
                None
            }
            Some(entry) => {
                let most = crate::limits::MAX_STEP_S;
                self.found.number(entry.value, &path.key("length_s"), 0.0..=most, "s").map(span)
            }
        };
        let (after, codes, length) = (after?, codes?, length?);
        let beats = after.into_iter().zip(codes).map(|(after, code)| SeriesBeat { after, code }).collect();
        match StepSeries::new(beats, length) {
            Ok(series) => Some(series),
            Err((index, what)) => {
                let node = list.get(index).copied().unwrap_or(times.value);
                self.report(node, &Path::Index(&times_path, index), |p| p, what);
                None
            }
        }
    }

    /// A letter for each beat.
    fn codes(&mut self, node: JsonNode<'_>, path: &Path<'_>, count: usize) -> Option<Vec<BeatCode>> {
        let text = self.text(node, path)?;
        let symbols = || BeatCode::ALL.iter().map(|code| code.symbol().to_string());
        let allowed = || format!("a letter for each beat ({count}), of {}", symbols().collect::<Vec<_>>().join(" "));
        if let Some(letter) = text.chars().find(|letter| code(*letter).is_none()) {
            let what = format!("{} is no code of a beat", quoted(&letter.to_string()));
            self.report(node, path, |p| p.allowed(allowed()), what);
            return None;
        }
        let codes: Vec<BeatCode> = text.chars().filter_map(code).collect();
        if codes.len() != count {
            let what = format!("{} for {}", counted(codes.len() as u64, "code"), counted(count as u64, "beat"));
            self.report(node, path, |p| p.allowed(allowed()), what);
            return None;
        }
        Some(codes)
    }

    /// The beats of a file beside the script.
    fn series_in_file(&mut self, node: JsonNode<'_>, path: &Path<'_>, hz: Option<f64>) -> Option<StepSeries> {
        let (name, bytes) = self.file_beside(node, path, "beat list", "night.csv")?;
        self.series_of_bytes(&name, bytes, hz, node, path)
    }

    /// The beats of the file of this name beside the script; problems are reported at `node`.
    pub(crate) fn series_of(&mut self, name: &str, node: JsonNode<'_>, path: &Path<'_>) -> Option<StepSeries> {
        match (self.beside)(name) {
            Ok(bytes) => self.series_of_bytes(name, bytes, None, node, path),
            Err(why) => {
                let allowed = "\"beats\": an annotation file, a table or a list of times";
                let what = format!("its beats can't be read: {}: {}", shown(name), line(&why));
                self.report(node, path, |p| p.allowed(allowed), what);
                None
            }
        }
    }

    fn series_of_bytes(
        &mut self,
        name: &str,
        bytes: Vec<u8>,
        hz: Option<f64>,
        node: JsonNode<'_>,
        path: &Path<'_>,
    ) -> Option<StepSeries> {
        let header = file::header_name(name).map(|header| (self.beside)(&header));
        match file::read(name, bytes, hz, header.and_then(Result::ok)) {
            Ok(series) => Some(series),
            Err(what) => {
                self.report(node, path, |p| p, format!("{}: {what}", shown(name)));
                None
            }
        }
    }

    /// Refuses a series beside what does not go with it.
    pub(crate) fn series_alone(&mut self, beats: Option<&NodeEntry<'_>>, each: Option<JsonNode<'_>>, path: &Path<'_>) {
        if let Some(beats) = beats {
            let allowed = "premature beats among the codes of the series";
            let what = "beats beside a series".to_owned();
            self.report(beats.key_node, &path.key("beats"), |p| p.allowed(allowed), what);
        }
        if let Some(each) = each {
            let what = "a series in every rhythm: some have no beats".to_owned();
            self.report(each, &path.key("rhythm"), |p| p.allowed("one rhythm"), what);
        }
    }
}
