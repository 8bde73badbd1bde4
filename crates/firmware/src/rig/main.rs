//! A board that drives the converters of a bench rig with the frames of a host, on an emulated Cortex-M4F.
//!
//! Frames come over the first serial port by the link of `pulsewright-device`; a timer interrupt hands them to the converters. The
//! converters are modelled: a logic analyser in the board's external memory records each latch with its moment, in counts of the timer,
//! and its words, where a test reads them. On a part of yours replace `board` and `model`; the rest stays.
//!
//! **For test benches only**: never to a person, nor to equipment connected to one.
#![no_std]
#![no_main]

mod bench;
mod board;
mod model;
mod output;

use board::{Port, Ticker};
use cortex_m_rt::entry;
use heapless::spsc::Queue;
use output::{OUTPUTS, rest_for_ever, with_stage};
use pulsewright_device::link::packet::MAX_PACKET;
use pulsewright_device::link::{BoardLink, HEAD_START, HostRequest};
use pulsewright_device::stage::{RestCause, RigFrame, Stage, State};
use pulsewright_device::wiring::Wiring;

/// Frames that wait at most: a quarter of a second at 1000 frames a second.
const ROOM: usize = 256;
/// Frames that wait while the clocks of host and board agree.
const TARGET: usize = HEAD_START as usize;
/// Ticks without a frame before the outputs go to rest.
const PATIENCE: u32 = 20;

#[entry]
fn main() -> ! {
    let Ok(wiring) = Wiring::of_image(&bench::BENCH) else { rest_for_ever() };
    let Some(queue) = cortex_m::singleton!(: Queue<RigFrame<OUTPUTS>, ROOM> = Queue::new()) else { rest_for_ever() };
    let (frames, shown) = queue.split();
    board::start_clock();
    let mut link: BoardLink<'_, OUTPUTS> = BoardLink::new(&wiring, frames);
    let mut port = Port::open();
    output::open_stage(&wiring, shown, PATIENCE);
    let mut ticker = Ticker::start(1000);
    let mut state = State::Resting(RestCause::NotStarted);
    loop {
        while let Some(byte) = port.read() {
            match link.take(byte, board::millis()) {
                // The host asks again until it hears that frames are shown: their period must not begin anew.
                Some(HostRequest::Start { hz }) if with_stage(|stage| stage.state()) != Some(State::Playing) => {
                    ticker.set(hz);
                    with_stage(Stage::start);
                }
                Some(HostRequest::Start { .. }) => {}
                Some(HostRequest::Stop) => {
                    with_stage(|stage| stage.stop(RestCause::Stopped));
                }
                None => {}
            }
        }
        if let Some(at) = link.heard_at() {
            model::heard(at);
        }
        if link.is_silent(board::millis()) {
            with_stage(|stage| stage.stop(RestCause::Silence));
        }
        let seen = with_stage(|stage| (stage.state(), stage.status(), stage.trim_ppm(TARGET)));
        let Some((now, status, trim)) = seen else { rest_for_ever() };
        ticker.trim(trim);
        if now != state {
            state = now;
            link.report();
        }
        let mut packet = [0; MAX_PACKET];
        while let Some(answer) = link.answer(status, &mut packet) {
            answer.iter().for_each(|byte| port.write(*byte));
        }
        // The port or the timer wakes it.
        cortex_m::asm::wfi();
    }
}
