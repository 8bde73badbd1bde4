//! A program that was built without the cards of this computer: every call says so.

use crate::error::{Card, CardError};
use crate::offer::PlaybackForm;
use crate::packing::CodePacking;
use crate::report::CardReport;
use std::convert::Infallible;
use std::io::{self, Write};

/// Never: the program was built without sound cards.
///
/// # Errors
/// [`CardError::NotBuilt`].
pub fn cards() -> Result<Vec<Card>, CardError> {
    Err(CardError::NotBuilt)
}

/// A card that can play a signal: there is none.
#[derive(Clone, Debug)]
pub struct ReadyCard {
    /// How it would play.
    pub choice: PlaybackForm,
    none: Infallible,
}

impl ReadyCard {
    /// Never: the program was built without sound cards.
    ///
    /// # Errors
    /// [`CardError::NotBuilt`].
    pub fn new(_: &str, _: CodePacking, _: u32) -> Result<ReadyCard, CardError> {
        Err(CardError::NotBuilt)
    }

    /// As of a card.
    pub fn delay_ms(&self) -> u32 {
        match self.none {}
    }

    /// As of a card.
    ///
    /// # Errors
    /// None.
    pub fn open(&self) -> Result<CardWriter, CardError> {
        match self.none {}
    }
}

/// Takes the bytes of frames: there is none.
#[derive(Debug)]
pub struct CardWriter(Infallible);

impl CardWriter {
    /// As of a card.
    pub fn reporter(&self) -> fn() -> CardReport {
        match self.0 {}
    }
}

impl Write for CardWriter {
    fn write(&mut self, _: &[u8]) -> io::Result<usize> {
        match self.0 {}
    }

    fn flush(&mut self) -> io::Result<()> {
        match self.0 {}
    }
}
