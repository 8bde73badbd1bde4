//! The bench console: one local page that chooses, plays and holds, and shows what is played with the truth about it.
//!
//! ```text
//! page ── orders ──► server ──► run: live player ──► consumer (rig, file, or none)
//!   ◄── frames, marks ─────────────┘ each block, once the consumer has taken it
//! ```
//!
//! # Map
//! [`serve`] opens the door: one address, one-time links, a page that is built in. `order` reads what the page asks for; `run`
//! plays it on a thread of its own at the pace of the clock; `tee` hands each block to the consumer and then to the pages;
//! `log` keeps the log and works out the readings of a correct monitor; `clerk` writes what people enter: the records of a plan
//! (`checks`), the address book (`addresses`), favourites (`lists`), both read by `kept`. `page` has the data that the page is made from.
//!
//! # What holds
//! - The core is the only maker of signals; the page draws the frames that the consumer took.
//! - Nothing plays before a person has confirmed that no person is connected and that the outputs were verified.
//! - The log is a script: rendered, it gives the bytes that the consumer got.
//! - A stop brings every output to rest; the end of the program does so first.
//!
//! # Why an async server
//! Several pages read and write their sockets at the same time, and a page that does not read must delay neither the player nor
//! the others; with blocking sockets that takes two threads a page and time limits by hand.

mod addresses;
mod answers;
mod app;
mod checks;
mod clerk;
mod consumer;
mod controls;
mod error;
mod guard;
mod kept;
mod lists;
mod log;
mod marks;
mod order;
mod page;
mod planned;
mod rest;
mod run;
mod running;
mod server;
mod shared;
mod socket;
mod tee;

pub use consumer::{Coder, Consumer, Nowhere};
pub use error::ConsoleError;
pub use planned::Planned;
pub use server::{Console, Served, serve};
