//! From the heart vector to leads.

use crate::frame::INDEPENDENT_LEADS;

/// Dower's matrix: leads I, II, V1 to V6 from X (left), Y (down), Z (back).
///
/// Dower, Machado and Osborne, "On deriving the electrocardiogram from vectorcardiographic leads", Clin Cardiol 1980.
pub const DOWER: [[f32; 3]; INDEPENDENT_LEADS] = [
    [0.632, -0.235, 0.059],
    [0.235, 1.066, -0.132],
    [-0.515, 0.157, -0.917],
    [0.044, 0.164, -1.387],
    [0.882, 0.098, -1.277],
    [1.213, 0.127, -0.601],
    [1.125, 0.127, -0.086],
    [0.831, 0.076, 0.230],
];

/// The eight independent leads of a heart vector, in the unit of the vector.
#[inline]
pub(crate) fn leads_of(vector: [f32; 3]) -> [f32; INDEPENDENT_LEADS] {
    DOWER.map(|row| lead_of(row, vector))
}

/// One lead of a heart vector, from its row of [`DOWER`].
#[inline(always)]
pub(crate) fn lead_of([a, b, c]: [f32; 3], [x, y, z]: [f32; 3]) -> f32 {
    a * x + b * y + c * z
}
