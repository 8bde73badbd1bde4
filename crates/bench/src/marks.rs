//! Marks on the strips: events of the truth, each at the frame where it shows.

use pulsewright_core::time::FrameRate;
use pulsewright_core::truth::{Chamber, Event};
use serde_json::{Value, json};

/// The mark of an event as a view takes it, `[kind, frame, word]`; `None` for events that the strips do not show.
pub fn mark(event: &Event, rate: FrameRate) -> Option<Value> {
    let frame = |at| rate.frame_at_or_after(at);
    Some(match event {
        Event::Beat(beat) => json!(["beat", frame(beat.peak), beat.code.symbol().to_string()]),
        Event::Atrial(atrial) => json!(["p", frame(atrial.onset), ""]),
        Event::Pace { at, chamber, captures } => {
            let chamber = match chamber {
                Chamber::Atrium => "A",
                Chamber::Ventricle => "V",
            };
            json!(["pace", frame(*at), if *captures { chamber.to_owned() } else { format!("{chamber}?") }])
        }
        Event::Breath(breath) => json!(["breath", frame(breath.start), ""]),
        Event::Step { at, .. } => json!(["step", frame(*at), ""]),
        Event::Refused(refused) => json!(["refused", frame(refused.at), refused.why.id()]),
        _ => return None,
    })
}
