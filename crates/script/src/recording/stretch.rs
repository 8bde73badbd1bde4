//! The stretch of a recording that a step plays, and its beats.

use crate::series::StepSeries;
use pulsewright_core::script::{SHORTEST_RR, SeriesBeat};
use pulsewright_core::time::Span;

/// How a stretch begins again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Repeats {
    /// It is played once.
    No,
    /// From its end to its start, wherever they lie.
    Whole,
    /// From before one beat to before another: the interval over the join is one of the recording.
    OnBeats,
}

impl Repeats {
    /// Each with its word.
    pub(super) const ALL: [(Repeats, &'static str); 3] =
        [(Repeats::No, "none"), (Repeats::Whole, "ends"), (Repeats::OnBeats, "beats")];
}

/// The join lies at most this long before the peak of a beat, s, where the trace is usually at rest: before P.
const BEFORE_BEAT_S: f64 = 0.3;

/// And at most this share of the interval before the beat.
const BEFORE_BEAT_SHARE: f64 = 0.35;

/// A stretch, and its beats from its start on.
#[derive(Debug)]
pub(super) struct RecordingStretch {
    pub(super) from: Span,
    pub(super) series: StepSeries,
}

/// The stretch of a recording from `start` to `end` with these beats, in order of time.
///
/// # Errors
/// Too few beats.
pub(super) fn stretch(
    beats: &[SeriesBeat],
    start: Span,
    end: Span,
    repeats: Repeats,
) -> Result<RecordingStretch, String> {
    let inside: Vec<usize> = (0..beats.len())
        .filter(|i| beats.get(*i).is_some_and(|beat| beat.after >= start && beat.after < end))
        .collect();
    let at = |index: usize| beats.get(index).map_or(Span::ZERO, |beat| beat.after);
    if repeats != Repeats::OnBeats {
        let moved =
            |index: &usize| beats.get(*index).map(|beat| SeriesBeat { after: beat.after.minus(start), ..*beat });
        let moved: Vec<SeriesBeat> = inside.iter().filter_map(moved).collect();
        let (Some(first), Some(last)) = (moved.first(), moved.last()) else {
            return Err(format!("no beat from {:.3} to {:.3} s", start.as_secs_f64(), end.as_secs_f64()));
        };
        // The first beat again is no sooner after the last one than beats can be.
        let least = last.after.plus(SHORTEST_RR).minus(first.after);
        let length = end.minus(start).max(least).max(last.after);
        return Ok(RecordingStretch { from: start, series: StepSeries { beats: moved, length } });
    }
    // How long before a beat a join may lie.
    let quiet = |index: usize| {
        let before = index.checked_sub(1).map_or(at(index + 1).minus(at(index)), |before| at(index).minus(at(before)));
        Span::from_secs(BEFORE_BEAT_S.min(BEFORE_BEAT_SHARE * before.as_secs_f64()) as f32)
    };
    let last = inside.last().copied();
    let join = |first: &usize| {
        let last = last.filter(|last| last > first)?;
        let before = quiet(*first).min(quiet(last));
        (at(*first) >= start.plus(before)).then_some((*first, last, before))
    };
    let Some((first, last, before)) = inside.iter().find_map(join) else {
        return Err(format!("fewer than two beats from {:.3} to {:.3} s", start.as_secs_f64(), end.as_secs_f64()));
    };
    let from = at(first).minus(before);
    let moved = |beat: &SeriesBeat| SeriesBeat { after: beat.after.minus(from), ..*beat };
    let moved = beats.get(first..last).unwrap_or_default().iter().map(moved).collect();
    Ok(RecordingStretch { from, series: StepSeries { beats: moved, length: at(last).minus(at(first)) } })
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::truth::BeatCode;

    fn beats(at_ms: &[u64]) -> Vec<SeriesBeat> {
        at_ms.iter().map(|ms| SeriesBeat { after: Span::millis(*ms), code: BeatCode::Normal }).collect()
    }

    fn after_ms(stretch: &RecordingStretch) -> Vec<u64> {
        stretch.series.beats.iter().map(|beat| (beat.after.as_secs_f64() * 1000.0).round() as u64).collect()
    }

    #[test]
    fn a_stretch_on_beats_begins_and_ends_before_a_beat() {
        let all = beats(&[100, 900, 1700, 2600, 3400]);
        let found = stretch(&all, Span::ZERO, Span::secs(3), Repeats::OnBeats).expect("a stretch");
        // The first beat is too near to the start for the 280 ms before it.
        assert_eq!((found.from.as_secs_f64() * 1000.0).round(), 620.0);
        assert_eq!(after_ms(&found), [280, 1080]);
        assert_eq!(found.series.length, all[3].after.minus(all[1].after));
    }

    #[test]
    fn a_whole_stretch_has_its_own_beats() {
        let all = beats(&[100, 900, 1700, 2600, 3400]);
        let found = stretch(&all, Span::millis(500), Span::secs(3), Repeats::Whole).expect("a stretch");
        assert_eq!((found.from, after_ms(&found)), (Span::millis(500), vec![400, 1200, 2100]));
        assert_eq!(found.series.length, Span::millis(2500));
        let short = stretch(&all, Span::millis(800), Span::millis(1710), Repeats::No).expect("a stretch");
        assert_eq!(short.series.length, Span::millis(950));
    }

    #[test]
    fn too_few_beats_are_refused() {
        let all = beats(&[100, 900]);
        let refused = |start: u64, end: u64, repeats| {
            stretch(&all, Span::millis(start), Span::millis(end), repeats).expect_err("refused")
        };
        assert!(refused(1000, 2000, Repeats::No).contains("no beat from 1.000 to 2.000 s"));
        assert!(refused(0, 2000, Repeats::OnBeats).contains("fewer than two beats"));
    }
}
