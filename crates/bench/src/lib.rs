//! A session at the bench: what plays, led by orders, and what is written down. Its views are a page, a screen of a terminal and,
//! here, plain lines.
//!
//! ```text
//! view ── requests ──► bench ──► run: live player ──► consumer (rig, file, or none)
//!   ◄── frames, marks, states ───────┘ each block, once the consumer has taken it
//! ```
//!
//! # Map
//! [`Bench`] is a session: a [`SessionView`] shows it, and sends it a [`Request`] for each thing that a person does. `order` reads
//! requests; `run` plays them on a thread of its own at the pace of the clock; `tee` hands each block to the consumer and then to
//! the view; `log` keeps the log and works out the readings of a correct monitor; `clerk` writes down what people enter: the
//! records of a plan (`checks`), the address book (`addresses`) and favourites (`lists`), whose files `kept` reads and writes;
//! [`lines`] is the plain view, a plan asked about in lines; [`photos`] reads photos and knows their kinds. [`offer`] has the rhythms and controls that a view offers.
//!
//! # What holds
//! - The core is the only maker of signals; a view draws the frames that the consumer took.
//! - Nothing plays before a person has confirmed that no person is connected and that the outputs were verified.
//! - The log is a script: rendered, it gives the bytes that the consumer got.
//! - An entry counts once the disk has it.
//! - A stop brings every output to rest; the end of the program does so first.

mod addresses;
mod bench;
mod checks;
mod clerk;
mod consumer;
mod controls;
mod error;
mod kept;
pub mod lines;
mod lists;
mod log;
mod marks;
pub mod offer;
mod order;
pub mod photos;
mod planned;
mod rest;
mod run;
mod running;
mod shared;
mod tee;

pub use bench::{ANSWER, Bench, SessionEnd, Setup};
pub use checks::RecordFile;
pub use clerk::Reply;
pub use consumer::{Coder, Consumer, NoConsumer};
pub use error::BenchError;
pub use order::Request;
pub use planned::PlannedSteps;
pub use shared::SessionView;
