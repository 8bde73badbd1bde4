//! Premature beats at given times: the list behind a step's `beats`.

use crate::limits::MAX_STEP_S;
use crate::reader::Path;
use crate::reader::{JsonNode, NodeKind};
use crate::walk::DocumentWalk;
use crate::words::{join, nearest, quoted, shown};
use pulsewright_core::heart::rhythm::EctopicSite;
use pulsewright_core::script::TimedBeat;
use pulsewright_core::time::{Span, TICKS_PER_SECOND};

/// Most premature beats in one step's list.
pub(crate) const MAX_BEATS: usize = 10_000;

/// Keys of one beat.
pub(crate) const BEAT_KEYS: [&str; 2] = ["at_s", "site"];

impl DocumentWalk<'_> {
    /// The beats of a step that lasts `duration` (`None`: holds), in order of time.
    pub(crate) fn beats(&mut self, node: JsonNode<'_>, path: &Path<'_>, duration: Option<Span>) -> Vec<TimedBeat> {
        let Some((list, count)) = node.list(MAX_BEATS) else {
            let what = format!("beats can't be {}", node.kind().noun());
            self.report(node, path, |p| p.allowed("a list of {\"at_s\": seconds, \"site\": word}"), what);
            return Vec::new();
        };
        if count > MAX_BEATS {
            self.report(
                node,
                path,
                |p| p.allowed(format!("at most {MAX_BEATS}")),
                format!("{count} beats in one step"),
            );
        }
        let mut beats = Vec::new();
        for (index, node) in list.into_iter().enumerate() {
            let path = Path::Index(path, index);
            let Some(entries) = self.entries(node, &path, "a beat") else { continue };
            let (mut after, mut site) = (None, None);
            for entry in &entries {
                let path = path.key(&entry.key);
                match entry.key.as_str() {
                    "at_s" => after = self.beat_time(entry.value, &path, duration),
                    "site" => site = self.site(entry.value, &path),
                    key => self.unknown(entry, &path, &BEAT_KEYS, nearest(key, BEAT_KEYS).map(quoted)),
                }
            }
            for key in BEAT_KEYS {
                if !entries.iter().any(|entry| entry.key == key) {
                    self.missing(node, &path, key, "{\"at_s\": seconds, \"site\": word}");
                }
            }
            beats.extend(after.zip(site).map(|(after, site)| TimedBeat { after, site }));
        }
        beats.sort_by_key(|beat| beat.after);
        beats
    }

    /// Seconds after the start of the step, within it.
    fn beat_time(&mut self, node: JsonNode<'_>, path: &Path<'_>, duration: Option<Span>) -> Option<Span> {
        let seconds = if node.kind() == NodeKind::Number { node.raw().parse().unwrap_or(f64::NAN) } else { f64::NAN };
        let longest = duration.map_or(MAX_STEP_S, Span::as_secs_f64);
        if !(0.0..=longest).contains(&seconds) {
            let what = format!("at_s can't be {}", shown(node.raw()));
            self.report(
                node,
                path,
                |p| p.allowed(format!("seconds after the start of the step, 0 to {longest}")),
                what,
            );
            return None;
        }
        Some(Span::from_ticks((seconds * TICKS_PER_SECOND as f64).round() as u64))
    }

    fn site(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<EctopicSite> {
        let word = self.text(node, path)?;
        let sites = || EctopicSite::ALL.iter().map(|site| site.id());
        let found = EctopicSite::ALL.iter().copied().find(|site| site.id() == word);
        if found.is_none() {
            let near = nearest(&word, sites()).map(quoted);
            let what = format!("unknown site {}", quoted(&word));
            self.report(node, path, |p| p.allowed(join(sites())).nearest(near), what);
        }
        found
    }
}
