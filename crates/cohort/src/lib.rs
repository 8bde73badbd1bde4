//! Patients drawn by seed and number, and packed sets of their signals.
//!
//! [`People`] describes a population: groups with their rhythms and bodies, and a [`Distribution`] for each setting.
//! [`People::patient`] draws one [`Patient`], who has a script. A [`CohortPlan`] adds length, channels and frame rate; [`write`](mod@write)
//! renders all of its patients into a [`CohortFolder`] of packs with an index.
//!
//! # Map
//! [`distribution`] and [`normal`] hold the arithmetic of one variable, [`correlation`] that of several; [`people`] reads the
//! document and draws; [`plan`], [`content`] and [`record`] make signals and truth; [`mod@write`], [`folder`], [`npy`] and [`tables`] make
//! files, with the feature `parquet` also Parquet's; [`pool`] spreads work over threads.
//!
//! # What holds
//! - A patient depends on the people and the number alone: the same for ever, alone or among others, in any number of shards.
//! - A draw belongs to a name: a further variable changes no other one.
//! - Memory does not grow with the number of patients; of Parquet it does by about 1 kB for each patient of a pack, as its writer
//!   keeps the places of all columns until the file ends.
#![forbid(unsafe_code)]

pub mod content;
pub mod correlation;
pub mod distribution;
mod error;
pub mod folder;
pub mod normal;
pub mod npy;
mod one_step;
mod pack;
#[cfg(feature = "parquet")]
mod parquet_index;
#[cfg(feature = "parquet")]
mod parquet_pack;
#[cfg(feature = "parquet")]
mod parquet_schema;
pub mod people;
pub mod plan;
pub mod pool;
pub mod record;
pub mod tables;
pub mod write;

pub use distribution::Distribution;
pub use error::CohortError;
pub use folder::{CohortFolder, CohortManifest};
pub use people::{Patient, People};
pub use plan::CohortPlan;
