//! Frames to a sound card, at the pace of its own clock.
//!
//! [`packing`] reads frames from the bytes of a stream; [`offer`] chooses how a card plays them, or says why it can't; [`feed`] makes
//! the card's samples: ramps, held frames, rest; [`ReadyCard`] opens a card of this computer, in a program with the feature `card`.
//!
//! # What holds
//! - A sample keeps its value as a share of full scale, bit for bit. Where the card plays more frames a second than the signal
//!   has, each frame is held for a whole number of the card's: as a converter that is written once a frame holds it.
//! - The card starts and ends at 0, and goes to and from the signal in a straight line of [`RAMP_MS`]. The ramps come before
//!   the first frame and after the last one; no frame is changed.
//! - A card that finds no frame goes to 0 by the same ramp and comes back when frames are there; this is counted, and no frame
//!   is left out.
//! - After a failure every sample is 0.
#![forbid(unsafe_code)]

#[cfg(not(feature = "card"))]
mod absent;
#[cfg(feature = "card")]
mod card;
mod error;
pub mod feed;
pub mod offer;
pub mod packing;
mod report;

/// Whether the program has the cards of this computer.
pub const BUILT: bool = cfg!(feature = "card");

#[cfg(not(feature = "card"))]
pub use absent::{CardWriter, ReadyCard, cards};
#[cfg(feature = "card")]
pub use card::{CardWriter, ReadyCard, cards};
pub use error::{Card, CardError};
pub use feed::{RAMP_MS, WAITING_MS};
pub use offer::{CardMismatch, Offer, PlaybackForm, Rates};
pub use packing::CodePacking;
pub use report::{CardReport, MEASURED_S};
