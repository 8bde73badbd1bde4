//! Signals of a script as files; beside them the meaning of their numbers and the truth about them.
//!
//! ```
//! use pulsewright_core::{body::ADULT, frame::Channel, heart::catalogue::SINUS, settings::Settings,
//!     expect::AlarmLimits, script::{Item, Script, Step}, time::{FrameRate, Span}};
//! use pulsewright_files::{Bits, Content, Durability, Encoding, FileFormat, RenderOptions, render_to_files};
//! use std::ops::ControlFlow;
//!
//! let rest = Settings::new(&ADULT, &SINUS);
//! let items = [Item::Step(Step::lasting(Span::secs(10), rest))];
//! let script = Script::new(1, &items)?;
//! let content = Content { script: &script, title: "At rest", labels: &["rest"], limits: AlarmLimits::USUAL };
//! let options = RenderOptions {
//!     rate: FrameRate::hz(500)?,
//!     channels: Channel::USUAL.to_vec(),
//!     format: FileFormat::Wav(Encoding::Integer(Bits::B16)),
//!     duration: None,
//!     split: None,
//!     truth: true,
//!     lead_truth: Vec::new(),
//!     overwrite: false,
//!     durability: Durability::Usual,
//! };
//! let folder = tempfile::tempdir()?;
//! let target = folder.path().join("rest.wav");
//! let report = render_to_files(content, &options, &target, &mut |_, _| ControlFlow::Continue(()))?;
//! assert_eq!(report.frames, 5000);
//! assert!(folder.path().join("rest.beats.csv").exists());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Map
//! [`plan`] works out frames, files and sizes and refuses impossible ones; `parts` lets copies of the player play parts
//! side by side; an [`format::Encoder`] ([`wav`], [`csv`], [`edf`], [`record`]) turns frames into bytes through the one
//! [`quantiser`] and [`scale`]; [`truth`] and, for formats that keep them, [`marks`] write events as they happen;
//! [`atomic`] makes files appear whole or not at all, [`manifest`] says what
//! belongs together; [`render`] ties them together.
//!
//! # What holds
//! - Memory does not grow with length.
//! - An integer sample, and the decimals of text, are the same number: both come from one code.
//! - The truth comes from events, never from samples.
//! - No file is left half written, and none is overwritten unasked.
#![forbid(unsafe_code)]

pub mod atomic;
pub mod buffer;
pub mod content;
pub mod csv;
mod decimal;
pub mod digest;
pub mod edf;
pub mod format;
pub mod image;
mod interleave;
pub mod manifest;
pub mod marks;
pub mod names;
mod parts;
pub mod plan;
pub mod quantiser;
pub mod record;
pub mod render;
mod row;
pub mod scale;
pub mod sha256;
pub mod sidecar;
mod split;
pub mod truth;
pub mod wav;

pub use atomic::Durability;
pub use content::Content;
pub use format::{Encoding, FileFormat};
pub use names::Names;
pub use plan::{PlanError, RenderOptions};
pub use render::{
    RenderError, RenderReport, render_observed, render_through, render_to_files, render_to_stream, stream_through,
};
pub use scale::Bits;
