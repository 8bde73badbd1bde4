//! Beats, episodes and shutdown of one record, from either side.

use serde::Serialize;

use crate::codes::is_beat;
use crate::instant::{RecordInstant, RecordSpan};

/// One line of an annotation file or of a truth CSV.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Annotation {
    /// When.
    pub at: RecordInstant,
    /// Letter of the open code table.
    pub code: char,
    /// Subtype; with `~` (signal quality) -1 marks a signal that cannot be read.
    pub subtype: i8,
    /// Text; with `+` (rhythm change) the rhythm, such as `(AFIB`.
    pub aux: String,
}

/// One beat, pulse or breath.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AnnotatedBeat {
    /// When.
    pub at: RecordInstant,
    /// Letter of the open code table; `N` where the side gives no labels.
    pub code: char,
}

/// The kind of an episode.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum EpisodeKind {
    /// Ventricular fibrillation or flutter.
    Vf,
    /// Atrial fibrillation.
    Af,
    /// Atrial flutter: left out of the scoring of atrial fibrillation.
    AtrialFlutter,
    /// No ventricular activity.
    Asystole,
    /// No breath.
    Apnoea,
}

impl EpisodeKind {
    /// Name used in files and reports.
    pub fn name(self) -> &'static str {
        match self {
            EpisodeKind::Vf => "vf",
            EpisodeKind::Af => "af",
            EpisodeKind::AtrialFlutter => "atrial-flutter",
            EpisodeKind::Asystole => "asystole",
            EpisodeKind::Apnoea => "apnoea",
        }
    }

    /// Episode that a rhythm text starts; `None` for rhythms that are not scored as episodes.
    ///
    /// `(AFIB`, `(AFL`, `(VFL`, `(VFIB`, `(ASYS` are in use in the open databases; `(APNEA` is ours.
    pub fn of_rhythm(aux: &str) -> Option<EpisodeKind> {
        match aux.trim_end_matches('\0').trim() {
            "(AFIB" => Some(EpisodeKind::Af),
            "(AFL" => Some(EpisodeKind::AtrialFlutter),
            "(VFL" | "(VFIB" | "(VF" => Some(EpisodeKind::Vf),
            "(ASYS" => Some(EpisodeKind::Asystole),
            "(APNEA" | "(APNOEA" => Some(EpisodeKind::Apnoea),
            _ => None,
        }
    }

    /// Episode by its name in a table, short as in the reports or in full; `None` if unknown.
    pub fn of_name(name: &str) -> Option<EpisodeKind> {
        match name.trim().to_ascii_lowercase().as_str() {
            "vf" | "ventricular-fibrillation" | "ventricular-flutter" => Some(EpisodeKind::Vf),
            "af" | "atrial-fibrillation" => Some(EpisodeKind::Af),
            "atrial-flutter" => Some(EpisodeKind::AtrialFlutter),
            "asystole" => Some(EpisodeKind::Asystole),
            "apnoea" => Some(EpisodeKind::Apnoea),
            _ => None,
        }
    }
}

/// A stretch of time; both ends belong to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TimeRange {
    /// First instant.
    pub from: RecordInstant,
    /// Last instant; [`RecordInstant::END`] when the file never closed it.
    pub to: RecordInstant,
}

impl TimeRange {
    /// True if the instant lies in the stretch.
    pub fn holds(&self, at: RecordInstant) -> bool {
        self.from <= at && at <= self.to
    }

    /// True if the two share time or an instant.
    pub fn overlaps(&self, other: &TimeRange) -> bool {
        self.from <= other.to && other.from <= self.to
    }

    /// The part inside another stretch.
    pub fn clipped(&self, other: &TimeRange) -> Option<TimeRange> {
        let part = TimeRange { from: self.from.max(other.from), to: self.to.min(other.to) };
        (part.from <= part.to).then_some(part)
    }

    /// Length.
    pub fn length(&self) -> RecordSpan {
        self.to - self.from
    }
}

/// An episode of one kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AnnotatedEpisode {
    /// Its kind.
    pub kind: EpisodeKind,
    /// When.
    pub stretch: TimeRange,
}

/// The annotations of one side of a record, in order of time.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Annotations {
    /// Beats, pulses or breaths.
    pub beats: Vec<AnnotatedBeat>,
    /// Episodes, in order of their start.
    pub episodes: Vec<AnnotatedEpisode>,
    /// Stretches in which this side could not read the signal.
    pub shutdown: Vec<TimeRange>,
    /// False when the source gave times without codes.
    pub labelled: bool,
    /// End of the record if the source knows it.
    pub end: Option<RecordInstant>,
}

/// Shutdown marked by one annotation starts and ends this long away from the beats around it.
const SINGLE_MARK_MARGIN_S: f64 = 0.15;

impl Annotations {
    /// Plain beats, in any order.
    pub fn from_beats(beats: impl IntoIterator<Item = AnnotatedBeat>) -> Annotations {
        let mut beats: Vec<AnnotatedBeat> = beats.into_iter().collect();
        beats.sort_by_key(|beat| beat.at);
        Annotations { beats, labelled: true, ..Annotations::default() }
    }

    /// Sorts annotations by time and reads beats, episodes and shutdown out of them.
    ///
    /// Episodes: `[` to `]` and `+` with a rhythm, to the next rhythm.
    /// Shutdown: `~` with subtype -1 to the next `~`; if a beat comes first, it is a single mark and
    /// lasts from 150 ms after the beat before to 150 ms before the beat after (rule of the open comparator).
    pub fn from_annotations(mut annotations: Vec<Annotation>, labelled: bool) -> Annotations {
        annotations.sort_by_key(|annotation| annotation.at);
        let mut beats: Vec<AnnotatedBeat> = Vec::new();
        let mut episodes: Vec<AnnotatedEpisode> = Vec::new();
        let mut shutdown = Vec::new();
        let mut fibrillation_since = None;
        let mut rhythm: Option<(EpisodeKind, RecordInstant)> = None;
        let mut unreadable_since: Option<RecordInstant> = None;
        let margin = RecordSpan::from_s(SINGLE_MARK_MARGIN_S).unwrap_or(crate::instant::DECIMAL_SLACK);
        for annotation in &annotations {
            let at = annotation.at;
            match annotation.code {
                '[' => fibrillation_since = fibrillation_since.or(Some(at)),
                ']' => {
                    // An end without a start: the record began in fibrillation.
                    let from = fibrillation_since.take().unwrap_or(RecordInstant::START);
                    episodes.push(AnnotatedEpisode {
                        kind: EpisodeKind::Vf,
                        stretch: TimeRange { from, to: at.max(from) },
                    });
                }
                '+' => {
                    if let Some((kind, from)) = rhythm.take() {
                        episodes.push(AnnotatedEpisode { kind, stretch: TimeRange { from, to: at } });
                    }
                    rhythm = EpisodeKind::of_rhythm(&annotation.aux).map(|kind| (kind, at));
                }
                '~' if annotation.subtype == -1 => unreadable_since = unreadable_since.or(Some(at)),
                '~' => {
                    if let Some(from) = unreadable_since.take() {
                        shutdown.push(TimeRange { from, to: at });
                    }
                }
                code if is_beat(code) => {
                    if let Some(mark) = unreadable_since.take() {
                        let from = beats.last().map_or(mark, |beat| beat.at + margin).min(mark);
                        shutdown.push(TimeRange { from, to: (at - margin).max(mark) });
                    }
                    beats.push(AnnotatedBeat { at, code });
                }
                _ => {}
            }
        }
        let open = |from| TimeRange { from, to: RecordInstant::END };
        episodes.extend(fibrillation_since.map(|from| AnnotatedEpisode { kind: EpisodeKind::Vf, stretch: open(from) }));
        episodes.extend(rhythm.map(|(kind, from)| AnnotatedEpisode { kind, stretch: open(from) }));
        shutdown.extend(unreadable_since.map(open));
        let mut all = Annotations { beats, episodes, shutdown, labelled, end: None };
        all.merge_episodes();
        all
    }

    /// Adds episodes, for instance from a table of stretches beside the beats.
    pub fn add_episodes(&mut self, episodes: impl IntoIterator<Item = AnnotatedEpisode>) {
        self.episodes.extend(episodes);
        self.merge_episodes();
    }

    /// Stretches of one kind, in order, none touching another.
    pub fn stretches(&self, kind: EpisodeKind) -> Vec<TimeRange> {
        self.episodes.iter().filter(|e| e.kind == kind).map(|e| e.stretch).collect()
    }

    /// Latest instant that the side mentions.
    pub fn last(&self) -> RecordInstant {
        let beat = self.beats.last().map(|beat| beat.at);
        let stretches = self.episodes.iter().map(|e| e.stretch).chain(self.shutdown.iter().copied());
        let stretch = stretches.map(|s| if s.to == RecordInstant::END { s.from } else { s.to }).max();
        self.end.max(beat).max(stretch).unwrap_or(RecordInstant::START)
    }

    /// Joins episodes of a kind that overlap (flutter may be marked both as rhythm and by brackets).
    fn merge_episodes(&mut self) {
        self.episodes.sort_by_key(|episode| (episode.kind, episode.stretch.from));
        let mut merged: Vec<AnnotatedEpisode> = Vec::with_capacity(self.episodes.len());
        for episode in &self.episodes {
            match merged.last_mut() {
                Some(last) if last.kind == episode.kind && last.stretch.to >= episode.stretch.from => {
                    last.stretch.to = last.stretch.to.max(episode.stretch.to);
                }
                _ => merged.push(*episode),
            }
        }
        merged.sort_by_key(|episode| episode.stretch.from);
        self.episodes = merged;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark(time_s: f64, code: char, subtype: i8, aux: &str) -> Annotation {
        Annotation { at: RecordInstant::from_s(time_s).expect("in range"), code, subtype, aux: aux.into() }
    }

    fn spans(stretches: &[TimeRange]) -> Vec<(f64, f64)> {
        stretches.iter().map(|s| (s.from.s(), s.to.s())).collect()
    }

    #[test]
    fn episodes_from_rhythms_and_brackets() {
        let all = Annotations::from_annotations(
            vec![
                mark(1.0, '+', 0, "(AFIB\0"),
                mark(2.0, 'N', 0, ""),
                mark(5.0, '+', 0, "(VFL"),
                mark(5.5, '[', 0, ""),
                mark(7.0, '!', 0, ""),
                mark(9.0, ']', 0, ""),
                mark(9.5, '+', 0, "(N"),
            ],
            true,
        );
        assert_eq!(spans(&all.stretches(EpisodeKind::Af)), [(1.0, 5.0)]);
        assert_eq!(spans(&all.stretches(EpisodeKind::Vf)), [(5.0, 9.5)]);
        assert_eq!(all.beats.len(), 1);
    }

    #[test]
    fn shutdown_by_pair_of_marks_and_by_single_mark() {
        let all = Annotations::from_annotations(
            vec![
                mark(1.0, '~', -1, ""),
                mark(3.0, '~', 0, ""),
                mark(4.0, 'N', 0, ""),
                mark(5.0, '~', -1, ""),
                mark(6.0, 'N', 0, ""),
            ],
            true,
        );
        let found = spans(&all.shutdown);
        assert_eq!(found.len(), 2);
        assert_eq!(found[0], (1.0, 3.0));
        assert!((found[1].0 - 4.15).abs() < 1e-6 && (found[1].1 - 5.85).abs() < 1e-6, "{found:?}");
    }

    #[test]
    fn unclosed_marks_stay_open() {
        let all = Annotations::from_annotations(vec![mark(2.0, '[', 0, ""), mark(3.0, '~', -1, "")], true);
        assert_eq!(all.stretches(EpisodeKind::Vf)[0].to, RecordInstant::END);
        assert_eq!(all.shutdown[0].to, RecordInstant::END);
        assert_eq!(all.last(), RecordInstant::from_s(3.0).expect("in range"));
    }
}
