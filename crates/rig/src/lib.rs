//! A bench rig between the numbers and a monitor's inputs: the codes for its converters, and their values at the inputs.
//!
//! **For test benches only**: never to a person, nor to equipment connected to one. A description that is wrong puts
//! volts where millivolts belong; verify every output with a calibrated meter before a monitor is connected.
//!
//! ```
//! use pulsewright_core::frame::Frame;
//! use pulsewright_rig::{Packing, RigFrames, read::parse};
//!
//! let text = br#"{"version": 1,
//!   "converter": {"bits": 16, "low_v": -2.5, "high_v": 2.5, "coding": "twos-complement"},
//!   "outputs": [{"electrode": "RA", "attenuation": 500}, {"electrode": "LA", "attenuation": 500}]}"#;
//! let rig = parse(text, "bench.json")?;
//! let frames = RigFrames::new(&rig, Packing::Raw)?;
//! let mut bytes = Vec::new();
//! let clipped = frames.push([Frame { leads_mv: [1.0; 8], ..Frame::default() }], &mut bytes);
//! // RA = -(I + II) / 3 = -0.667 mV is -0.333 V before the attenuator: 4369 steps of 76.3 uV below zero.
//! assert_eq!(bytes[..2], (-4369_i16).to_le_bytes());
//! assert_eq!(clipped, [0, 0]);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Map
//! [`description`] is the rig in memory, [`read`] and [`schema`] its JSON; [`mod@line`] the straight lines from code to volts
//! to connector to signal; [`frames`] turns frames into codes, for files and for streams; [`render`] renders
//! a script to them; [`table`] gives the meaning of a code; [`mod@wiring`] is the rig in integers, for boards and for the
//! desk; [`figures`] judges steps and frame rates, [`mod@coupling`] works out
//! what AC coupling leaves, [`judge`] finds dangerous and useless outputs; [`walk`] plays the
//! levels of a measurement, [`reading`] takes a meter's readings, [`calibration`] corrects a rig by them.
//!
//! # What holds
//! - Electrode potentials are exact to 2^-48 mV before the one rounding to a code: leads re-derived from them are the leads.
//! - An ideal converter behind these codes is within half a step of the signal, wherever it is not clipped; clipped
//!   samples are counted.
#![forbid(unsafe_code)]

pub mod calibration;
pub mod coupling;
pub mod description;
pub mod figures;
pub mod frames;
pub mod judge;
pub mod line;
mod quantities;
pub mod read;
pub mod reading;
pub mod render;
pub mod schema;
pub mod table;
pub mod walk;
pub mod wiring;

pub use description::{Coding, Converter, Correction, EcgConnector, Output, OutputSignal, Rig};
pub use frames::{Packing, RigFrames};
pub use render::{Clip, RigRender};
