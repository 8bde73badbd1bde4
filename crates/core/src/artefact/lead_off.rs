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
//! The equations of Einthoven and Goldberger and the electrode sums hold, as the leads are formed from these inputs.

use crate::frame::INDEPENDENT_LEADS;

/// Where a flat lead lies, mV.
pub const OFFSET_MV: f32 = 3.0;

/// Lets electrodes be off: bits in the order RA, LA, LL, V1 to V6.
pub(super) fn apply(off: u16, leads_mv: &mut [f32; INDEPENDENT_LEADS]) {
    if off == 0 {
        return;
    }
    let [i, ii, chest @ ..] = leads_mv;
    // Against any potential of RA: it cancels in the sums.
    let (mut ra, mut la, mut ll) = (0.0, *i, *ii);
    let mut flat = false;
    match off & 0b111 {
        0b000 => {}
        0b001 => ra = ll - OFFSET_MV,
        0b010 => la = ra + OFFSET_MV,
        0b100 => ll = ra + OFFSET_MV,
        _ => flat = true,
    }
    // The chest leads' reference moves with the limb inputs.
    let moved = (ra + la + ll - *i - *ii) * (1.0 / 3.0);
    for (k, lead) in chest.iter_mut().enumerate() {
        *lead = if flat || off & (0b1000 << k) != 0 { OFFSET_MV } else { *lead - moved };
    }
    (*i, *ii) = if flat { (OFFSET_MV, OFFSET_MV) } else { (la - ra, ll - ra) };
}
