//! A host and a board over a pseudo-terminal that loses and changes bytes.
#![cfg(unix)]

use heapless::spsc::Queue;
use pulsewright_core::time::FrameRate;
use pulsewright_device::converter::Converters;
use pulsewright_device::fixed::Slope;
use pulsewright_device::link::packet::MAX_PACKET;
use pulsewright_device::link::{Board, Heard};
use pulsewright_device::stage::{Cause, RigFrame, Stage};
use pulsewright_device::wiring::{Output, Source, Wiring};
use pulsewright_stream::link::BoardWriter;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use std::fs::File;
use std::io::{Read, Write};
use std::os::unix::ffi::OsStrExt;
use std::path::PathBuf;
use std::sync::mpsc;
use std::thread;
use std::time::{Duration, Instant};

const FRAMES: u16 = 400;
const REST: i32 = -7;

/// Keeps every set of words that is shown.
#[derive(Default)]
struct Words(Vec<i32>, Vec<Vec<i32>>);

impl Converters for &mut Words {
    type Error = ();

    fn load(&mut self, codes: &[i32]) -> Result<(), ()> {
        self.0 = codes.to_vec();
        Ok(())
    }

    fn latch(&mut self) -> Result<(), ()> {
        self.1.push(self.0.clone());
        Ok(())
    }
}

fn wiring() -> Wiring {
    let slope = Slope { mantissa: 1 << 30, shift: 20, offset: 0 };
    Wiring::new(&[Output { source: Source::Reference, slope, rest: REST }; 2], (-32_768, 32_767)).unwrap()
}

/// One byte in a hundred: every other of them is dropped, the others are changed.
struct Damage(u32);

impl Damage {
    fn number(&mut self) -> u32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        self.0 >> 8
    }

    fn carry(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut carried = Vec::new();
        for byte in bytes {
            match self.number() % 200 {
                0 => {}
                1 => carried.push(byte ^ 1 << (self.number() % 8)),
                _ => carried.push(*byte),
            }
        }
        carried
    }
}

/// The board's side of the line, until the host has gone silent; returns what was shown.
fn board(mut line: File) -> Vec<Vec<i32>> {
    // Reads in a thread of its own: a pseudo-terminal has no time limit for a read.
    let (bytes, incoming) = mpsc::channel();
    let mut reader = line.try_clone().unwrap();
    thread::spawn(move || {
        let mut buffer = [0; 256];
        // Until the other end has closed.
        while let Ok(count @ 1..) = reader.read(&mut buffer) {
            if bytes.send(buffer[..count].to_vec()).is_err() {
                break;
            }
        }
    });
    let (mut words, mut queue) = (Words::default(), Queue::<RigFrame<2>, 256>::new());
    let (producer, consumer) = queue.split();
    let mut stage: Stage<'_, _, _, _, 2> = Stage::new(&wiring(), (&mut words, (), ()), consumer, 0, 60);
    let mut link = Board::new(&wiring(), producer);
    let (mut there, mut back) = (Damage(1), Damage(2));
    let (start, mut ticks) = (Instant::now(), 0);
    let mut was = stage.state();
    loop {
        let now = start.elapsed().as_millis() as u32;
        match incoming.recv_timeout(Duration::from_millis(1)) {
            Ok(bytes) => {
                for byte in there.carry(&bytes) {
                    match link.take(byte, now) {
                        Some(Heard::Start { .. }) => stage.start(),
                        Some(Heard::Stop) => stage.stop(Cause::Stopped),
                        None => {}
                    }
                }
            }
            Err(mpsc::RecvTimeoutError::Timeout) => {}
            Err(mpsc::RecvTimeoutError::Disconnected) => break,
        }
        // 100 frames a second.
        while ticks < now / 10 {
            ticks += 1;
            stage.tick(now);
        }
        if stage.state() != was {
            was = stage.state();
            link.report();
        }
        let mut packet = [0; MAX_PACKET];
        while let Some(answer) = link.answer(stage.status(), &mut packet) {
            if line.write_all(&back.carry(answer)).is_err() {
                break;
            }
        }
    }
    words.1
}

#[test]
fn no_wrong_word_leaves_and_repeats_are_counted() {
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&master).unwrap();
    unlockpt(&master).unwrap();
    let name = ptsname(&master, Vec::new()).unwrap();
    let path = PathBuf::from(std::ffi::OsStr::from_bytes(name.to_bytes()));
    let shown = thread::spawn(move || board(File::from(master)));
    let mut host = BoardWriter::open(&path, &wiring(), 4, FrameRate::lit(100)).unwrap();
    let repeats = host.repeats();
    for n in 1..=FRAMES {
        host.write_all(&[n.to_le_bytes(), (!n).to_le_bytes()].concat()).unwrap();
    }
    drop(host);
    let shown = shown.join().unwrap();
    let played: Vec<&Vec<i32>> = shown.iter().filter(|words| **words != [REST, REST]).collect();
    let expected: Vec<Vec<i32>> =
        (1..=FRAMES).map(|n| vec![i32::from(n.cast_signed()), i32::from((!n).cast_signed())]).collect();
    assert_eq!(played, expected.iter().collect::<Vec<_>>());
    assert!(repeats.count() > 20, "{repeats:?}");
    println!("{} of {FRAMES} frames were sent more than once", repeats.count());
}
