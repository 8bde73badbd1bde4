//! The cards of a computer, and why one can't be used.

use crate::offer::{CardMismatch, Offer};

/// A card, or another output that the system's sound library offers.
#[derive(Clone, Debug)]
pub struct Card {
    /// Name that the system opens it by.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// How it can play; none when it can't be opened now.
    pub offers: Vec<Offer>,
}

/// Why a card can't be used.
#[derive(Debug, thiserror::Error)]
pub enum CardError {
    /// The program was built without sound cards.
    #[error("this program was built without sound cards")]
    NotBuilt,
    /// No card of this name.
    #[error("there is no sound card '{0}'")]
    Unknown(String),
    /// Several cards of this name.
    #[error("several sound cards are called '{0}': give one of the names that the list has for the system")]
    Several(String),
    /// It can't play the signal.
    #[error("sound card '{0}': {1}")]
    Unfit(String, CardMismatch),
    /// The system refuses.
    #[error("sound card '{0}': {1}")]
    System(String, String),
    /// The system has no sound.
    #[error("this system has no sound: {0}")]
    NoSound(String),
}
