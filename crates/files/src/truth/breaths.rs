//! Breaths, and which of them the impedance shows.

use pulsewright_core::script::{Item, Script};
use pulsewright_core::truth::{Breath, Event};

/// Says of each breath whether the impedance shows it: not while one of its electrodes is off between the start and the peak.
///
/// That is known when the next breath begins.
#[derive(Default)]
pub struct MeasuredBreaths {
    /// By item of the script: the impedance is flat.
    flat_in: Vec<bool>,
    flat: bool,
    last: Option<(Breath, bool)>,
}

impl MeasuredBreaths {
    /// Those of a script.
    pub fn new(script: &Script<'_>) -> MeasuredBreaths {
        let flat = |item: &Item<'_>| matches!(item, Item::Step(step) if step.flattens_impedance());
        MeasuredBreaths { flat_in: script.items().iter().map(flat).collect(), flat: false, last: None }
    }

    /// Takes an event; with a breath it gives the one before.
    pub fn take(&mut self, event: &Event) -> Option<(Breath, bool)> {
        match event {
            Event::Step { item, at } => {
                self.flat = self.flat_in.get(*item).copied().unwrap_or(false);
                if let Some((breath, measured)) = &mut self.last {
                    *measured &= !(self.flat && *at < breath.peak);
                }
                None
            }
            Event::Breath(breath) => self.last.replace((*breath, !self.flat)),
            _ => None,
        }
    }

    /// The last breath.
    pub fn finish(&mut self) -> Option<(Breath, bool)> {
        self.last.take()
    }
}
