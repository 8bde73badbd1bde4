//! Electrodes that have come off.
//!
//! An open input settles at a fixed distance from another electrode, which is where the leads go flat:
//!
//! | off | flat at the offset | what the others show |
//! |---|---|---|
//! | RA | II | I: III upside down; III as before |
//! | LA | I | II as before; III: II |
//! | LL | II | I as before; III: I upside down |
//! | two or three limbs | I, II and V1 to V6 | III flat at zero |
//! | a chest electrode | its lead | as before |
//!
//! With one limb off, the chest leads go on against the mean of what the three limb inputs then have.
//! The impedance keeps its base, without breaths and heartbeats, where one of its two electrodes is off.
//! The equations of Einthoven and Goldberger and the electrode sums hold, as the leads are formed from these inputs.

use crate::field::Field;
use crate::frame::{INDEPENDENT_LEADS, Lead};

/// Where a flat lead lies, mV.
pub const OFFSET_MV: f32 = 3.0;

/// Electrodes that may come off, in the order of [`crate::frame::Electrode`].
pub(crate) const OFF: [Field; 9] = [
    Field::OffRa,
    Field::OffLa,
    Field::OffLl,
    Field::OffV1,
    Field::OffV2,
    Field::OffV3,
    Field::OffV4,
    Field::OffV5,
    Field::OffV6,
];

const RA: u16 = 0b001;
const LA: u16 = 0b010;
const LL: u16 = 0b100;
const LIMBS: u16 = RA | LA | LL;
const V1: u16 = 0b1000;

/// The electrodes that are off: one bit each, in the order of [`OFF`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct ElectrodesOff(u16);

impl ElectrodesOff {
    /// All are on.
    pub(crate) const NONE: ElectrodesOff = ElectrodesOff(0);

    /// Those whose switch is `on`.
    pub(crate) fn of(on: impl Fn(Field) -> bool) -> ElectrodesOff {
        let mut off = 0;
        for (i, field) in OFF.into_iter().enumerate() {
            if on(field) {
                off |= 1 << i;
            }
        }
        ElectrodesOff(off)
    }

    /// Whether no lead shows the heart without them: two limb electrodes.
    pub(crate) fn flatten_every_lead(self) -> bool {
        (self.0 & LIMBS).count_ones() > 1
    }

    /// Whether a lead is measured with one of them; a chest lead is measured against the three limbs.
    pub(crate) fn in_lead(self, lead: Lead) -> bool {
        let needed = match lead {
            Lead::I => RA | LA,
            Lead::II => RA | LL,
            Lead::III => LA | LL,
            Lead::AVR | Lead::AVL | Lead::AVF => LIMBS,
            chest => LIMBS | V1 << (chest as u16 - Lead::V1 as u16),
        };
        self.0 & needed != 0
    }

    /// Whether the impedance is measured with one of them: between the arms or from the right arm to the left leg.
    pub(crate) fn in_impedance(self, between_arms: bool) -> bool {
        self.0 & (RA | if between_arms { LA } else { LL }) != 0
    }

    /// Leaves the leads as they are without these electrodes.
    pub(super) fn apply_to(self, leads_mv: &mut [f32; INDEPENDENT_LEADS]) {
        let off = self.0;
        if off == 0 {
            return;
        }
        let [i, ii, chest @ ..] = leads_mv;
        // Against any potential of RA: it cancels in the sums.
        let (mut ra, mut la, mut ll) = (0.0, *i, *ii);
        let mut flat = false;
        match off & LIMBS {
            0 => {}
            RA => ra = ll - OFFSET_MV,
            LA => la = ra + OFFSET_MV,
            LL => ll = ra + OFFSET_MV,
            _ => flat = true,
        }
        // The chest leads' reference moves with the limb inputs.
        let moved = (ra + la + ll - *i - *ii) * (1.0 / 3.0);
        for (k, lead) in chest.iter_mut().enumerate() {
            *lead = if flat || off & (V1 << k) != 0 { OFFSET_MV } else { *lead - moved };
        }
        (*i, *ii) = if flat { (OFFSET_MV, OFFSET_MV) } else { (la - ra, ll - ra) };
    }
}
