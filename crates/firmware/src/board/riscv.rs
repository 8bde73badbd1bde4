//! The emulated RISC-V board: its timer, its start.
//!
//! Addresses and rates: documentation of the emulator's `virt` machine; RISC-V Advanced Core Local Interruptor specification, MTIME.

use core::arch::asm;
use core::ptr::read_volatile;

use semihosting::io::stdout;

pub use riscv_rt::entry;
pub use semihosting::io::Stdout as Host;

/// Low half of the timer's count.
const MTIME: *const u32 = 0x0200_BFF8 as *const u32;

/// Instructions per tick of the timer: it runs at 10 MHz, and the emulator is started so that an instruction takes 1 ns.
pub const INSTRUCTIONS_PER_TICK: u64 = 100;

/// The timer, which counts from the start-up on; it wraps after 429 s of board time.
pub struct Timer(());

impl Timer {
    /// The timer, which runs already.
    pub fn start() -> Timer {
        Timer(())
    }

    /// Ticks since the start-up, modulo 2^32; subtract two readings with `wrapping_sub`.
    pub fn ticks(&self) -> u32 {
        // SAFETY: the address is the timer's count on this board, and reading it has no side effect.
        unsafe { read_volatile(MTIME) }
    }
}

/// The standard output of the debugger's host; `None` if no host answers.
pub fn host() -> Option<Host> {
    stdout().ok()
}

/// Ends the emulator, with 0 or 1.
pub fn exit(ok: bool) {
    semihosting::process::exit(i32::from(!ok));
}

/// Runs `2 * turns` instructions (a subtraction and a branch each turn), to check what the timer counts.
pub fn known_loop(turns: u32) {
    // SAFETY: touches the one register given.
    unsafe {
        asm!("2:", "addi {left}, {left}, -1", "bnez {left}, 2b", left = inout(reg) turns => _, options(nomem, nostack))
    };
}

/// Bits that change results: none. The compiler's routines of a processor without floating point have one mode.
pub fn float_mode() -> u32 {
    0
}

/// The deepest use of the stack is not measured: the start-up code does not paint it.
pub fn stack_used() -> Option<u32> {
    None
}
