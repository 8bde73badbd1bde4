//! From frames to a bench rig's converters on a board: integer codes, an output stage over `embedded-hal`, triggers.
//!
//! **For test benches only**: never to a person, nor to equipment connected to one. Isolate the rig, and verify every output with
//! a calibrated meter before a monitor is connected. The manufacturer's service manual, local codes and licensed practice come
//! first.
//!
//! # Map
//! [`fixed`] is the arithmetic; [`wiring`] says which signal an output carries, and works out its code; [`image`] is a wiring as
//! bytes in flash; [`maker`] makes frames from a script, [`stage`] shows them at the ticks of a timer; [`converter`] is the bus,
//! [`marks`] the digital outputs; [`alone`] leads the script by lines of text
//! and buttons; [`link`] takes frames from a host over a serial line instead.
//!
//! # What holds
//! - A desk and a board give the same codes for the same frame: both use [`wiring::Wiring`], which is integers only.
//! - A code is within half a step, and 2^-7 of one at 24 bits, of the signal wherever the converter reaches it.
//! - Outputs are at rest before the start, after a stop, after a converter's error, and when no frame comes for longer than the
//!   stage waits.
//! - No heap, no panic, no floating point but the one multiplication that makes a sample an integer.
#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

pub mod alone;
pub mod converter;
pub mod fixed;
pub mod image;
pub mod link;
pub mod maker;
pub mod marks;
pub mod stage;
pub mod wiring;
