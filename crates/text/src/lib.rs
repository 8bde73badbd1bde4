//! Foreign text on its way in and out: files of people and other programs, and their words when they are shown again.
//!
//! # Map
//! | module | content |
//! |---|---|
//! | [`source`] | bytes of a file, a folder's entry or a stream, up to a stated size; UTF-8 with or without a byte-order mark |
//! | [`json`] | documents read into values and types: members given twice and deep nesting are refused at their place |
//! | [`node`] | JSON values that know their place in the text |
//! | [`table`] | CSV, columns of blanks, and JSON as rows of cells, one row in memory at a time |
//! | [`fit`] | text made fit for a terminal, a page, a JSON document, a spreadsheet's cell |
//! | [`wrap`] | lines broken between words |
//! | [`braille`] | traces in dots, for a terminal |
//! | [`annotation`] | the open annotation set: code letters and their numbers |
//! | [`annotation_file`], [`header`] | the annotations of a record, its frame rate and length |
//! | [`number`] | numbers of any size in few characters |
//!
//! # Guarantees
//! - Every verb reads through [`source`] and [`json`], and shows foreign text through [`fit`]; a test of the source forbids
//!   other ways.
//! - Every input gets an answer: no panic, memory in proportion to the stated sizes.

pub mod annotation;
pub mod annotation_file;
pub mod braille;
pub mod fit;
pub mod header;
pub mod json;
pub mod node;
pub mod number;
pub mod source;
pub mod table;
pub mod wrap;
