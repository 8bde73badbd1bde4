//! Events for C: one flat record for each.

use pulsewright_core::anatomy::Chamber;
use pulsewright_core::time::{FrameRate, Instant};
use pulsewright_core::truth;

/// The header's `PULSEWRIGHT_EVENT_...`.
#[repr(u32)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EventKind {
    /// A step starts; the detail is its item.
    Step = 1,
    /// A P wave starts.
    Atrial = 2,
    /// A QRS starts; the detail is the letter of its annotation, `peak_frame` its peak.
    Beat = 3,
    /// A pacing pulse in the atrium; the detail is 1 when the atrium answers.
    AtrialPace = 4,
    /// A pacing pulse in the ventricle; the detail is 1 when the ventricle answers.
    VentricularPace = 5,
    /// A breath starts; `peak_frame` is the end of inspiration.
    Breath = 6,
    /// An episode starts; the detail is its number.
    EpisodeStart = 7,
    /// An episode ends; the detail is its number.
    EpisodeEnd = 8,
}

/// An event, as the header declares it.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Event {
    /// The first frame at or after it.
    pub frame: u64,
    /// The frame of its peak: of a beat and a breath; else `frame`.
    pub peak_frame: u64,
    /// Its [`EventKind`].
    pub kind: u32,
    /// As its kind says.
    pub detail: u32,
}

impl Event {
    /// A truth of the core; `None` for those that C does not get.
    pub(crate) fn of(event: &truth::Event, rate: FrameRate) -> Option<Event> {
        let frame = |at: Instant| rate.frame_at_or_after(at);
        let record = |kind, at, detail| Event { frame: frame(at), peak_frame: frame(at), kind: kind as u32, detail };
        Some(match *event {
            truth::Event::Step { item, at } => record(EventKind::Step, at, item as u32),
            truth::Event::Atrial(atrial) => record(EventKind::Atrial, atrial.onset, 0),
            truth::Event::Beat(beat) => Event {
                peak_frame: frame(beat.peak),
                ..record(EventKind::Beat, beat.onset, u32::from(beat.code.symbol()))
            },
            truth::Event::Pace { at, chamber: Chamber::Atrium, captures } => {
                record(EventKind::AtrialPace, at, u32::from(captures))
            }
            truth::Event::Pace { at, captures, .. } => record(EventKind::VentricularPace, at, u32::from(captures)),
            truth::Event::Breath(breath) => Event {
                peak_frame: frame(breath.peak),
                ..record(EventKind::Breath, breath.start, u32::from(breath.obstructed))
            },
            truth::Event::Episode { episode, at, starts } => {
                record(if starts { EventKind::EpisodeStart } else { EventKind::EpisodeEnd }, at, episode as u32)
            }
            _ => return None,
        })
    }
}
