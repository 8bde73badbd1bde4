//! Digital outputs in step with the frames: triggers for a scope or a defibrillator tester, and relays that open leads.

use pulsewright_core::anatomy::{Chamber, Episode};
use pulsewright_core::time::{FrameRate, Instant};
use pulsewright_core::truth::Event;

/// Digital outputs of a frame, a bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Marks(u8);

impl Marks {
    /// The peak of a QRS, for 10 ms.
    pub const R_WAVE: Marks = Marks(1);
    /// A pacing pulse in an atrium, for 10 ms.
    pub const ATRIAL_PACE: Marks = Marks(2);
    /// A pacing pulse in a ventricle, for 10 ms.
    pub const VENTRICULAR_PACE: Marks = Marks(4);
    /// A lead is off: a relay opens its electrode for as long.
    pub const LEAD_OFF: Marks = Marks(8);
    /// Frames are shown: the interlock of a vent or of a supply is held. Only the output stage sets it; it drops at rest.
    pub const SHOWN: Marks = Marks(16);

    /// Both.
    pub const fn with(self, other: Marks) -> Marks {
        Marks(self.0 | other.0)
    }

    /// Whether all of `other` are on.
    pub const fn has(self, other: Marks) -> bool {
        self.0 & other.0 == other.0
    }

    /// From the bits of a frame; those without a meaning are left out, and so is [`Marks::SHOWN`], which no host may hold.
    pub const fn of_bits(bits: u8) -> Marks {
        Marks(bits & 15)
    }

    /// As the bits of a port.
    pub const fn bits(self) -> u8 {
        self.0
    }
}

/// The pins of the digital outputs.
pub trait MarkPins {
    /// Sets every pin; called once for each frame, together with its latch.
    fn set(&mut self, marks: Marks);
}

/// A rig without digital outputs.
impl MarkPins for () {
    fn set(&mut self, _: Marks) {}
}

/// Triggers that are to come or are on, and changes of the leads that are to come.
const PENDING: usize = 16;

/// Turns events into the marks of frames.
#[derive(Clone, Debug)]
pub struct Triggers {
    rate: FrameRate,
    /// First frame of a trigger, and its mark.
    pending: heapless::Vec<(u64, Marks), PENDING>,
    /// First frame with a lead off, or with all on again, in order.
    changes: heapless::Deque<(u64, bool), PENDING>,
    lead_off: bool,
    missed: u32,
}

impl Triggers {
    /// A trigger is on for 10 ms, in whole frames.
    const WIDTHS_A_SECOND: u32 = 100;

    /// At a frame rate.
    pub const fn new(rate: FrameRate) -> Triggers {
        Triggers { rate, pending: heapless::Vec::new(), changes: heapless::Deque::new(), lead_off: false, missed: 0 }
    }

    /// Takes an event, reported before the frames after it are marked.
    pub fn take(&mut self, event: Event) {
        match event {
            Event::Beat(beat) => self.plan(beat.peak, Marks::R_WAVE),
            Event::Pace { at, chamber: Chamber::Atrium, .. } => self.plan(at, Marks::ATRIAL_PACE),
            Event::Pace { at, .. } => self.plan(at, Marks::VENTRICULAR_PACE),
            Event::Episode { episode: Episode::LeadOff, at, starts } => self.change(at, starts),
            _ => {}
        }
    }

    fn plan(&mut self, at: Instant, mark: Marks) {
        let planned = self.pending.push((self.rate.frame_at_or_after(at), mark));
        self.missed = self.missed.saturating_add(u32::from(planned.is_err()));
    }

    fn change(&mut self, at: Instant, off: bool) {
        if self.changes.is_full() {
            // The last state counts, whatever came before it.
            self.changes.pop_back();
            self.missed = self.missed.saturating_add(1);
        }
        // There is room now.
        self.changes.push_back((self.rate.frame_at_or_after(at), off)).unwrap_or(());
    }

    /// Triggers and changes of the leads that found no room: more than 16 at once, which no heart gives.
    pub const fn missed(&self) -> u32 {
        self.missed
    }

    /// The marks of a frame; frames are asked for in order.
    pub fn of_frame(&mut self, frame: u64) -> Marks {
        let width = u64::from(self.rate.as_hz() / Triggers::WIDTHS_A_SECOND).max(1);
        self.pending.retain(|(first, _)| frame < first.saturating_add(width));
        let on = self.pending.iter().filter(|(first, _)| *first <= frame);
        let marks = on.fold(Marks::default(), |marks, (_, mark)| marks.with(*mark));
        while let Some(&(_, off)) = self.changes.front().filter(|(first, _)| *first <= frame) {
            self.lead_off = off;
            self.changes.pop_front();
        }
        if self.lead_off { marks.with(Marks::LEAD_OFF) } else { marks }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::time::Span;
    use std::vec::Vec;

    #[test]
    fn a_trigger_is_on_for_ten_milliseconds() {
        let mut triggers = Triggers::new(FrameRate::lit(500));
        let at = Instant::ZERO.plus(Span::millis(5));
        triggers.take(Event::Pace { at, chamber: Chamber::Ventricle, captures: false });
        let on: Vec<u64> = (0..20).filter(|frame| triggers.of_frame(*frame).has(Marks::VENTRICULAR_PACE)).collect();
        assert_eq!(on, [3, 4, 5, 6, 7], "6 to 14 ms: the first frame at or after 5 ms, and 10 ms of frames");
    }

    #[test]
    fn a_lead_is_off_from_its_moment_to_its_end() {
        let mut triggers = Triggers::new(FrameRate::lit(500));
        let at = |ms| Instant::ZERO.plus(Span::millis(ms));
        let event = |ms, starts| Event::Episode { episode: Episode::LeadOff, at: at(ms), starts };
        [event(5, true), event(11, false), event(13, true), event(39, false)]
            .into_iter()
            .for_each(|event| triggers.take(event));
        let off: Vec<u64> = (0..30).filter(|frame| triggers.of_frame(*frame).has(Marks::LEAD_OFF)).collect();
        let expected: Vec<u64> = (3..6).chain(7..20).collect();
        assert_eq!(off, expected, "6 to 10 ms and 14 to 38 ms");
    }

    #[test]
    fn too_many_changes_of_the_leads_leave_the_last_state() {
        let mut triggers = Triggers::new(FrameRate::lit(500));
        for n in 0..20 {
            triggers.take(Event::Episode { episode: Episode::LeadOff, at: Instant::ZERO, starts: n % 2 == 0 });
        }
        assert_eq!((triggers.missed(), triggers.of_frame(0)), (4, Marks::default()));
    }

    #[test]
    fn triggers_without_room_are_counted() {
        let mut triggers = Triggers::new(FrameRate::lit(500));
        for _ in 0..20 {
            triggers.take(Event::Pace { at: Instant::ZERO, chamber: Chamber::Atrium, captures: true });
        }
        assert_eq!((triggers.missed(), triggers.of_frame(0)), (4, Marks::ATRIAL_PACE));
    }
}
