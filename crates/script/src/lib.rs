//! Script documents: JSON text to core scripts and back, every mistake named with its place, and their schema.
//!
//! ```
//! use pulsewright_core::script::Script;
//!
//! let text = br#"{"version": 1, "steps": [
//!     {"name": "rest", "duration_s": 30, "rhythm": "sinus", "rate_bpm": 72},
//!     {"name": "run", "duration_s": 10, "rhythm": "ventricular-tachycardia", "rate_bpm": {"to": 190}}
//! ]}"#;
//! let document = pulsewright_script::parse(text, "ward.json")?;
//! let items = document.items();
//! let script = Script::new(document.seed(), &items)?;
//! assert_eq!(script.duration().unwrap().as_secs_f64(), 40.0);
//! assert_eq!(document.label(1), "run");
//!
//! let problems = pulsewright_script::parse(br#"{"version": 1, "steps": [{"duration_s": 5, "rhythm": "sinsu"}]}"#, "x.json");
//! assert!(problems.unwrap_err().to_string().contains(r#"did you mean "sinus"?"#));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Guarantees
//! - Keys, ranges, words and the schema come from the core's own tables: a new field, rhythm or body there is known here.
//! - Every text gets an answer: a document, or every problem in it with line and column. No panic; memory
//!   is bounded by [`MAX_BYTES`] and [`MAX_STEPS`], time by the text's length.
//! - A [`Document`] always makes a valid core script.
//!
//! # Map
//! [`parse`] walks the text through [`reader::JsonNode`] (values that know their place) and `keys` (the tree that the field table's
//! paths make), resolves each step with `carry`, and collects [`Problem`]s. [`reader`] is the part that any JSON
//! document can use, [`typed`] the part that flags and commands share. [`outline`] gives the times of the parts. `write` and `schema` read the same tree.

mod beats;
mod beside;
pub mod bodies;
mod carry;
pub mod catalogue_text;
pub mod channel_groups;
mod document;
pub mod expect;
mod field_schema;
mod keys;
mod limits;
mod noise;
mod noise_ratio;
mod number;
mod one_step;
pub mod outline;
mod parse;
mod problem;
pub mod reader;
mod recording;
pub mod rhythm_words;
pub mod rhythms;
mod schema;
mod series;
mod step;
pub mod typed;
pub mod units;
mod walk;
mod words;
mod write;

pub use document::{Document, DocumentPart, DocumentStep};
pub use limits::{MAX_BESIDE_BYTES, MAX_BYTES, MAX_STEPS};
pub use noise::StepNoise;
pub use one_step::OneStep;
pub use parse::{parse, parse_among, parse_beside, read};
pub use problem::{Problem, Problems};
pub use recording::StepRecording;
pub use schema::schema;
pub use series::{MOST_SERIES_BEATS, StepSeries};
pub use walk::ReadRecordings;
