//! A pulse as the cuff meets it.

use crate::time::Instant;

/// A pulse of the artery under the cuff.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Pulse {
    /// Foot of the upstroke under the cuff.
    pub foot: Instant,
    /// Highest pressure, mmHg.
    pub systolic_mmhg: f32,
    /// Mean from the foot to the next one expected, mmHg.
    pub mean_mmhg: f32,
    /// Pressure at the foot, mmHg.
    pub diastolic_mmhg: f32,
}
