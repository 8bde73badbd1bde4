//! A host and a board over a pseudo-terminal, by the clock.

use crate::board::{Frames, Line, Model, Words, frame, wiring, words};
use pulsewright_core::time::FrameRate;
use pulsewright_device::stage::{RestCause, State};
use pulsewright_stream::link::{BoardWriter, LinkReport};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use std::fs::File;
use std::io::{Read, Write};
use std::os::unix::ffi::OsStrExt;
use std::path::PathBuf;
use std::sync::mpsc;
use std::thread;
use std::time::{Duration, Instant};

/// Bytes of a million that the line drops, and as many that it changes.
#[derive(Clone, Copy)]
struct Wrong(u32);

/// The board's side of the line until the host has closed it; a converter fails once `fails_after` frames were shown. Returns what
/// was shown.
fn board(mut line: File, wrong: Wrong, fails_after: u64) -> Vec<Vec<i32>> {
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
    let (mut words, mut frames) = (Words::default(), Frames::new());
    let mut board = Model::new(&mut words, &mut frames, 60);
    let [mut there, mut back] = [1, 2].map(|seed| Line { seed, wrong: wrong.0 });
    let (start, mut ticks) = (Instant::now(), 0);
    loop {
        let now = start.elapsed().as_millis() as u32;
        match incoming.recv_timeout(Duration::from_millis(1)) {
            Ok(bytes) => board.hear(&there.carry(&bytes), now),
            Err(mpsc::RecvTimeoutError::Timeout) => {}
            Err(mpsc::RecvTimeoutError::Disconnected) => break,
        }
        // 100 frames a second.
        while ticks < now / 10 {
            ticks += 1;
            board.stage.tick(now);
        }
        if board.stage.state() == State::Playing && board.stage.counts().frames >= fails_after {
            board.stage.stop(RestCause::Converter);
        }
        if line.write_all(&back.carry(&board.answers())).is_err() {
            break;
        }
    }
    words.played()
}

/// Sends so many frames; returns what was shown, and how the conversation went.
fn stream(count: u16, wrong: Wrong, fails_after: u64) -> (Vec<Vec<i32>>, LinkReport) {
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&master).unwrap();
    unlockpt(&master).unwrap();
    let name = ptsname(&master, Vec::new()).unwrap();
    let path = PathBuf::from(std::ffi::OsStr::from_bytes(name.to_bytes()));
    let shown = thread::spawn(move || board(File::from(master), wrong, fails_after));
    let mut host = BoardWriter::open(&path, &wiring(), FrameRate::lit(100)).unwrap();
    let report = host.reporter();
    for n in 0..count {
        // No marks, then the words.
        host.write_all(&[&[0], frame(n).as_slice()].concat()).unwrap();
    }
    drop(host);
    (shown.join().unwrap(), report())
}

#[test]
fn no_wrong_word_leaves_and_repeats_are_counted() {
    let [(clean, without), (damaged, with)] = [Wrong(0), Wrong(5_000)]
        .map(|wrong| thread::spawn(move || stream(400, wrong, u64::MAX)))
        .map(|t| t.join().unwrap());
    assert_eq!(clean, words(400));
    assert_eq!(damaged, words(400));
    assert_eq!((without.failed, with.failed), (None, None));
    println!("{} of 400 frames were sent more than once, {} on a clean line", with.repeated, without.repeated);
    // A computer that is late with its answer makes repeats too.
    assert!(with.repeated > 20 + 2 * without.repeated, "{} and {}", with.repeated, without.repeated);
}

#[test]
fn a_failure_after_the_last_write_is_reported() {
    // All of them fit on the board and in the host: the writer is done before the converter fails.
    let (shown, report) = stream(100, Wrong(0), 30);
    assert_eq!(shown, words(30));
    let why = report.failed.expect("a failure");
    assert!(why.contains("converter"), "{why}");
}
