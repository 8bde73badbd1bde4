//! The output stage of the boards that drive a rig: the timer interrupt shows its frames, the main loop starts and stops it.

use super::board;
use super::model::{Latch, Pins, Words};
use core::cell::RefCell;
use core::panic::PanicInfo;
use cortex_m::interrupt::Mutex;
use cortex_m_rt::exception;
use heapless::spsc::Consumer;
use pulsewright_device::converter::SpiConverters;
use pulsewright_device::stage::{RigFrame, Stage};
use pulsewright_device::wiring::{MAX_OUTPUTS, Wiring};

/// Outputs of the rig.
pub const OUTPUTS: usize = 13;

/// The output stage of this rig.
pub type RigStage = Stage<'static, SpiConverters<Words, Latch>, Pins, (), OUTPUTS>;

static STAGE: Mutex<RefCell<Option<RigStage>>> = Mutex::new(RefCell::new(None));

/// Makes the output stage, which goes to rest at once, and later after more than `patience` ticks without a frame.
pub fn open_stage(wiring: &Wiring, shown: Consumer<'static, RigFrame<OUTPUTS>>, patience: u32) {
    let mut addresses = [0; MAX_OUTPUTS];
    addresses.iter_mut().zip(0_u8..).for_each(|(address, number)| *address = number);
    let converters = SpiConverters::new(Words, Latch, addresses, 16);
    let stage = Stage::new(wiring, (converters, Pins::open(), ()), shown, 0, patience);
    cortex_m::interrupt::free(|token| STAGE.borrow(token).replace(Some(stage)));
}

/// Uses the output stage, while no interrupt does.
pub fn with_stage<R>(use_it: impl FnOnce(&mut RigStage) -> R) -> Option<R> {
    cortex_m::interrupt::free(|token| STAGE.borrow(token).borrow_mut().as_mut().map(use_it))
}

#[exception]
fn SysTick() {
    board::count_tick();
    with_stage(|stage| stage.tick(board::now()));
}

#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    rest_for_ever()
}

/// Stops for good: the interrupt that would show frames never comes again, and a watchdog resets the board.
pub fn rest_for_ever() -> ! {
    cortex_m::interrupt::disable();
    loop {
        cortex_m::asm::wfi();
    }
}
