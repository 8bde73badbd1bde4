//! The core on a Cortex-M4F, a Cortex-M0+ or a RISC-V processor: plays an image of the demonstration script, prints its digests, and
//! how many instructions a frame takes.
//!
//! Prints lines of `name value unit` to the debugger's host and ends with the host's exit code 0, or 1 if something did not work.
//! `frames.` lines must be those of any other machine; the others are figures of this one.
//! See `docs/microcontroller.md`; `.ci/firmware` runs it and compares.
#![no_std]
#![no_main]

#[cfg_attr(target_arch = "arm", path = "board/cortex_m.rs")]
#[cfg_attr(target_arch = "riscv32", path = "board/riscv.rs")]
mod board;
#[path = "../../../tests/golden/demonstration.rs"]
mod demonstration;
mod host_lines;

use board::{INSTRUCTIONS_PER_TICK, Timer};
use core::hint::black_box;
use core::panic::PanicInfo;
use demonstration::{Lines, RATE, SEQUENCE, Tally, with_pressures, words};
use host_lines::HostLines;
use pulsewright_core::frame::Frame;
use pulsewright_core::image::Image;
use pulsewright_core::player::Player;

/// The demonstration script as `build.rs` has written it.
static IMAGE: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/demonstration.pwi"));

const IMPORTED_BYTES: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/imported.bin"));

/// The catalogue once more, exported as documents and imported: `tests/examples/imported.rs` describes the records. Beyond the flash
/// of a small part, as only this check has them.
#[unsafe(link_section = ".imported")]
static IMPORTED: [u8; IMPORTED_BYTES.len()] = *include_bytes!(concat!(env!("OUT_DIR"), "/imported.bin"));

/// The imported program of a body with residuals, which has no counterpart in the catalogue.
const RESIDUALS: [&str; 2] = ["all", "residuals"];

/// Frames in a block: 16 ms of signal, as a converter's buffer of a rig might hold.
const BLOCK: usize = 16;

/// Whether only a few of the programs are played.
const FEW: bool = cfg!(feature = "few");

/// Every program, or every so many of them.
const STEP: usize = if FEW { 13 } else { 1 };

/// Turns of the loop that checks what the timer counts.
const KNOWN_TURNS: u32 = 1_000_000;

/// Instructions spent on frames.
#[derive(Clone, Copy, Default)]
struct Work {
    frames: u64,
    instructions: u64,
    /// Most for the first call for frames of a program, which a board makes before anything waits for them; per frame of it.
    first: u64,
    /// Most for another call, per frame of it.
    later: u64,
}

impl Work {
    fn with(self, other: Work) -> Work {
        Work {
            frames: self.frames + other.frames,
            instructions: self.instructions + other.instructions,
            first: self.first.max(other.first),
            later: self.later.max(other.later),
        }
    }

    /// Most for one call, per frame of it.
    fn worst(&self) -> u64 {
        self.first.max(self.later)
    }

    fn average(&self) -> u64 {
        self.instructions / self.frames.max(1)
    }
}

fn exit(ok: bool) -> ! {
    board::exit(ok);
    // Without a host there is no place to exit to.
    loop {
        core::hint::spin_loop();
    }
}

#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    exit(false)
}

#[board::entry]
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
    let start = timer.ticks();
    let Ok(image) = Image::new(IMAGE) else { exit(false) };
    let ticks = timer.ticks().wrapping_sub(start);
    lines.figure(&["work", "image"], u64::from(ticks) * INSTRUCTIONS_PER_TICK, "instructions");
    let mut block = [Frame::default(); BLOCK];
    let mut single = [Frame::default()];
    let mut copies = Work::default();
    let mut count = 0;
    for (words, program) in programs(image).step_by(STEP) {
        let (tally, work) = play(&program, &program, &timer, &mut block);
        tally.write(words, &mut lines);
        lines.figure(&["work", words[0], words[1], "average"], work.average(), "instructions/frame");
        lines.figure(&["work", words[0], words[1], "worst-block"], work.worst(), "instructions/frame");
        blocks = blocks.with(work);
        if FEW {
            continue;
        }
        let (same, work) = play(&program, &program, &timer, &mut single);
        if same != tally {
            exit(false);
        }
        singles = singles.with(work);
        if let Some((digest, copy)) = imported(words) {
            let Ok(copy) = Image::new(copy) else { exit(false) };
            let (same, work) = play(&copy, &program, &timer, &mut block);
            if same != tally || same.digest() != digest {
                exit(false);
            }
            copies = copies.with(work);
            count += 1;
        }
    }
    lines.figure(&["work", "imported", "average"], copies.average(), "instructions/frame");
    lines.figure(&["work", "imported", "worst-block"], copies.worst(), "instructions/frame");
    if let Some((digest, curved)) = imported(RESIDUALS) {
        let Ok(curved) = Image::new(curved) else { exit(false) };
        let (tally, work) = play(&curved, &curved, &timer, &mut block);
        if tally.digest() != digest {
            exit(false);
        }
        lines.figure(&["work", "residuals", "average"], work.average(), "instructions/frame");
        lines.figure(&["work", "residuals", "worst-block"], work.worst(), "instructions/frame");
        count += 1;
    }
    lines.figure(&["imported", "programs"], count, "programs");
    lines.figure(&["work", "average"], blocks.average(), "instructions/frame");
    lines.figure(&["work", "worst-block"], blocks.worst(), "instructions/frame");
    if !FEW {
        lines.figure(&["work", "single", "average"], singles.average(), "instructions/frame");
        lines.figure(&["work", "single", "first"], singles.first, "instructions/frame");
        lines.figure(&["work", "single", "worst"], singles.later, "instructions/frame");
    }
    lines.figure(&["ram", "player"], size_of::<Player>() as u64, "bytes");
    if let Some(bytes) = board::stack_used() {
        lines.figure(&["ram", "stack"], bytes.into(), "bytes");
    }
    exit(true)
}

/// Every program with its words: each step alone, then all.
fn programs(image: Image<'static>) -> impl Iterator<Item = ([&'static str; 2], Image<'static>)> {
    let alone = (0..image.items()).filter_map(move |item| {
        let alone = image.alone(item)?;
        Some((words(&alone.timeline().next()?.step)?, alone))
    });
    alone.chain(core::iter::once((SEQUENCE, image)))
}

/// The digest and the image of the imported program with these words.
fn imported(words: [&str; 2]) -> Option<(u64, &'static [u8])> {
    let mut rest: &'static [u8] = &IMPORTED;
    loop {
        let (&length, named) = rest.split_first()?;
        let (name, after) = named.split_at_checked(length.into())?;
        let (digest, image) = after.split_first_chunk()?;
        // An image says its length.
        let length = u32::from_le_bytes(*image.get(12..)?.first_chunk()?);
        let (image, others) = image.split_at_checked(length as usize)?;
        let mut parts = name.split(|byte| *byte == b'.');
        if words.iter().all(|word| parts.next() == Some(word.as_bytes())) {
            return Some((u64::from_le_bytes(*digest), image));
        }
        rest = others;
    }
}

/// Plays to the end, with the pressures of `named`, by blocks of this many frames and measures each; hashing is outside the
/// measured time.
fn play(image: &Image, named: &Image, timer: &Timer, block: &mut [Frame]) -> (Tally, Work) {
    let mut playing = with_pressures(Player::of_image(image, RATE), named.timeline());
    let mut tally = Tally::default();
    let mut work = Work::default();
    loop {
        let start = timer.ticks();
        let n = playing.fill(block);
        let filled = block.get(..n).unwrap_or(&[]);
        for frame in filled {
            black_box(frame.twelve_leads_mv());
        }
        let instructions = u64::from(timer.ticks().wrapping_sub(start)) * INSTRUCTIONS_PER_TICK;
        if n == 0 {
            return (tally, work);
        }
        let most = instructions / block.len().max(1) as u64;
        let (first, later) = if work.frames == 0 { (most, 0) } else { (0, most) };
        work = work.with(Work { frames: n as u64, instructions, first, later });
        tally.take(filled);
    }
}
