//! The emulated board: its clock, its system timer, a serial port, its external memory.
//!
//! With `src/board/` the only modules with `unsafe`, and the only ones to rewrite for another board. Addresses: Arm application
//! note AN386 (MPS2 FPGA image for Cortex-M4), memory map, the same as in AN385 for Cortex-M3; registers: Arm Cortex-M System
//! Design Kit technical reference manual, APB timer and APB UART. Each program uses a part of this module.
#![allow(dead_code)]

use core::cell::RefCell;
use core::ptr::{read_volatile, write_volatile};
use core::sync::atomic::{AtomicU32, Ordering};
use cortex_m::interrupt::Mutex;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m::peripheral::{NVIC, SYST};
use cortex_m_rt::exception;
use heapless::Deque;

/// Counts of the timer and of the system timer a second.
pub const CLOCK_HZ: u32 = 25_000_000;

const TIMER: usize = 0x4000_0000;
const LINK_PORT: usize = 0x4000_4000;

fn read(address: usize) -> u32 {
    // SAFETY: only addresses of this board's timer, ports, buttons and external memory are read, and reading them is defined.
    unsafe { read_volatile(address as *const u32) }
}

fn write(address: usize, value: u32) {
    // SAFETY: only registers of this board's timer and port and words of its external memory are written; each has one owner here.
    unsafe { write_volatile(address as *mut u32, value) }
}

/// Starts the clock that [`now`] reads.
pub fn start_clock() {
    write(TIMER, 0);
    write(TIMER + 8, u32::MAX);
    write(TIMER + 4, u32::MAX);
    write(TIMER, 1);
}

/// Counts of the clock since its start, modulo 2^32.
pub fn now() -> u32 {
    u32::MAX.wrapping_sub(read(TIMER + 4))
}

/// Counts of whole wraps of the clock, seen by the tick.
static WRAPS: AtomicU32 = AtomicU32::new(0);
static LAST: AtomicU32 = AtomicU32::new(0);

/// Looks for a wrap of the clock, far more often than it wraps: at every tick and whenever the time is asked for. No interrupt may come
/// between, so it is called by the tick or with interrupts off.
pub fn count_tick() {
    let (now, last) = (now(), LAST.load(Ordering::Relaxed));
    LAST.store(now, Ordering::Relaxed);
    if now < last {
        WRAPS.store(WRAPS.load(Ordering::Relaxed).wrapping_add(1), Ordering::Relaxed);
    }
}

/// Milliseconds since the start, modulo 2^32.
pub fn millis() -> u32 {
    // Between a wrap and the next tick only this look finds the wrap; no tick comes between the look and the sum.
    cortex_m::interrupt::free(|_| {
        count_tick();
        // 2^32 counts are 171 798 ms and 17 280 counts: the wrap is a third of a millisecond off, once in three minutes.
        WRAPS
            .load(Ordering::Relaxed)
            .wrapping_mul(171_799)
            .wrapping_add(LAST.load(Ordering::Relaxed) / (CLOCK_HZ / 1000))
    })
}

/// The system timer, whose interrupt is a tick.
pub struct Ticker {
    timer: SYST,
    /// Counts of a period.
    period: u32,
}

impl Ticker {
    /// Ticks `hz` times a second.
    pub fn start(hz: u32) -> Ticker {
        // SAFETY: the only use of the core's peripherals in this program.
        let peripherals = unsafe { cortex_m::Peripherals::steal() };
        let mut timer = peripherals.SYST;
        timer.set_clock_source(SystClkSource::Core);
        let mut ticker = Ticker { timer, period: 0 };
        ticker.set(hz);
        ticker.timer.enable_interrupt();
        ticker.timer.enable_counter();
        ticker
    }

    /// Ticks `hz` times a second from now on.
    pub fn set(&mut self, hz: u32) {
        self.period = CLOCK_HZ / hz.clamp(2, CLOCK_HZ / 1000);
        self.timer.set_reload(self.period - 1);
        self.timer.clear_current();
    }

    /// Makes the periods after this one longer by so many millionths, or shorter.
    pub fn trim(&mut self, ppm: i32) {
        let counts = i64::from(self.period) * i64::from(ppm) / 1_000_000;
        self.timer.set_reload((i64::from(self.period) + counts) as u32 - 1);
    }
}

fn open(port: usize, control: u32) {
    // The least that the port takes: the emulator sends at once.
    write(port + 16, 16);
    write(port + 8, control);
}

/// Bytes of the link that wait for the main loop.
static RECEIVED: Mutex<RefCell<Deque<u8, 1024>>> = Mutex::new(RefCell::new(Deque::new()));

/// The serial port of the link.
pub struct Port(());

/// Its interrupt for a byte that has come.
#[derive(Clone, Copy)]
struct Received;

// SAFETY: interrupt 0 of this board is "UART 0 receive".
unsafe impl cortex_m::interrupt::InterruptNumber for Received {
    fn number(self) -> u16 {
        0
    }
}

/// A byte has come: the port holds one alone, so it is taken at once. A byte without room is lost, and its packet comes again.
#[exception]
unsafe fn DefaultHandler(_: i16) {
    write(LINK_PORT + 12, 2);
    while read(LINK_PORT + 4) & 2 != 0 {
        let byte = read(LINK_PORT) as u8;
        cortex_m::interrupt::free(|token| RECEIVED.borrow(token).borrow_mut().push_back(byte).unwrap_or(()));
    }
}

impl Port {
    /// Opens it; a byte that comes wakes the processor.
    pub fn open() -> Port {
        // Transmit, receive, interrupt at a received byte.
        open(LINK_PORT, 0b1011);
        // SAFETY: no critical section relies on this interrupt being masked by number.
        unsafe { NVIC::unmask(Received) };
        Port(())
    }

    /// The byte that has come, if one has.
    pub fn read(&mut self) -> Option<u8> {
        cortex_m::interrupt::free(|token| RECEIVED.borrow(token).borrow_mut().pop_front())
    }

    /// Sends a byte.
    pub fn write(&mut self, byte: u8) {
        send(LINK_PORT, byte);
    }
}

fn send(port: usize, byte: u8) {
    while read(port + 4) & 1 != 0 {}
    write(port, u32::from(byte));
}

impl core::fmt::Write for Port {
    fn write_str(&mut self, text: &str) -> core::fmt::Result {
        text.bytes().for_each(|byte| self.write(byte));
        Ok(())
    }
}

/// The board's external memory. Its start stands for a region of flash that holds a script's image and is written without the program.
const MEMORY: usize = 0x2100_0000;
/// Room for the image.
const SCRIPT_ROOM: usize = 0x0010_0000;
/// Behind it what a test asks of the modelled converters: after how many frames they fail, and for how many milliseconds.
const FAULT: usize = MEMORY + SCRIPT_ROOM;
/// How many records the logic analyser has.
const RECORDED: usize = FAULT + 16;
/// Its records, up to the end of the memory.
const RECORDS: usize = FAULT + 0x1000;
const RECORD_ROOM: usize = MEMORY + 0x0100_0000 - RECORDS;

/// The bytes of the script's image, as many as its header says; the core checks them.
pub fn script() -> &'static [u8] {
    let length = (read(MEMORY + 12) as usize).min(SCRIPT_ROOM);
    // SAFETY: the whole region is memory of this board, and nothing writes to it while the program runs.
    unsafe { core::slice::from_raw_parts(MEMORY as *const u8, length) }
}

/// After how many frames the modelled converters fail, 0 for never, and for how long, ms.
pub fn fault() -> (u32, u32) {
    (read(FAULT), read(FAULT + 4))
}

/// The buttons that are down, a bit each. The emulated board has none down.
pub fn buttons() -> u32 {
    read(0x4002_8008)
}

/// The modelled logic analyser: it keeps words in the external memory, where a test reads them, until that is full.
pub struct Analyser(usize);

impl Analyser {
    /// Without records.
    pub fn open() -> Analyser {
        write(RECORDED, 0);
        Analyser(0)
    }

    /// Keeps a record.
    pub fn record<const WORDS: usize>(&mut self, words: [u32; WORDS]) {
        let place = self.0 * WORDS * 4;
        if place + WORDS * 4 > RECORD_ROOM {
            return;
        }
        for (word, offset) in words.into_iter().zip((place..).step_by(4)) {
            write(RECORDS + offset, word);
        }
        self.0 += 1;
        write(RECORDED, self.0 as u32);
    }
}
