//! The modelled converters and pins: words go into registers, a latch shows them, and a logic analyser records at each tick what is shown
//! and since when, how the pins of the marks stand, and when the host was heard last. The converters fail when a test asks for it.

use super::board::{self, Analyser};
use core::cell::{Cell, RefCell};
use cortex_m::interrupt::Mutex;
use embedded_hal::digital::{ErrorType as PinErrorType, OutputPin};
use embedded_hal::spi::{Error, ErrorKind, ErrorType as BusErrorType, Operation, SpiDevice};
use pulsewright_device::marks::{MarkPins, Marks};

/// Registers of the converters, one an address.
const REGISTERS: usize = 13;

type Registers = [[u8; 2]; REGISTERS];

/// The registers: the bus writes them, the latch shows them.
static LOADED: Mutex<RefCell<Registers>> = Mutex::new(RefCell::new([[0; 2]; REGISTERS]));

/// The words shown, their moment, and how many frames were shown so far.
static SHOWN: Mutex<RefCell<(Registers, u32, u32)>> = Mutex::new(RefCell::new(([[0; 2]; REGISTERS], 0, 0)));

/// When the host's last whole message came, ms.
static HEARD: Mutex<Cell<u32>> = Mutex::new(Cell::new(0));

/// When the converters began to fail, ms.
static FAILS_SINCE: Mutex<Cell<Option<u32>>> = Mutex::new(Cell::new(None));

/// Notes when the host's last whole message came, ms.
#[allow(dead_code)] // A board that plays by itself has no host.
pub fn heard(at: u32) {
    cortex_m::interrupt::free(|token| HEARD.borrow(token).set(at));
}

/// A converter that does not answer.
#[derive(Clone, Copy, Debug)]
pub struct Stuck;

impl Error for Stuck {
    fn kind(&self) -> ErrorKind {
        ErrorKind::Other
    }
}

/// Whether the converters fail now.
fn stuck() -> bool {
    let (after, for_ms) = board::fault();
    if after == 0 {
        return false;
    }
    let now = board::millis();
    cortex_m::interrupt::free(|token| {
        let due = SHOWN.borrow(token).borrow().2 >= after;
        let since = FAILS_SINCE.borrow(token);
        if since.get().is_none() && due {
            since.set(Some(now));
        }
        since.get().is_some_and(|since| now.wrapping_sub(since) < for_ms)
    })
}

/// The serial bus: three bytes are an address and a word.
pub struct Words;

impl BusErrorType for Words {
    type Error = Stuck;
}

impl SpiDevice for Words {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Stuck> {
        if stuck() {
            return Err(Stuck);
        }
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
pub struct Latch;

impl PinErrorType for Latch {
    type Error = core::convert::Infallible;
}

impl OutputPin for Latch {
    fn set_low(&mut self) -> Result<(), Self::Error> {
        // Its moment first: what follows takes its time.
        let now = board::now();
        cortex_m::interrupt::free(|token| {
            let mut shown = SHOWN.borrow(token).borrow_mut();
            *shown = (*LOADED.borrow(token).borrow(), now, shown.2);
        });
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }
}

/// The pins of the marks: each time they are set, the analyser records how everything stands.
pub struct Pins(Analyser);

impl Pins {
    /// The pins, all low.
    pub fn open() -> Pins {
        Pins(Analyser::open())
    }
}

impl MarkPins for Pins {
    fn set(&mut self, marks: Marks) {
        let (shown, latched, heard) = cortex_m::interrupt::free(|token| {
            let (shown, latched, frames) = &mut *SHOWN.borrow(token).borrow_mut();
            *frames = frames.saturating_add(marks.has(Marks::SHOWN).into());
            (*shown, *latched, HEARD.borrow(token).get())
        });
        // Three moments, then the words as in a raw file and the marks, two in each word of the record.
        let mut record = [0; 3 + REGISTERS / 2 + 1];
        record[..3].copy_from_slice(&[latched, board::now(), heard]);
        for (i, half) in shown.map(u16::from_be_bytes).into_iter().chain([marks.bits().into()]).enumerate() {
            record[3 + i / 2] |= u32::from(half) << (16 * (i % 2));
        }
        self.0.record(record);
    }
}
