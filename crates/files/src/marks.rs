//! Events as marks on the time axis: for formats that keep such marks themselves.
//!
//! Events come in the order in which they begin; a beat is marked at its peak, which may lie after the next event. Marks
//! wait here until nothing can come before them.

use pulsewright_core::time::{Instant, Span};
use pulsewright_core::truth::{BeatCode, Chamber, CuffPhase, Episode, Event, Observer};

/// Something marked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// When.
    pub at: Instant,
    /// How long, if that is known when it begins.
    pub lasts: Option<Span>,
    /// What.
    pub what: MarkKind,
}

/// The kind of a mark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MarkKind {
    /// A step of the script, by its item.
    Step(usize),
    /// A QRS, at its peak.
    Beat(BeatCode),
    /// A breath, from the start of inspiration.
    Breath {
        /// Whether air flows; otherwise it is an effort against a closed throat.
        air: bool,
    },
    /// A pulse of a pacing device.
    Pace {
        /// Where.
        chamber: Chamber,
        /// Whether the chamber answers.
        captures: bool,
    },
    /// Start or end of an episode.
    Episode {
        /// Which.
        episode: Episode,
        /// Start or end.
        starts: bool,
    },
    /// The cuff begins a phase.
    Cuff(CuffPhase),
}

/// Gathers marks in the order of their time.
#[derive(Clone, Debug, Default)]
pub struct MarkGatherer {
    /// Not given out yet, in order.
    waiting: Vec<Mark>,
    /// No mark that comes from now on lies before this.
    settled: Instant,
}

impl MarkGatherer {
    /// Gives out, in order, the marks before which nothing can come any more.
    pub fn take_settled(&mut self) -> impl Iterator<Item = Mark> {
        self.take_before(self.settled)
    }

    /// Gives out, in order, the marks before an instant up to which everything has been observed.
    pub fn take_before(&mut self, end: Instant) -> impl Iterator<Item = Mark> {
        let count = self.waiting.partition_point(|mark| mark.at < end);
        self.waiting.drain(..count)
    }

    fn add(&mut self, mark: Mark) {
        let place = self.waiting.partition_point(|other| other.at <= mark.at);
        self.waiting.insert(place, mark);
    }
}

impl Observer for MarkGatherer {
    fn observe(&mut self, event: Event) {
        self.settled = self.settled.max(event.at());
        let mark = |at, what| Mark { at, lasts: None, what };
        match event {
            Event::Step { item, at } => self.add(mark(at, MarkKind::Step(item))),
            Event::Beat(beat) => self.add(mark(beat.peak, MarkKind::Beat(beat.code))),
            Event::Breath(breath) => {
                let lasts = Some(breath.end.since(breath.start));
                self.add(Mark { at: breath.start, lasts, what: MarkKind::Breath { air: !breath.obstructed } });
            }
            Event::Pace { at, chamber, captures } => self.add(mark(at, MarkKind::Pace { chamber, captures })),
            Event::Episode { episode, at, starts } => self.add(mark(at, MarkKind::Episode { episode, starts })),
            Event::Cuff(cuff) => self.add(mark(cuff.at, MarkKind::Cuff(cuff.phase))),
            // Pulses are reported when they are over, by channel: the table beside the signal has them. P waves likewise.
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::truth::Beat;

    fn at(millis: u64) -> Instant {
        Instant::ZERO.plus(Span::millis(millis))
    }

    fn beat(onset_ms: u64, peak_ms: u64) -> Event {
        let peak = at(peak_ms);
        Event::Beat(Beat {
            onset: at(onset_ms),
            peak,
            end: peak,
            t_end: peak,
            p_onset: None,
            code: BeatCode::Normal,
            is_recorded: false,
        })
    }

    #[test]
    fn a_peak_waits_for_events_that_begin_before_it() {
        let mut marks = MarkGatherer::default();
        let mut given = Vec::new();
        for event in [
            beat(100, 140),
            Event::Step { item: 1, at: at(120) },
            Event::Episode { episode: Episode::AtrialFibrillation, at: at(140), starts: true },
            beat(900, 940),
        ] {
            marks.observe(event);
            given.extend(marks.take_settled().map(|mark| mark.at));
        }
        assert_eq!(given, [at(120), at(140), at(140)]);
        assert_eq!(marks.take_before(Instant::NEVER).map(|mark| mark.at).collect::<Vec<_>>(), [at(940)]);
    }
}
