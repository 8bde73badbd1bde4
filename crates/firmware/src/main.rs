//! The core on a Cortex-M4F: plays the demonstration script, prints its digests, and what playing it takes.
//!
//! Prints lines of `name value unit` to the debugger's host and ends with the host's exit code 0, or 1 if something did not work.
//! `frames.` lines must be those of any other machine; the others are figures of this one.
//! See `docs/microcontroller.md`; `.ci/firmware` runs it and compares.
#![no_std]
#![no_main]

mod board;
#[path = "../../../tests/golden/demonstration.rs"]
mod demonstration;
mod host_lines;

use board::{INSTRUCTIONS_PER_TICK, Timer};
use core::hint::black_box;
use core::panic::PanicInfo;
use cortex_m_rt::entry;
use cortex_m_semihosting::debug;
use demonstration::{Lines, Tally, player, programs};
use host_lines::HostLines;
use pulsewright_core::frame::{Frame, Lead};
use pulsewright_core::player::Player;
use pulsewright_core::script::Script;

/// Frames in a block: 16 ms of signal, as a converter's buffer of a rig might hold.
const BLOCK: usize = 16;

/// Turns of the loop that checks what the timer counts.
const KNOWN_TURNS: u32 = 1_000_000;

/// The leads that a rig puts out, computed within the measured time.
const LEADS: [Lead; 12] = [
    Lead::I,
    Lead::II,
    Lead::III,
    Lead::AVR,
    Lead::AVL,
    Lead::AVF,
    Lead::V1,
    Lead::V2,
    Lead::V3,
    Lead::V4,
    Lead::V5,
    Lead::V6,
];

/// Instructions spent on frames.
#[derive(Clone, Copy, Default)]
struct Work {
    frames: u64,
    instructions: u64,
    /// Most for one call, per frame of it.
    worst: u64,
}

impl Work {
    fn with(self, other: Work) -> Work {
        Work {
            frames: self.frames + other.frames,
            instructions: self.instructions + other.instructions,
            worst: self.worst.max(other.worst),
        }
    }

    fn average(&self) -> u64 {
        self.instructions / self.frames.max(1)
    }
}

fn exit(ok: bool) -> ! {
    debug::exit(if ok { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE });
    // Without a host there is nobody to exit to.
    loop {
        cortex_m::asm::wfi();
    }
}

#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    exit(false)
}

#[entry]
fn main() -> ! {
    let Some(mut lines) = HostLines::open() else { exit(false) };
    let timer = Timer::start();
    let start = timer.ticks();
    board::known_loop(KNOWN_TURNS);
    let ticks = timer.ticks().wrapping_sub(start);
    lines.figure(&["timer", "check"], u64::from(ticks) * INSTRUCTIONS_PER_TICK, "instructions");
    lines.figure(&["float", "mode"], u64::from(board::float_mode()), "fpscr");
    let mut blocks = Work::default();
    let mut singles = Work::default();
    for (words, script) in programs() {
        let Ok(script) = script else { exit(false) };
        let (tally, work) = play::<BLOCK>(&script, &timer);
        tally.tell(words, &mut lines);
        lines.figure(&["work", words[0], words[1], "average"], work.average(), "instructions/frame");
        lines.figure(&["work", words[0], words[1], "worst-block"], work.worst, "instructions/frame");
        blocks = blocks.with(work);
        let (same, work) = play::<1>(&script, &timer);
        if same != tally {
            exit(false);
        }
        singles = singles.with(work);
    }
    lines.figure(&["work", "average"], blocks.average(), "instructions/frame");
    lines.figure(&["work", "worst-block"], blocks.worst, "instructions/frame");
    lines.figure(&["work", "single", "average"], singles.average(), "instructions/frame");
    lines.figure(&["work", "single", "worst"], singles.worst, "instructions/frame");
    lines.figure(&["ram", "player"], size_of::<Player>() as u64, "bytes");
    lines.figure(&["ram", "stack"], u64::from(board::stack_used()), "bytes");
    exit(true)
}

/// Plays to the end by blocks of `N` frames, measuring each; what is hashed is hashed outside the measured time.
fn play<const N: usize>(script: &Script, timer: &Timer) -> (Tally, Work) {
    let mut playing = player(script);
    let mut tally = Tally::default();
    let mut work = Work::default();
    let mut block = [Frame::default(); N];
    loop {
        let start = timer.ticks();
        let n = playing.fill(&mut block);
        let filled = block.get(..n).unwrap_or(&[]);
        for frame in filled {
            black_box(LEADS.map(|lead| frame.lead_mv(lead)));
        }
        let instructions = u64::from(timer.ticks().wrapping_sub(start)) * INSTRUCTIONS_PER_TICK;
        if n == 0 {
            return (tally, work);
        }
        work = work.with(Work { frames: n as u64, instructions, worst: instructions / N as u64 });
        tally.take(filled);
    }
}
