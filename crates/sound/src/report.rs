//! How a card has played.

/// The account of a card about its frames.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CardReport {
    /// How often the card found no frame, and rested until frames were there.
    pub interruptions: u64,
    /// The card's frames a second by the clock of this computer, when it played for [`MEASURED_S`] or longer.
    pub measured_hz: Option<f64>,
    /// Why the card failed, when it did.
    pub failed: Option<String>,
}

/// Seconds from which on the card's rate is measured: its samples are taken in blocks, which blur a shorter time.
pub const MEASURED_S: f64 = 10.0;
