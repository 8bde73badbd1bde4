//! ST level as a monitor reads it: in each lead, 60 ms after the J point, against the level at QRS onset (common practice;
//! IEC 60601-2-27 asks makers to state both points, from memory).

use super::reading::{BandGatherer, Cause, Causes, Reading};
use crate::artefact::ElectrodesOff;
use crate::frame::Lead;
use crate::time::Instant;
use crate::truth::{BeatCode, LeadBeat};

/// Number of leads.
pub(super) const LEADS: usize = Lead::ALL.len();

/// Gathers the ST levels of a step.
#[derive(Clone, Debug)]
pub(super) struct StMeter {
    from: Instant,
    /// Whether the last beat is one that ST is read from: conducted from above, neither ventricular nor paced.
    reads: bool,
    watches: bool,
    levels: [BandGatherer; LEADS],
}

impl StMeter {
    pub(super) fn new() -> StMeter {
        StMeter { from: Instant::ZERO, reads: false, watches: false, levels: [BandGatherer::NONE; LEADS] }
    }

    /// A step began, whose readings settle `from` then on.
    pub(super) fn begin(&mut self, from: Instant) {
        *self = StMeter { from, watches: self.watches, ..StMeter::new() };
    }

    /// A beat, before its leads.
    pub(super) fn beat(&mut self, code: BeatCode) {
        self.reads = !matches!(
            code,
            BeatCode::VentricularPremature
                | BeatCode::ROnT
                | BeatCode::VentricularEscape
                | BeatCode::Fusion
                | BeatCode::Paced
                | BeatCode::PacedFusion
        );
    }

    /// The beat in a lead.
    pub(super) fn lead(&mut self, beat: &LeadBeat) {
        self.watches = true;
        if self.reads
            && beat.onset >= self.from
            && let Some(level) = self.levels.get_mut(beat.lead as usize)
        {
            level.take(beat.st_mv, 1.0);
        }
    }

    /// The levels in the order of [`Lead::ALL`], with these electrodes `off`.
    pub(super) fn readings(&self, off: ElectrodesOff) -> [Reading; LEADS] {
        let none = if self.watches { Cause::NoOwnBeats } else { Cause::NotPlayed };
        let mut readings = self.levels.map(|level| match level.band() {
            Some(band) => Reading { band: Some(band), causes: Causes::NONE },
            None => Reading::none(none),
        });
        for (reading, _) in readings.iter_mut().zip(Lead::ALL).filter(|(_, lead)| off.in_lead(*lead)) {
            *reading = Reading::none(Cause::ElectrodeOff);
        }
        readings
    }
}
