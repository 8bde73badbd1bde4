//! The converters of a rig as the output stage sees them, and a driver for one kind of them.

use crate::wiring::MAX_OUTPUTS;
use embedded_hal::digital::OutputPin;
use embedded_hal::spi::SpiDevice;

/// Converters that take all codes of a frame and show them at one moment.
pub trait Converters {
    /// Why a converter does not answer.
    type Error;

    /// Loads the codes of a frame, in the order of the wiring; the outputs keep the values they have.
    ///
    /// # Errors
    /// When a converter does not take its code.
    fn load(&mut self, codes: &[i32]) -> Result<(), Self::Error>;

    /// Shows what was loaded last, on all outputs at once.
    ///
    /// # Errors
    /// When the converters can't be reached.
    fn latch(&mut self) -> Result<(), Self::Error>;
}

/// Converters on one serial bus that take three bytes for an output: its address, then the code in 16 bits, the most significant
/// byte first, left-aligned when it has fewer; a pin that goes low and high again shows all codes.
///
/// Multi-channel converters with input and output registers are used like that; their address bytes differ (common practice, no
/// source). Read the data sheet of yours, and implement [`Converters`] when its words are others.
#[derive(Debug)]
pub struct SpiConverters<Bus, Pin> {
    bus: Bus,
    latch: Pin,
    addresses: [u8; MAX_OUTPUTS],
    bits: u8,
}

/// The serial bus or the latch pin failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SpiFault {
    /// The bus reported an error.
    Bus,
    /// The pin reported an error.
    Latch,
}

impl<Bus: SpiDevice, Pin: OutputPin> SpiConverters<Bus, Pin> {
    /// For converters of `bits`, at most 16, whose output *n* of the wiring has the address `addresses[n]`.
    pub fn new(bus: Bus, latch: Pin, addresses: [u8; MAX_OUTPUTS], bits: u8) -> SpiConverters<Bus, Pin> {
        SpiConverters { bus, latch, addresses, bits: bits.min(16) }
    }

    /// The bus and the pin.
    pub fn release(self) -> (Bus, Pin) {
        (self.bus, self.latch)
    }
}

impl<Bus: SpiDevice, Pin: OutputPin> Converters for SpiConverters<Bus, Pin> {
    type Error = SpiFault;

    fn load(&mut self, codes: &[i32]) -> Result<(), SpiFault> {
        for (code, address) in codes.iter().zip(self.addresses) {
            // The low bits of a code: two's complement and offset binary alike.
            let [.., high, low] = (*code << (16 - self.bits)).to_be_bytes();
            self.bus.write(&[address, high, low]).map_err(|_| SpiFault::Bus)?;
        }
        Ok(())
    }

    fn latch(&mut self) -> Result<(), SpiFault> {
        self.latch.set_low().map_err(|_| SpiFault::Latch)?;
        self.latch.set_high().map_err(|_| SpiFault::Latch)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_hal_mock::eh1::digital::{Mock as Pin, State, Transaction as Level};
    use embedded_hal_mock::eh1::spi::{Mock as Bus, Transaction as Word};
    use std::vec;

    #[test]
    fn words_of_two_outputs_and_one_latch() {
        let word =
            |bytes: [u8; 3]| [Word::transaction_start(), Word::write_vec(bytes.to_vec()), Word::transaction_end()];
        let words = [word([0x30, 0xff, 0xfe]), word([0x31, 0x12, 0x34])].concat();
        let mut addresses = [0; MAX_OUTPUTS];
        addresses[..2].copy_from_slice(&[0x30, 0x31]);
        let pin = Pin::new(&[Level::set(State::Low), Level::set(State::High)]);
        let mut converters = SpiConverters::new(Bus::new(&words), pin, addresses, 16);
        converters.load(&[-2, 0x1234]).unwrap();
        converters.latch().unwrap();
        let (mut bus, mut pin) = converters.release();
        bus.done();
        pin.done();
    }

    #[test]
    fn codes_of_twelve_bits_are_left_aligned() {
        let words = [Word::transaction_start(), Word::write_vec(vec![7, 0x80, 0x10]), Word::transaction_end()];
        let pin = Pin::new(&[]);
        let mut converters = SpiConverters::new(Bus::new(&words), pin, [7; MAX_OUTPUTS], 12);
        converters.load(&[0x801]).unwrap();
        let (mut bus, mut pin) = converters.release();
        bus.done();
        pin.done();
    }
}
