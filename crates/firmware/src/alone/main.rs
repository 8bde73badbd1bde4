//! A board that drives the converters of a bench rig by itself, on an emulated Cortex-M4F or Cortex-M0+: it plays a script out of a
//! region of its memory, without a computer.
//!
//! Lines of text over the first serial port lead it (`rhythm WORD`, `next`, `hold`, `rest`, `play`); it answers each with the number of
//! the first frame that the order holds for. Two buttons are `next` and `hold`. The converters are modelled as those of
//! `pulsewright-rig`. On a part of yours replace `board` and `model`; the rest stays.
//!
//! **For test benches only**: never to a person, nor to equipment connected to one.
#![no_std]
#![no_main]

#[path = "../rig/bench.rs"]
mod bench;
#[path = "../rig/board.rs"]
mod board;
#[path = "../rig/model.rs"]
mod model;
#[path = "../rig/output.rs"]
mod output;

use board::{Port, Ticker};
use core::fmt::Write;
use cortex_m_rt::entry;
use heapless::spsc::Queue;
use output::{OUTPUTS, rest_for_ever, with_stage};
use pulsewright_core::image::Image;
use pulsewright_core::time::FrameRate;
use pulsewright_device::alone::{BoardOrder, Button, HELP, LineCollector, StandalonePlayer};
use pulsewright_device::stage::{RestCause, RigFrame, Stage, State};
use pulsewright_device::wiring::Wiring;

/// Frames that wait at most: four blocks, so that an order is shown within a quarter of a second.
const ROOM: usize = 65;
/// Frames a second.
const RATE: FrameRate = FrameRate::lit(250);
/// Ticks without a frame before the outputs go to rest.
const PATIENCE: u32 = 10;

/// Words for a state of the output stage.
fn words(state: State) -> &'static str {
    match state {
        State::Playing => "plays",
        State::Resting(RestCause::NotStarted) => "rests: not started",
        State::Resting(RestCause::Stopped) => "rests: stopped",
        State::Resting(RestCause::Underrun) => "rests: no frames",
        State::Resting(RestCause::Converter) => "rests: a converter",
        State::Resting(RestCause::Silence) => "rests: silence",
    }
}

#[entry]
fn main() -> ! {
    let Ok(wiring) = Wiring::of_image(&bench::BENCH) else { rest_for_ever() };
    let Some(queue) = cortex_m::singleton!(: Queue<RigFrame<OUTPUTS>, ROOM> = Queue::new()) else { rest_for_ever() };
    let (mut frames, shown) = queue.split();
    board::start_clock();
    let mut port = Port::open();
    output::open_stage(&wiring, shown, PATIENCE);
    let _ticker = Ticker::start(RATE.as_hz());
    let image = match Image::new(board::script()) {
        Ok(image) => image,
        Err(error) => {
            // At rest for ever, with the reason.
            let _ = writeln!(port, "no script: {error}");
            loop {
                cortex_m::asm::wfi();
            }
        }
    };
    let mut alone = StandalonePlayer::new(image, RATE);
    let mut typed = LineCollector::default();
    let mut buttons = [(Button::default(), BoardOrder::Next, "next"), (Button::default(), BoardOrder::Hold, "hold")];
    let mut state = State::Resting(RestCause::NotStarted);
    alone.fill(&wiring, &mut frames);
    with_stage(Stage::start);
    loop {
        while let Some(byte) = port.read() {
            if typed.take(byte) {
                let line = typed.line();
                carry_out(BoardOrder::read(line), line, &mut alone, &mut port);
            }
        }
        let down = board::buttons();
        for (number, (button, order, name)) in buttons.iter_mut().enumerate() {
            if button.look(down & 1 << number != 0) {
                carry_out(Some(*order), name, &mut alone, &mut port);
            }
        }
        alone.fill(&wiring, &mut frames);
        let Some(now) = with_stage(|stage| stage.state()) else { rest_for_ever() };
        if now != state {
            state = now;
            let _ = writeln!(port, "{}", words(state));
        }
        // The port or the timer wakes it.
        cortex_m::asm::wfi();
    }
}

/// Carries out an order and answers it. The port never fails.
fn carry_out(order: Option<BoardOrder<'_>>, line: &str, alone: &mut StandalonePlayer<'_>, port: &mut Port) {
    let Some(order) = order else {
        let _ = writeln!(port, "no order: {line}; orders: {HELP}");
        return;
    };
    match (order, alone.apply(order)) {
        (_, None) => drop(writeln!(port, "the script has no such rhythm: {line}")),
        (BoardOrder::Rest, _) => drop(with_stage(|stage| stage.stop(RestCause::Stopped))),
        (BoardOrder::Play, _) => drop(with_stage(Stage::start)),
        (_, Some(frame)) => drop(writeln!(port, "{frame} {line}")),
    }
}
