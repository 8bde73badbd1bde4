//! The electrocardiogram: events start deflections on the heart vector, the lead matrix makes leads of it.

pub(crate) mod deflection;
pub(crate) mod electrogram;
pub(crate) mod fibrillation;
pub(crate) mod leads;
pub(crate) mod measure;
pub(crate) mod overshoot;
pub(crate) mod pathology;
pub(crate) mod person;
pub(crate) mod reach;
pub(crate) mod residuals;
pub(crate) mod templates;
