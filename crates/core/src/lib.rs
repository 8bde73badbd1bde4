//! Reference signals whose truth is known: ECG, respiration impedance and pressures from rhythm scripts.
//!
//! `no_std`, no heap, the same bits on a desk and on a microcontroller.
//!
//! From top to bottom: a [`script::Script`] of steps, or a compact [`image::Image`] of one, is played by a
//! [`player::Player`], which asks the [`heart`] and
//! [`respiration`] what happens next, lets [`ecg`] and [`pressure`] draw it, and fills [`frame::Frame`]s, or a
//! [`block::Block`] signal by signal. Whatever happens is told to an observer as [`truth::Event`]s. [`settings`], [`time`], [`noise`] and [`math`] carry them all.
//!
//! ```
//! use pulsewright_core::{body, frame::Frame, heart::catalogue, player::Player, script::{Item, Script, Step},
//!     settings::{Field, Settings}, time::{FrameRate, Span}};
//!
//! let rest = Settings::new(&body::ADULT, &catalogue::SINUS).lit(Field::RateBpm, 72.0);
//! let items = [Item::Step(Step { duration: Some(Span::secs(10)), settings: rest, ramps: &[], beats: &[] })];
//! let script = Script::new(7, &items)?;
//! let mut player = Player::new(&script, FrameRate::lit(500));
//! let mut block = [Frame::default(); 64];
//! let mut frames = 0;
//! while let n @ 1.. = player.fill(&mut block) {
//!     frames += n;
//! }
//! assert_eq!(frames, 5000);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # What holds
//! - Any block size, `skip`, and a clone of the player give the same bits; so do debug, release, x86-64 and Cortex-M4F.
//! - No panic, no heap; the player is plain data below 6 KiB.
//! - Values are `f32` in the unit that the name says: mV, mmHg, ohm.
//!
//! # Safety
//! These signals are for test benches. Never connect a source of them to a person, or to equipment connected to one.
#![no_std]
#![forbid(unsafe_code)]
#![deny(missing_docs)]

pub mod anatomy;
pub mod artefact;
pub mod block;
pub mod body;
mod chosen;
mod course;
pub mod cuff;
pub mod ecg;
pub mod expect;
pub mod field;
pub mod frame;
mod frame_clock;
mod frequency;
pub mod heart;
pub mod image;
pub mod life;
pub mod math;
pub mod noise;
pub mod player;
pub mod pressure;
pub mod reach;
pub mod respiration;
pub mod script;
mod segment;
pub mod settings;
mod step;
mod sweep;
pub mod test_signal;
pub mod time;
pub mod timeline;
pub mod truth;
pub mod vectors;
