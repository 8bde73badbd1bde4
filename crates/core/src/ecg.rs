//! The electrocardiogram: events start deflections on the heart vector, the lead matrix makes leads of it.

pub mod deflection;
pub mod electrogram;
pub mod fibrillation;
pub mod leads;
pub mod overshoot;
pub mod pathology;
pub mod reach;
pub mod templates;
