//! A few frames of pressures and nothing else.

use crate::anatomy::PressureSite;
use crate::block::{self, Signals};
use crate::frame::INDEPENDENT_LEADS;
use crate::time::FrameRate;

/// Samples of pressures a second.
pub(super) const RATE: FrameRate = FrameRate::lit(250);

/// Frames worked on together.
pub(super) const ROWS: usize = 16;

/// The pressures of consecutive frames, mmHg.
pub(super) struct PressureRows {
    pressure_mmhg: [[f32; ROWS]; PressureSite::COUNT],
}

impl PressureRows {
    pub(super) fn new() -> PressureRows {
        PressureRows { pressure_mmhg: [[0.0; ROWS]; PressureSite::COUNT] }
    }

    /// Those of one site.
    pub(super) fn of(&self, site: PressureSite) -> &[f32] {
        self.pressure_mmhg.get(site as usize).map_or(&[], |column| column)
    }
}

impl block::BlockRows for PressureRows {
    fn signals(&self) -> Signals {
        Signals { ecg: false, limb_leads: false, limb_electrodes: false, respiration: false, cuff: false }
    }

    fn put_leads(&mut self, _: usize, _: [&[f32]; 3]) {}

    fn leads(&self, _: usize) -> [f32; INDEPENDENT_LEADS] {
        [0.0; INDEPENDENT_LEADS]
    }

    fn set_leads(&mut self, _: usize, _: [f32; INDEPENDENT_LEADS]) {}

    fn respiration(&mut self, _: usize) -> impl Iterator<Item = &mut f32> {
        core::iter::empty()
    }

    fn cuff(&mut self, _: usize) -> impl Iterator<Item = [&mut f32; 2]> {
        core::iter::empty()
    }

    fn pressure(&mut self, site: PressureSite, from: usize) -> impl Iterator<Item = &mut f32> {
        self.pressure_mmhg.get_mut(site as usize).into_iter().flatten().skip(from)
    }
}
