//! Blocks of frames to a writer, each when it is due.
//!
//! A block is made, waited for, and handed to a thread that writes it, so that a reader who does not read keeps neither the
//! clock nor a request to end from being seen. A few blocks wait for the writer; when it takes none, no more are made, and
//! once it takes them again they follow at once until the pace is regained.

use pulsewright_core::time::FrameRate;
use std::io::{self, Write};
use std::sync::mpsc::{self, RecvTimeoutError, SyncSender, TrySendError};
use std::thread;
use std::time::{Duration, Instant};

/// Blocks that may wait for the writer.
const WAITING: usize = 64;

/// Later than this is behind the clock.
const LATE: Duration = Duration::from_millis(20);

/// How long the writer may take over what waits, once asked to end.
const GRACE: Duration = Duration::from_secs(1);

/// How often a request to end is looked for while waiting.
const LOOK: Duration = Duration::from_millis(2);

/// When blocks are sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// When their first frame is due by the clock.
    Clock,
    /// As soon as they are taken.
    Free,
}

/// How it ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ended {
    /// Frames written.
    pub frames: u64,
    /// How often the stream fell behind the clock by more than 20 ms.
    pub behind: u64,
    /// By how much at most.
    pub latest: Duration,
    /// Frames made and not taken by the reader before the end.
    pub not_taken: u64,
}

/// A block on its way to the writer.
struct Block {
    first: u64,
    frames: u64,
    bytes: Vec<u8>,
}

/// Sends what `make` appends, block by block, until it makes no frames or `asked` says to end.
///
/// `make` appends the bytes of some frames and says how many. `header` goes before the first.
///
/// # Errors
/// What `sink` could not do; of a reader that went away, [`io::ErrorKind::BrokenPipe`].
pub fn send(
    rate: FrameRate,
    pace: Pace,
    header: Vec<u8>,
    mut make: impl FnMut(&mut Vec<u8>) -> u64,
    sink: impl Write + Send + 'static,
    asked: impl Fn() -> bool,
) -> io::Result<Ended> {
    let (blocks, waiting) = mpsc::sync_channel::<Block>(WAITING);
    let (done, ended) = mpsc::channel();
    let start = Instant::now();
    let clock = (pace == Pace::Clock).then_some((start, rate));
    // Not joined: a reader that never reads again would hold it for ever. It ends with the program.
    thread::spawn(move || {
        let outcome = write_all(header, &waiting, sink, clock);
        let _ = done.send(outcome);
    });
    let mut made = 0;
    let mut stopped = false;
    loop {
        let mut bytes = Vec::new();
        let frames = make(&mut bytes);
        if frames == 0 {
            break;
        }
        let block = Block { first: made, frames, bytes };
        made += frames;
        stopped = clock.is_some_and(|clock| !wait_until(due(clock, block.first), &asked));
        // What has been made is sent, asked to end or not: whoever made it counts it as played.
        stopped |= !hand_over(&blocks, block, &asked);
        if stopped {
            break;
        }
    }
    drop(blocks);
    loop {
        let patience = if stopped || asked() { GRACE } else { Duration::from_millis(100) };
        match ended.recv_timeout(patience) {
            Ok(outcome) => return outcome.map(|ended| Ended { not_taken: made.saturating_sub(ended.frames), ..ended }),
            Err(RecvTimeoutError::Timeout) if !stopped && !asked() => {}
            Err(_) => return Ok(Ended { not_taken: made, ..Ended::default() }),
        }
    }
}

/// When a frame is due.
fn due((start, rate): (Instant, FrameRate), index: u64) -> Instant {
    let hz = u64::from(rate.as_hz());
    start + Duration::from_secs(index / hz) + Duration::from_nanos((index % hz) * 1_000_000_000 / hz)
}

/// Waits; false when asked to end before.
fn wait_until(due: Instant, asked: &impl Fn() -> bool) -> bool {
    loop {
        if asked() {
            return false;
        }
        let left = due.saturating_duration_since(Instant::now());
        if left.is_zero() {
            return true;
        }
        thread::sleep(left.min(LOOK));
    }
}

/// Hands a block to the writer; false when asked to end before it was taken, or the writer is gone.
fn hand_over(blocks: &SyncSender<Block>, block: Block, asked: &impl Fn() -> bool) -> bool {
    let mut block = block;
    loop {
        match blocks.try_send(block) {
            Ok(()) => return true,
            Err(TrySendError::Disconnected(_)) => return false,
            Err(TrySendError::Full(back)) => block = back,
        }
        if asked() {
            return false;
        }
        thread::sleep(LOOK);
    }
}

fn write_all(
    header: Vec<u8>,
    blocks: &mpsc::Receiver<Block>,
    mut sink: impl Write,
    clock: Option<(Instant, FrameRate)>,
) -> io::Result<Ended> {
    sink.write_all(&header)?;
    let mut ended = Ended::default();
    let mut is_late = false;
    for block in blocks {
        sink.write_all(&block.bytes)?;
        sink.flush()?;
        ended.frames += block.frames;
        if let Some(clock) = clock {
            let late = Instant::now().saturating_duration_since(due(clock, block.first));
            ended.behind += u64::from(late > LATE && !is_late);
            is_late = late > LATE;
            if is_late {
                ended.latest = ended.latest.max(late);
            }
        }
    }
    Ok(ended)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::{Arc, Mutex};

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
    fn what_a_writer_can_not_do_is_told() {
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
    fn a_request_to_end_is_heard_although_nobody_reads() {
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
        assert!(start.elapsed() < Duration::from_secs(10));
    }
}
