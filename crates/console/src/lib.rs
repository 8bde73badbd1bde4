//! The bench console: one local page that chooses, plays and holds, and shows what is played with the truth about it.
//!
//! # Map
//! The session itself is [`pulsewright_bench`]; this is its view in a browser. [`serve`] listens at one address, with
//! one-time links and a page that is built in. `socket` carries requests in, and out what `pages` hands to all pages alike; `page`
//! has the files and the data that the page is made from; `guard` knows who may come in; `editor` checks and writes the scripts
//! that the page edits; `label` draws the label of a piece of equipment.
//!
//! # Why an async server
//! Several pages read and write their sockets at the same time, and a page that does not read must delay neither the player nor
//! the others; with blocking sockets that takes two threads a page and time limits by hand.

mod answers;
mod app;
mod editor;
mod error;
mod guard;
mod label;
mod page;
mod pages;
mod server;
mod socket;

pub use editor::CheckReply;
pub use error::ConsoleError;
pub use server::{Console, serve};
