//! Private items that other crates of this workspace and its tests need; they change without notice.

/// Artefacts.
pub mod artefact {
    pub use crate::artefact::{Movement, OFFSET_MV};
}

/// Wave shapes and leads.
pub mod ecg {
    pub use crate::ecg::fibrillation::Fibrillation;
    pub use crate::ecg::leads::DOWER;
    pub use crate::ecg::pathology::{LeadGroup, q_wave, st_shift, t_shift, tented};
    pub use crate::ecg::templates::ranges::{
        FALL_MS, HOLD_MS, MOST_KNOTS, MOST_P_WAVES, MOST_QRS_WAVES, MV, P_AT_MS, QRS_AT_MS, QRS_MS, QT_MS,
        SHORTEST_JT_MS, STEP_MS, T_AT_MS, UV,
    };
    pub use crate::ecg::templates::residual::{Knot, Residual, Residuals, knot, leads_uv};
    pub use crate::ecg::templates::{Complex, FLUTTER_CYCLE_MS, Templates, Wave};
}

/// Elementary functions.
pub mod math {
    pub use crate::math::{exp, ln, pow, sin_turn, sqrt};
}

/// Chance.
pub mod noise {
    pub use crate::noise::Noise;
}

/// Arteries.
pub mod pressure {
    pub use crate::pressure::arterial::{
        ArterialShape, ArterialTarget, FEMORAL, PULMONARY, RADIAL, ejection_time_s, pre_ejection_s, steady,
    };
}

/// Loops in wide vectors.
pub mod vectors {
    pub use crate::vectors::{Loop, run};
}
