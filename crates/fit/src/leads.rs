//! Names of leads, and their weights on the heart vector.

use nalgebra::DMatrix;
use pulsewright_core::frame::{Channel, Frame, INDEPENDENT_LEADS, Lead};
use pulsewright_core::internal::ecg::DOWER;

/// The lead that a name of a recording stands for; letters of either case, with or without `ECG` before it and a unit behind.
///
/// MLII is recorded on the chest in place of lead II, and MCL1 in place of V1 (common practice, no source).
pub fn named(name: &str) -> Option<Lead> {
    let name = name.trim().to_ascii_lowercase();
    let name = name.strip_prefix("ecg").unwrap_or(&name).trim();
    let name = name.strip_prefix("lead").unwrap_or(name).trim();
    let name = name.strip_suffix("_mv").or_else(|| name.strip_suffix("(mv)")).unwrap_or(name).trim();
    match name {
        "mlii" => Some(Lead::II),
        "mcl1" => Some(Lead::V1),
        _ => Lead::ALL.into_iter().find(|lead| id(*lead).eq_ignore_ascii_case(name)),
    }
}

/// Its usual name.
pub fn id(lead: Lead) -> &'static str {
    Channel::Lead(lead).id()
}

/// Weights of leads I, II, V1 to V6 in a lead, by Einthoven and Goldberger.
pub(crate) fn of_eight(lead: Lead) -> [f64; INDEPENDENT_LEADS] {
    std::array::from_fn(|place| {
        let leads_mv = std::array::from_fn(|other| if other == place { 1.0 } else { 0.0 });
        // Without the sign that a zero may have.
        f64::from(Frame { leads_mv, ..Frame::default() }.lead_mv(lead)) + 0.0
    })
}

/// Weights of X, Y and Z in a lead: Dower's matrix, and Einthoven's and Goldberger's sums of it.
pub fn row(lead: Lead) -> [f64; 3] {
    let weights = of_eight(lead);
    [0, 1, 2].map(|axis: usize| weights.iter().zip(DOWER).map(|(weight, row)| weight * f64::from(row[axis])).sum())
}

/// The leads' view of the heart vector.
pub(crate) struct LeadProjection {
    /// Maps leads to the directions of their space that a heart vector reaches, at most three, each of length 1: distances stay those of leads.
    pub to_seen: DMatrix<f64>,
    /// From there to the heart vector; of one or two leads the shortest.
    pub to_vector: DMatrix<f64>,
}

/// Least share of the strongest direction that counts as seen.
const SEEN: f64 = 1e-3;

impl LeadProjection {
    pub(crate) fn of(leads: &[Lead]) -> Option<LeadProjection> {
        let weight = |lead: usize, axis: usize| leads.get(lead).map_or(0.0, |lead| row(*lead)[axis]);
        let parts = DMatrix::from_fn(leads.len(), 3, weight).svd(true, true);
        let (from_leads, to_axes) = (parts.u?, parts.v_t?);
        let most = parts.singular_values.max();
        let seen = parts.singular_values.iter().filter(|value| **value > SEEN * most).count();
        let to_seen = from_leads.columns(0, seen).transpose();
        let to_vector = DMatrix::from_fn(3, seen, |axis, place| to_axes[(place, axis)] / parts.singular_values[place]);
        Some(LeadProjection { to_seen, to_vector })
    }
}
