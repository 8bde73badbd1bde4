//! Reference signals whose truth is known: ECG, respiration impedance and pressures from rhythm scripts.
//!
//! `no_std`, no heap, the same bits on a desk and on a microcontroller.
//!
//! Ten seconds of lead II of a resting adult:
//!
//! ```
//! use pulsewright_core::{ADULT, Frame, FrameRate, Lead, Player, SINUS, Script, Settings, Span, Step};
//!
//! let items = [Step::lasting(Span::secs(10), Settings::new(&ADULT, &SINUS)).into()];
//! let script = Script::new(7, &items)?;
//! let mut frames = [Frame::default(); 5000];
//! Player::new(&script, FrameRate::lit(500)).fill(&mut frames);
//! let lead_ii_mv = frames.map(|frame| frame.lead_mv(Lead::II));
//! # assert!(lead_ii_mv.iter().any(|mv| *mv > 0.9) && lead_ii_mv.iter().all(|mv| *mv < 2.0));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! A rhythm of one's own is a record that differs from another where it says so:
//!
//! ```
//! use pulsewright_core::{ADULT, Event, FrameRate, Player, Script, Settings, Span, Step, anatomy::*, heart::rhythm::*};
//!
//! static SLOW_JUNCTION: Rhythm = Rhythm {
//!     id: "slow-junction",
//!     name: "Slow junctional escape",
//!     atria: Atria::Still,
//!     av: AvNode::Blocked,
//!     escape: Some(Escape { focus: Focus::Junction(JunctionalP::Within), bpm: 38.0, code: BeatCode::JunctionalEscape }),
//!     ..Rhythm::SINUS
//! };
//! let items = [Step::lasting(Span::secs(60), Settings::new(&ADULT, &SLOW_JUNCTION)).into()];
//! let script = Script::new(7, &items)?;
//! let mut beats = 0;
//! Player::new(&script, FrameRate::lit(500)).skip_observed(u64::MAX, &mut |event: Event| {
//!     beats += usize::from(matches!(event, Event::Beat(beat) if beat.code == BeatCode::JunctionalEscape));
//! });
//! assert!((37..=39).contains(&beats));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! A script is a list of steps and repeats: here a ramp of the rate, and a step that comes twice. `pulsewright-script`
//! makes one from a JSON document, and [`image`] one from bytes in flash.
//!
//! ```
//! use pulsewright_core::{ADULT, Field, Frame, FrameRate, Item, Player, Ramp, SINUS, Script, Settings, Span, Step, named};
//!
//! let rest = Settings::new(&ADULT, &SINUS).lit(Field::RateBpm, 72.0);
//! let ramps = [Ramp { field: Field::RateBpm, to: 120.0, over: None }];
//! let items = [
//!     Step::lasting(Span::secs(20), rest).with_ramps(&ramps).into(),
//!     Step::lasting(Span::secs(5), rest.with_rhythm(named("ventricular-tachycardia"))).into(),
//!     Item::Repeat { first: 0, times: 2, level: 0 },
//! ];
//! let script = Script::new(7, &items)?;
//! let mut player = Player::new(&script, FrameRate::lit(500));
//! let (mut block, mut frames) = ([Frame::default(); 64], 0);
//! while let n @ 1.. = player.fill(&mut block) {
//!     frames += n;
//! }
//! assert_eq!(frames, 25_000);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Events alone, without a frame drawn:
//!
//! ```
//! use pulsewright_core::{ADULT, Event, FrameRate, Instant, Player, Script, Settings, Span, Step, named};
//!
//! let items = [Step::lasting(Span::secs(600), Settings::new(&ADULT, named("ventricular-bigeminy"))).into()];
//! let script = Script::new(7, &items)?;
//! let mut last_beat = Instant::ZERO;
//! Player::new(&script, FrameRate::lit(500)).skip_observed(u64::MAX, &mut |event: Event| {
//!     if let Event::Beat(beat) = event {
//!         last_beat = beat.peak;
//!     }
//! });
//! assert!(last_beat.as_secs_f64() > 595.0);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Map
//! Four floors, from the top; each uses those below it.
//! - [`player`]: plays a [`script`] or an [`image`], fills [`frame::Frame`]s or a [`block::Block`], sends [`truth::Event`]s
//!   to an observer. [`expect`] works out from it the readings and alarms of a correct monitor.
//! - The sheet: [`settings`] of a step, [`script`], [`timeline`].
//! - Sources: [`heart`] (when), and the shapes of ECG, respiration, pressures, cuff, artefacts and [`test_signal`]s; a
//!   [`body`] gives the values that a patient starts from.
//! - Vocabulary: [`time`], [`anatomy`], [`frame`], [`truth`], and inside the crate chance and elementary functions.
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
mod artefact;
pub mod block;
pub mod body;
mod course;
mod cuff;
mod ecg;
pub mod expect;
mod field;
pub mod frame;
mod frame_clock;
mod frequency;
pub mod heart;
pub mod image;
#[doc(hidden)]
pub mod internal;
mod life;
mod math;
mod noise;
pub mod player;
pub mod pressure;
pub mod reach;
pub mod recording;
mod respiration;
pub mod script;
mod segment;
pub mod settings;
mod site_set;
mod step;
mod sweep;
pub mod test_signal;
pub mod time;
pub mod timeline;
pub mod truth;
mod vectors;

pub use anatomy::PressureSite;
pub use block::Block;
pub use body::{ADULT, CHILD, NEONATE};
pub use frame::{Channel, Frame, Lead};
pub use heart::catalogue::{RHYTHMS, SINUS, named};
pub use image::Image;
pub use player::Player;
pub use recording::{RecordedNoise, Recording};
pub use script::{Item, Ramp, Script, Step};
pub use settings::{Field, Settings};
pub use time::{FrameRate, Instant, Span};
pub use truth::{Event, Observer};
