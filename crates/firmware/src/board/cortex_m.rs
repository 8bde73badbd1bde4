//! The emulated Arm board: its start, its timer, its floating-point mode, its stack.
//!
//! With `riscv.rs` and `src/rig/board.rs` the only modules with `unsafe`, and the only ones to rewrite for another board.
//! Addresses: Arm application note AN386 (MPS2 FPGA image for Cortex-M4), memory map; timer registers: Arm Cortex-M System
//! Design Kit technical reference manual, APB timer.

use core::arch::asm;
use core::ptr::{read_volatile, write_volatile};

use cortex_m_semihosting::debug;
use cortex_m_semihosting::hio::hstdout;

pub use cortex_m_rt::entry;
pub use cortex_m_semihosting::hio::HostStream as Host;

const TIMER_CTRL: *mut u32 = 0x4000_0000 as *mut u32;
const TIMER_VALUE: *mut u32 = 0x4000_0004 as *mut u32;
const TIMER_RELOAD: *mut u32 = 0x4000_0008 as *mut u32;

/// Instructions per tick of the timer: it runs at 25 MHz, and the emulator is started so that an instruction takes 1 ns.
pub const INSTRUCTIONS_PER_TICK: u64 = 40;

/// The standard output of the debugger's host; `None` if no host answers.
pub fn host() -> Option<Host> {
    hstdout().ok()
}

/// Ends the emulator, with 0 or 1.
pub fn exit(ok: bool) {
    debug::exit(if ok { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE });
}

/// Bits of FPSCR that change results: alternative half precision, default NaN, flush to zero, rounding mode.
#[cfg(target_abi = "eabihf")]
const FPSCR_MODE_BITS: u32 = 0x07C0_0000;

/// A timer that has been started; it counts for 171 s of board time before it wraps.
pub struct Timer(());

impl Timer {
    /// Starts the board's first timer from its highest count, without interrupts.
    pub fn start() -> Timer {
        // SAFETY: the three addresses are the timer's registers on this board, and nothing else uses them.
        unsafe {
            write_volatile(TIMER_CTRL, 0);
            write_volatile(TIMER_RELOAD, u32::MAX);
            write_volatile(TIMER_VALUE, u32::MAX);
            write_volatile(TIMER_CTRL, 1);
        }
        Timer(())
    }

    /// Ticks since the start, modulo 2^32; subtract two readings with `wrapping_sub`.
    pub fn ticks(&self) -> u32 {
        // SAFETY: reading the count has no side effect.
        u32::MAX.wrapping_sub(unsafe { read_volatile(TIMER_VALUE) })
    }
}

/// Runs `2 * turns + 1` instructions (a subtraction and a branch each turn), to check what the timer counts.
pub fn known_loop(turns: u32) {
    // SAFETY: touches the one register given and the flags.
    unsafe {
        asm!(
            "2:",
            "subs r3, r3, #1",
            "bne 2b",
            inout("r3") turns => _,
            options(nomem, nostack),
        );
    }
}

/// The bits of the floating-point status register that change results: 0 is round to nearest, subnormals kept. The compiler's routines
/// of a processor without a unit have no other mode.
#[cfg(not(target_abi = "eabihf"))]
pub fn float_mode() -> u32 {
    0
}

/// The bits of the floating-point status register that change results: 0 is round to nearest, subnormals kept.
#[cfg(target_abi = "eabihf")]
pub fn float_mode() -> u32 {
    let fpscr: u32;
    // SAFETY: reads a register; the start-up code has switched the unit on.
    unsafe { asm!("vmrs {f}, fpscr", f = out(reg) fpscr, options(nomem, nostack, preserves_flags)) };
    fpscr & FPSCR_MODE_BITS
}

unsafe extern "C" {
    static _stack_start: u32;
    static _stack_end: u32;
}

/// Deepest use of the stack so far, in bytes: the start-up code has painted all of it, and words still painted were never used.
pub fn stack_used() -> Option<u32> {
    let top = &raw const _stack_start as u32;
    let mut address = &raw const _stack_end as u32;
    // SAFETY: between the linker's two symbols lies RAM that is only the stack's; words below its deepest use are not written.
    while address < top && unsafe { read_volatile(address as *const u32) } == cortex_m_rt::STACK_PAINT_VALUE {
        address += 4;
    }
    Some(top - address)
}
