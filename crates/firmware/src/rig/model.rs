//! The modelled converters and pins: words go into registers, a latch shows them, and the second serial port says what was shown and
//! when, and how the pins of the marks stand.

use super::board::{self, Trace};
use core::cell::RefCell;
use core::convert::Infallible;
use cortex_m::interrupt::Mutex;
use embedded_hal::digital::{ErrorType as PinErrorType, OutputPin};
use embedded_hal::spi::{ErrorType as BusErrorType, Operation, SpiDevice};
use pulsewright_device::marks::{Lines, Marks};

/// Registers of the converters, one an address.
const REGISTERS: usize = 13;

/// The registers: the bus writes them, the latch shows them.
static LOADED: Mutex<RefCell<[[u8; 2]; REGISTERS]>> = Mutex::new(RefCell::new([[0; 2]; REGISTERS]));

/// The serial bus: three bytes are an address and a word.
pub struct Words;

impl BusErrorType for Words {
    type Error = Infallible;
}

impl SpiDevice for Words {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
        for operation in operations {
            if let Operation::Write([address, high, low]) = operation {
                cortex_m::interrupt::free(|token| {
                    if let Some(register) = LOADED.borrow(token).borrow_mut().get_mut(usize::from(*address)) {
                        *register = [*high, *low];
                    }
                });
            }
        }
        Ok(())
    }
}

/// The latch pin: its falling edge shows the registers.
pub struct Latch(Trace);

impl Latch {
    /// The pin, high.
    pub fn open() -> Latch {
        Latch(Trace::open())
    }
}

impl PinErrorType for Latch {
    type Error = Infallible;
}

impl OutputPin for Latch {
    fn set_low(&mut self) -> Result<(), Infallible> {
        // Its moment first: what follows takes its time.
        let now = board::now().to_le_bytes();
        let shown = cortex_m::interrupt::free(|token| *LOADED.borrow(token).borrow());
        now.iter().for_each(|byte| self.0.write(*byte));
        // Little-endian, as in a raw file.
        for [high, low] in shown {
            self.0.write(low);
            self.0.write(high);
        }
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// The pins of the marks: the second serial port says how they stand, a byte behind the words of each latch.
pub struct Pins(Trace);

impl Pins {
    /// The pins, all low.
    pub fn open() -> Pins {
        Pins(Trace::open())
    }
}

impl Lines for Pins {
    fn set(&mut self, marks: Marks) {
        self.0.write(marks.bits());
    }
}
