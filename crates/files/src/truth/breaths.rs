//! Breaths, and which of them the impedance shows.

use pulsewright_core::script::{Item, Script, Step};
use pulsewright_core::settings::Field;
use pulsewright_core::truth::{Breath, Event};

/// Says of each breath whether the impedance shows it: not while one of its electrodes is off between the start and the peak.
///
/// That is known when the next breath begins.
#[derive(Default)]
pub struct MeasuredBreaths {
    /// By item of the script: an electrode of the impedance is off.
    open_in: Vec<bool>,
    open: bool,
    last: Option<(Breath, bool)>,
}

impl MeasuredBreaths {
    /// Those of a script.
    pub fn new(script: &Script<'_>) -> MeasuredBreaths {
        let open = |item: &Item<'_>| matches!(item, Item::Step(step) if is_open(step));
        MeasuredBreaths { open_in: script.items().iter().map(open).collect(), open: false, last: None }
    }

    /// Takes an event; with a breath it gives the one before.
    pub fn take(&mut self, event: &Event) -> Option<(Breath, bool)> {
        match event {
            Event::Step { item, at } => {
                self.open = self.open_in.get(*item).copied().unwrap_or(false);
                if let Some((breath, measured)) = &mut self.last {
                    *measured &= !(self.open && *at < breath.peak);
                }
                None
            }
            Event::Breath(breath) => self.last.replace((*breath, !self.open)),
            _ => None,
        }
    }

    /// The last breath.
    pub fn finish(&mut self) -> Option<(Breath, bool)> {
        self.last.take()
    }
}

/// Whether an electrode of the impedance is off: RA or LL, and between the arms RA or LA.
fn is_open(step: &Step<'_>) -> bool {
    let is_set = |field| step.settings.get(field) != 0.0;
    let other = if is_set(Field::BreathLead) { Field::OffLa } else { Field::OffLl };
    is_set(Field::OffRa) || is_set(other)
}
