//! Beats that a step names one by one: premature ones, or all of its series.

use super::pr::pr_s;
use crate::anatomy::{BeatCode, Pathway};
use crate::ecg::measure::peak_s;
use crate::field::Field;
use crate::heart::{ListedBeat, qrs_ms};
use crate::step::SeriesBeat;
use crate::time::{Instant, Span};
use crate::timeline::Placed;

/// The place in the step's list.
#[derive(Clone, Copy, Debug)]
pub(super) struct RequestedBeats {
    /// The beat that comes next.
    pub(super) index: u32,
    /// Passes of a series before this one, in all.
    passed: Span,
    /// When it is asked for; [`Instant::NEVER`] when none is to come.
    pub(super) at: Instant,
    /// That beat of a series.
    pub(super) listed: ListedBeat,
}

/// No sign of a beat of a series comes sooner after the QRS onset of the beat before.
const APART: Span = Span::millis(100);

impl RequestedBeats {
    /// At the start of a step.
    pub(super) const fn new() -> RequestedBeats {
        let listed = ListedBeat { onset: Instant::NEVER, on_t: false };
        RequestedBeats { index: 0, passed: Span::ZERO, at: Instant::NEVER, listed }
    }

    /// The peak of the QRS of a beat of a series that is asked for now.
    pub(super) fn peak(&self, placed: &Placed<'_>, beat: &SeriesBeat) -> Instant {
        placed.start.plus(self.passed).plus(beat.after)
    }

    /// Whether the first beat of a series was left out when the step began.
    pub(super) fn left_out_first(&self) -> bool {
        self.index > 0 || self.passed > Span::ZERO
    }

    /// The same with the time at which the step asks for its next beat; the last QRS began at `last`, and the step ends at `end`.
    pub(super) fn planned(self, placed: &Placed<'_>, last: Option<Instant>, end: Instant) -> RequestedBeats {
        match placed.step.series_length() {
            Some(length) => next_listed(self, placed, length, last, end),
            None => {
                let beat = placed.step.beat(self.index as usize);
                RequestedBeats { at: beat.map_or(Instant::NEVER, |beat| placed.start.plus(beat.after)), ..self }
            }
        }
    }
}

/// The next beat of a series that begins again after `length`, in a step that ends at `end`. A first beat that would follow at once
/// on the `last` one before the step is left out.
// Not inlined: few steps have a series.
#[inline(never)]
fn next_listed(
    before: RequestedBeats,
    placed: &Placed<'_>,
    length: Span,
    last: Option<Instant>,
    end: Instant,
) -> RequestedBeats {
    let again = || (0, before.passed.plus(length), placed.step.series_beat(0));
    let (index, passed, beat) = match placed.step.series_beat(before.index as usize) {
        None => again(),
        beat => (before.index, before.passed, beat),
    };
    let over = RequestedBeats { index, passed, ..RequestedBeats::new() };
    let Some(beat) = beat else { return over };
    let soonest = match before.listed.onset {
        Instant::NEVER => placed.start,
        onset => onset.plus(APART),
    };
    let peak = RequestedBeats { passed, ..before }.peak(placed, &beat);
    let pathway = ListedBeat::pathway(beat.code, placed.step.rhythm());
    let onset = peak.shifted(-rise_s(placed, pathway)).max(soonest);
    let first = before.listed.onset == Instant::NEVER;
    let recorded = placed.step.recording().is_some();
    let onset = match last.map(|last| last.plus(APART)).filter(|earliest| first && index == 0 && onset < *earliest) {
        // The samples show a recorded beat whether it is reported or not.
        Some(earliest) if recorded => earliest,
        Some(_) => return next_listed(RequestedBeats { index: 1, ..before }, placed, length, None, end),
        None => onset,
    };
    if onset >= end || recorded && peak >= end {
        return over;
    }
    let lead = ListedBeat::lead(beat.code, placed.step.rhythm(), Span::from_secs(pr_s(placed, onset)));
    let at = onset.minus(lead).max(soonest);
    RequestedBeats { index, passed, at, listed: ListedBeat { onset, on_t: beat.code == BeatCode::ROnT } }
}

/// From QRS onset to the peak of the QRS, s, of the body's beat that takes a pathway.
fn rise_s(placed: &Placed<'_>, pathway: Pathway) -> f32 {
    let shapes = placed.step.body().shapes;
    let complex = shapes.complex(pathway);
    let width_ms = qrs_ms(complex.qrs_ms, shapes.qrs_ms(Pathway::Normal), placed.step.get(Field::QrsMs));
    peak_s(complex) * (width_ms / complex.qrs_ms)
}
