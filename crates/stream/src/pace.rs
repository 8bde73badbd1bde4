//! Blocks of frames to a writer, each when it is due.
//!
//! Blocks are made a little ahead, and a thread that does nothing else writes each when it is due: so
//! making them causes no delay, and a request to end is seen even when the reader does not read. When the writer takes no
//! blocks, no more are made; once it takes them again they follow at once until the pace is regained.

use crate::clock::{PaceClock, ask_to_wake_on_time};
use pulsewright_core::time::FrameRate;
use std::io::{self, Write};
use std::sync::mpsc::{self, RecvTimeoutError, SyncSender, TrySendError};
use std::thread;
use std::time::Duration;

/// Blocks that may wait for the writer.
const WAITING: usize = 64;

/// Blocks that may wait for a writer that keeps its own time: they delay a command.
const WAITING_FOR_ITS_CLOCK: usize = 16;

/// Later than this is behind the clock.
const LATE: Duration = Duration::from_millis(20);

/// How long the writer may take over waiting blocks, once asked to end.
const GRACE: Duration = Duration::from_secs(1);

/// How far ahead blocks are made at most: longer than a busy system lets their maker wait.
const AHEAD: Duration = Duration::from_millis(40);

/// How far ahead they are when more are made; many at a time, since each waking costs more than the frames of a block.
const STILL_AHEAD: Duration = Duration::from_millis(20);

/// Bytes that make a block where no clock says when they are due: handing it over costs as much as making some hundred frames.
const GATHERED: usize = 8192;

/// How often a writer that takes nothing is offered a block again, and a request to end looked for.
const LOOK: Duration = Duration::from_millis(2);

/// When blocks are sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// When their first frame is due by the clock.
    Clock,
    /// As soon as they are taken.
    Free,
    /// When the writer takes them: it plays them by a clock of its own, as a sound card does.
    Writer,
}

/// How it ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct StreamEnd {
    /// Frames written.
    pub frames: u64,
    /// How often the stream fell behind the clock by more than 20 ms.
    pub behind: u64,
    /// How late the latest block was written.
    pub latest: Duration,
    /// Frames made and not taken by the reader before the end.
    pub not_taken: u64,
    /// Whether the system granted real-time scheduling.
    pub real_time: bool,
}

/// A block on its way to the writer.
struct Block {
    first: u64,
    frames: u64,
    bytes: Vec<u8>,
}

/// Sends what `make` appends, block by block, until it makes no frames or `asked` returns true.
///
/// `make` appends the bytes of some frames and says how many. `header` goes before the first.
///
/// At the pace of a clock the calling thread asks to be woken on time too, and keeps the scheduling that it is granted.
///
/// # Errors
/// The error of `sink`; [`io::ErrorKind::BrokenPipe`] when the reader went away.
pub fn send(
    rate: FrameRate,
    pace: Pace,
    header: Vec<u8>,
    mut make: impl FnMut(&mut Vec<u8>) -> u64,
    sink: impl Write + Send + 'static,
    asked: impl Fn() -> bool,
) -> io::Result<StreamEnd> {
    let most = if pace == Pace::Writer { WAITING_FOR_ITS_CLOCK } else { WAITING };
    let (blocks, waiting) = mpsc::sync_channel::<Block>(most);
    let (done, ended) = mpsc::channel();
    let in_time = pace != Pace::Free;
    if in_time {
        // However far ahead the blocks are made, a thread that waits long enough behind ordinary work is late.
        ask_to_wake_on_time();
    }
    let clock = (pace == Pace::Clock).then(|| PaceClock::starting_in(AHEAD, rate));
    // Not joined: a reader that never reads again would hold it for ever. It ends with the program.
    thread::spawn(move || {
        let real_time = in_time && ask_to_wake_on_time();
        let outcome = write_all(header, &waiting, sink, clock).map(|ended| StreamEnd { real_time, ..ended });
        let _ = done.send(outcome);
    });
    let mut made = 0;
    let mut stopped = false;
    loop {
        let mut bytes = Vec::new();
        let mut frames = make(&mut bytes);
        if frames == 0 {
            break;
        }
        while !in_time && bytes.len() < GATHERED {
            match make(&mut bytes) {
                0 => break,
                more => frames += more,
            }
        }
        let block = Block { first: made, frames, bytes };
        made += frames;
        stopped = clock.is_some_and(|clock| !wait_until_nearer(clock, block.first, &asked));
        // Finished blocks are sent even when the end is asked for: their maker counts them as played.
        stopped |= !hand_over(&blocks, block, &asked) || asked();
        if stopped {
            break;
        }
    }
    drop(blocks);
    loop {
        let patience = if stopped || asked() { GRACE } else { Duration::from_millis(100) };
        match ended.recv_timeout(patience) {
            Ok(outcome) => {
                return outcome.map(|ended| StreamEnd { not_taken: made.saturating_sub(ended.frames), ..ended });
            }
            Err(RecvTimeoutError::Timeout) if !stopped && !asked() => {}
            Err(_) => return Ok(StreamEnd { not_taken: made, ..StreamEnd::default() }),
        }
    }
}

/// Waits while a frame is too far ahead to be made ready; false when asked to end.
fn wait_until_nearer(clock: PaceClock, frame: u64, asked: &impl Fn() -> bool) -> bool {
    let left = clock.left(frame);
    if left > AHEAD {
        thread::sleep(left - STILL_AHEAD);
    }
    !asked()
}

/// Hands a block to the writer; false when it was not taken for long after being asked to end, or the writer is gone.
fn hand_over(blocks: &SyncSender<Block>, block: Block, asked: &impl Fn() -> bool) -> bool {
    let mut block = block;
    let mut patience = GRACE;
    loop {
        match blocks.try_send(block) {
            Ok(()) => return true,
            Err(TrySendError::Disconnected(_)) => return false,
            Err(TrySendError::Full(back)) => block = back,
        }
        if asked() {
            if patience.is_zero() {
                return false;
            }
            patience = patience.saturating_sub(LOOK);
        }
        thread::sleep(LOOK);
    }
}

fn write_all(
    header: Vec<u8>,
    blocks: &mpsc::Receiver<Block>,
    mut sink: impl Write,
    clock: Option<PaceClock>,
) -> io::Result<StreamEnd> {
    let mut ended = StreamEnd::default();
    sink.write_all(&header)?;
    let mut is_late = false;
    for block in blocks {
        if let Some(clock) = clock {
            clock.wait_for(block.first);
        }
        sink.write_all(&block.bytes)?;
        sink.flush()?;
        ended.frames += block.frames;
        if let Some(clock) = clock {
            let late = clock.late(block.first);
            ended.behind += u64::from(late > LATE && !is_late);
            is_late = late > LATE;
            ended.latest = ended.latest.max(late);
        }
    }
    Ok(ended)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::cell::Cell;
    use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
    use std::sync::{Arc, Mutex};
    use std::time::Instant;

    #[derive(Clone, Default)]
    struct Kept(Arc<Mutex<Vec<u8>>>);

    impl Write for Kept {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.lock().expect("no panic before").extend_from_slice(bytes);
            Ok(bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    fn count_up(to: u64) -> impl FnMut(&mut Vec<u8>) -> u64 {
        let mut next = 0;
        move |bytes| {
            if next == to {
                return 0;
            }
            bytes.push(next as u8);
            next += 1;
            1
        }
    }

    #[test]
    fn every_block_comes_once_and_in_order_at_the_clocks_pace() {
        let kept = Kept::default();
        let start = Instant::now();
        let rate = FrameRate::lit(1000);
        let ended = send(rate, Pace::Clock, b"H".to_vec(), count_up(200), kept.clone(), || false).expect("a writer");
        assert!(start.elapsed() >= Duration::from_millis(199));
        assert_eq!((ended.frames, ended.not_taken), (200, 0));
        let expected: Vec<u8> = b"H".iter().copied().chain(0..200).collect();
        assert_eq!(*kept.0.lock().expect("no panic before"), expected);
    }

    #[test]
    fn errors_of_the_writer_are_returned() {
        struct Closed;
        impl Write for Closed {
            fn write(&mut self, _: &[u8]) -> io::Result<usize> {
                Err(io::ErrorKind::BrokenPipe.into())
            }

            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let error = send(FrameRate::lit(1000), Pace::Free, b"H".to_vec(), count_up(9), Closed, || false);
        assert_eq!(error.expect_err("a closed pipe").kind(), io::ErrorKind::BrokenPipe);
    }

    #[test]
    fn few_blocks_are_made_ahead_of_a_writer_with_a_clock_of_its_own() {
        #[derive(Clone, Default)]
        struct Counts(Arc<Mutex<Vec<u64>>>, Arc<AtomicU64>);
        impl Write for Counts {
            fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
                self.0.lock().expect("no panic before").push(self.1.load(Ordering::Relaxed));
                thread::sleep(Duration::from_millis(1));
                Ok(bytes.len())
            }

            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let sink = Counts::default();
        let made = sink.1.clone();
        let make = |bytes: &mut Vec<u8>| {
            if made.load(Ordering::Relaxed) == 200 {
                return 0;
            }
            bytes.push(0);
            made.fetch_add(1, Ordering::Relaxed);
            1
        };
        let ended = send(FrameRate::lit(1000), Pace::Writer, Vec::new(), make, sink.clone(), || false).expect("an end");
        assert_eq!((ended.frames, ended.not_taken), (200, 0));
        let made_at: Vec<u64> = sink.0.lock().expect("no panic before").clone();
        assert!(made_at.iter().zip(0..).all(|(made, written)| *made <= written + 18), "{made_at:?}");
    }

    #[test]
    fn finished_blocks_are_sent_although_the_writer_is_behind_when_asked_to_end() {
        #[derive(Clone, Default)]
        struct Waits(Arc<AtomicBool>);
        impl Write for Waits {
            fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
                while !self.0.load(Ordering::Relaxed) {
                    thread::sleep(Duration::from_millis(1));
                }
                Ok(bytes.len())
            }

            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let sink = Waits::default();
        let (made, looked) = (Cell::new(0), Cell::new(0));
        let make = |bytes: &mut Vec<u8>| {
            made.set(made.get() + 1);
            bytes.resize(GATHERED, 0);
            1
        };
        // One block is being written, as many wait as may, and one can't be handed over: asked only then, and not at once.
        let stuck = WAITING as u64 + 2;
        let asked = || {
            looked.set(looked.get() + u64::from(made.get() == stuck));
            let asked = looked.get() > 3;
            sink.0.fetch_or(asked, Ordering::Relaxed);
            asked
        };
        let ended = send(FrameRate::lit(1000), Pace::Free, Vec::new(), make, sink.clone(), asked).expect("an end");
        assert_eq!((ended.frames, ended.not_taken), (stuck, 0));
    }

    #[test]
    fn a_request_to_end_is_seen_although_the_writer_is_never_behind() {
        let looked = Cell::new(0);
        let asked = || {
            looked.set(looked.get() + 1);
            looked.get() > 1000
        };
        let ended = send(FrameRate::lit(1000), Pace::Free, Vec::new(), count_up(1 << 24), Kept::default(), asked);
        assert!(ended.expect("an end").frames < 1 << 24);
    }

    #[test]
    fn a_request_to_end_is_seen_without_a_reader() {
        struct Stuck;
        impl Write for Stuck {
            fn write(&mut self, _: &[u8]) -> io::Result<usize> {
                thread::sleep(Duration::from_secs(3600));
                Ok(0)
            }

            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let start = Instant::now();
        let asked = || start.elapsed() > Duration::from_millis(100);
        let ended = send(FrameRate::lit(1000), Pace::Clock, b"H".to_vec(), count_up(u64::MAX), Stuck, asked);
        assert!(ended.expect("an end").not_taken > 0);
        assert!(
            start.elapsed() < Duration::from_secs(600),
            "it does not wait for a reader that reads nothing for an hour"
        );
    }
}
