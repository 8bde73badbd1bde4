//! Shared by the tests and benches that cross crates.

pub mod check_sum;
pub mod drawn;
pub mod images;
pub mod long_scripts;
pub mod played;
pub mod statistics;

/// The guide's program, compiled and run with the documentation's tests.
#[cfg(doctest)]
#[doc = include_str!("../../docs/microcontroller.md")]
pub struct MicrocontrollerGuide;

/// The program in the description of images.
#[cfg(doctest)]
#[doc = include_str!("../../docs/image.md")]
pub struct ImagePage;
