//! Strips on millimetre paper: ECG at 25 mm/s and 10 mm/mV, pressures and respiration below on the same time axis.
//!
//! A [`excerpt::Excerpt`] holds a stretch as played (frames, events, step labels). [`strip::draw`] lays it out on a
//! [`strip::StripSheet`] as a [`drawing::Drawing`]: strokes and text in millimetres. Two back ends print that one list:
//! [`svg::write`] keeps text as text, [`png::encode`] draws letters with the strokes of [`letters`] so that no font file
//! is needed. [`terminal::print`] shows the same excerpt in dots, for terminals and failing tests.
//!
//! ```
//! use pulsewright_core::{body, heart::catalogue, script::{Item, Script, Step}, settings::Settings,
//!     time::{FrameRate, Instant, Span}};
//! use pulsewright_plot::{excerpt::Excerpt, strip::{self, StripSheet}, svg};
//!
//! let settings = Settings::new(&body::ADULT, &catalogue::SINUS);
//! let items = [Item::Step(Step::hold(settings))];
//! let script = Script::new(1, &items)?;
//! let excerpt = Excerpt::play(&script, FrameRate::lit(1000), Instant::ZERO, Span::secs(8))?;
//! let drawing = strip::draw(&excerpt, &StripSheet::usual())?;
//! assert!(svg::write(&drawing).contains("25 mm/s"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # What holds
//! - One millimetre of the drawing is one millimetre of paper; grid, calibration mark and traces share that scale.
//! - Beats, P waves and steps are marked from the truth, never found in the samples.
//! - Every row carries [`strip::NOTICE`]; nothing here reads or writes files.
//! - The same excerpt gives the same bytes of SVG on every machine.

pub mod drawing;
pub mod excerpt;
pub mod letters;
pub mod png;
pub mod strip;
pub mod svg;
pub mod terminal;

mod band;
mod marks;
mod trace;
