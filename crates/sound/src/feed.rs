//! The card's samples, made of the frames that wait: a ramp to the first, each held, a ramp to rest.
//!
//! It works on the card's thread: it takes no lock, allocates nothing and waits for nothing.

use crate::offer::PlaybackForm;
use crate::report::{CardReport, MEASURED_S};
use std::sync::atomic::Ordering::{Acquire, Relaxed, Release};
use std::sync::atomic::{AtomicBool, AtomicU64};
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

/// Length of a ramp, ms. A jump of full scale would be a click, and over an AC coupling a pulse of twice the signal.
pub const RAMP_MS: u32 = 50;

/// Frames that wait for the card, ms: what a busy computer may delay their maker by.
pub const WAITING_MS: u32 = 120;

/// A card that takes its samples so much sooner than they are due has no clock of its own: more than any card's buffer holds.
const TOO_SOON: Duration = Duration::from_secs(2);

/// The state that the feed and the writer of the frames share.
#[derive(Debug, Default)]
pub struct FeedState {
    /// No frames follow those that wait.
    ended: AtomicBool,
    /// The last frame was played and the card is at rest.
    over: AtomicBool,
    interruptions: AtomicU64,
    /// The card ran out of samples, so often.
    starved: AtomicU64,
    /// The card's frames so far, and the time from the first block to the last one, ns.
    taken: AtomicU64,
    lasted_ns: AtomicU64,
    failed: OnceLock<String>,
}

impl FeedState {
    /// No frames follow.
    pub fn end(&self) {
        self.ended.store(true, Release);
    }

    /// Whether the last frame was played and the card is at rest.
    pub fn is_over(&self) -> bool {
        self.over.load(Acquire)
    }

    /// The card ran out of samples: it stood still, and goes on with those that follow.
    pub fn starve(&self) {
        self.starved.fetch_add(1, Release);
    }

    /// The card failed; every sample is 0 from now on. The first reason is kept.
    pub fn fail(&self, why: String) {
        let _ = self.failed.set(why);
    }

    /// Why the card failed.
    pub fn failed(&self) -> Option<&str> {
        self.failed.get().map(String::as_str)
    }

    /// Frames that the card took.
    pub fn taken(&self) -> u64 {
        self.taken.load(Relaxed)
    }

    /// The report so far.
    pub fn report(&self) -> CardReport {
        let lasted_s = self.lasted_ns.load(Relaxed) as f64 * 1e-9;
        CardReport {
            interruptions: self.interruptions.load(Relaxed),
            measured_hz: (lasted_s >= MEASURED_S).then(|| self.taken() as f64 / lasted_s),
            failed: self.failed().map(str::to_owned),
        }
    }
}

/// The state of the card.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// 0, until enough frames wait.
    Rest,
    /// From 0 to the frame, so many samples of the ramp done.
    Rising(u32),
    /// The frame, held for so many samples.
    Holding(u32),
    /// From the frame to 0.
    Falling(u32),
    /// 0 for good.
    Over,
}

/// Makes the card's samples.
#[derive(Debug)]
pub struct Feed {
    frames: rtrb::Consumer<i32>,
    shared: Arc<FeedState>,
    rate_hz: u32,
    hold: u32,
    /// Samples of a ramp.
    ramp: u32,
    /// Values that wait before the card starts.
    start: usize,
    state: State,
    /// The frame that plays.
    level: Vec<i32>,
    starved: u64,
    began: Option<Instant>,
}

/// A feed for a card, and the end at which frames of `outputs` values go in, full scale at 2^31, each frame as a whole.
pub fn feed(choice: PlaybackForm, outputs: usize) -> (rtrb::Producer<i32>, Feed, Arc<FeedState>) {
    let PlaybackForm { rate_hz, hold, .. } = choice;
    let waiting = (rate_hz / hold.max(1) * WAITING_MS).div_ceil(1000).max(4) as usize;
    let (ahead, frames) = rtrb::RingBuffer::new(waiting * outputs);
    let shared = Arc::new(FeedState::default());
    let feed = Feed {
        frames,
        shared: Arc::clone(&shared),
        rate_hz,
        hold,
        ramp: (rate_hz * RAMP_MS / 1000).max(1),
        start: waiting / 2 * outputs,
        state: State::Rest,
        level: vec![0; outputs],
        starved: 0,
        began: None,
    };
    (ahead, feed, shared)
}

impl Feed {
    /// The state that it shares with the writer of the frames.
    pub fn shared(&self) -> Arc<FeedState> {
        Arc::clone(&self.shared)
    }

    /// Fills a block of the card's frames, each of `channels` samples; those beyond the signal's stay at 0.
    pub fn fill<T: Copy>(&mut self, block: &mut [T], channels: usize, sample: impl Fn(i32) -> T) {
        let frames = block.len().checked_div(channels).unwrap_or(0) as u64;
        self.keep_time(frames);
        let starved = self.shared.starved.load(Acquire);
        if starved != self.starved {
            self.starved = starved;
            // The card stood still, at a level of its own choice.
            if matches!(self.state, State::Holding(_) | State::Falling(_) | State::Rising(_)) {
                self.interrupted();
                self.state = State::Rising(0);
            }
        }
        let failed = self.shared.failed().is_some();
        for frame in block.chunks_mut(channels.max(1)) {
            let share = if failed { 0 } else { self.next() };
            let scaled = |level: &i32| (i64::from(*level) * i64::from(share) / i64::from(self.ramp)) as i32;
            let levels = self.level.iter().map(scaled).chain(std::iter::repeat(0));
            frame.iter_mut().zip(levels).for_each(|(place, level)| *place = sample(level));
        }
    }

    /// Goes on by a frame of the card; gives its share of the level, in steps of the ramp.
    fn next(&mut self) -> u32 {
        self.change();
        match &mut self.state {
            State::Rest | State::Over => 0,
            State::Rising(done) => {
                *done += 1;
                *done - 1
            }
            State::Holding(held) => {
                *held += 1;
                self.ramp
            }
            State::Falling(done) => {
                *done += 1;
                self.ramp - *done
            }
        }
    }

    /// Changes the state when it is over.
    fn change(&mut self) {
        // Asked before it is looked whether frames are there: those that came before the end are seen then.
        let ended = self.shared.ended.load(Acquire);
        match self.state {
            State::Rising(done) if done >= self.ramp => self.state = State::Holding(0),
            State::Holding(held) if held >= self.hold => {
                if self.take() {
                    self.state = State::Holding(0);
                } else {
                    if !ended {
                        self.interrupted();
                    }
                    self.state = State::Falling(0);
                }
            }
            State::Falling(done) if done >= self.ramp => self.state = State::Rest,
            _ => {}
        }
        if self.state == State::Rest {
            if (ended || self.frames.slots() >= self.start) && self.take() {
                self.state = State::Rising(0);
            } else if ended {
                self.shared.over.store(true, Release);
                self.state = State::Over;
            }
        }
    }

    /// Takes the next frame, when one is there.
    fn take(&mut self) -> bool {
        let whole = self.frames.slots() >= self.level.len();
        if whole {
            self.level.iter_mut().for_each(|level| *level = self.frames.pop().unwrap_or(0));
        }
        whole
    }

    fn interrupted(&self) {
        self.shared.interruptions.fetch_add(1, Relaxed);
    }

    /// Counts a block, and compares the card's clock with this computer's.
    fn keep_time(&mut self, frames: u64) {
        let now = Instant::now();
        let Some(began) = self.began else {
            // The time runs from the first block, so its frames do not count.
            self.began = Some(now);
            return;
        };
        let taken = self.shared.taken.fetch_add(frames, Relaxed) + frames;
        let lasted = now.saturating_duration_since(began);
        self.shared.lasted_ns.store(lasted.as_nanos() as u64, Relaxed);
        let due = Duration::from_secs_f64(taken as f64 / f64::from(self.rate_hz.max(1)));
        if due > lasted + TOO_SOON {
            self.shared.fail(
                "it takes samples faster than its own rate: it keeps no time, so rates would be wrong".to_owned(),
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::offer::SampleForm;

    const FULL: i32 = 1 << 30;

    /// A card of 1000 frames a second with ramps of 50 samples.
    fn card(hold: u32, outputs: usize) -> (rtrb::Producer<i32>, Feed, Arc<FeedState>) {
        feed(PlaybackForm { channels: 2, rate_hz: 1000, hold, form: SampleForm::I32 }, outputs)
    }

    fn play(feed: &mut Feed, frames: usize) -> Vec<i32> {
        let mut block = vec![7; frames];
        feed.fill(&mut block, 1, |level| level);
        block
    }

    /// The levels of a ramp on its way up.
    fn rise(level: i32) -> Vec<i32> {
        (0..50).map(|step| (i64::from(level) * step / 50) as i32).collect()
    }

    #[test]
    fn frames_stand_unchanged_between_the_ramps() {
        let (mut ahead, mut feed, shared) = card(3, 1);
        let frames = [FULL, -FULL, 5, i32::MIN, 9];
        frames.iter().for_each(|frame| ahead.push(*frame).unwrap());
        shared.end();
        let held = frames.iter().flat_map(|frame| [*frame; 3]);
        let fall: Vec<i32> = rise(9).into_iter().rev().collect();
        let expected: Vec<i32> = rise(FULL).into_iter().chain(held).chain(fall).chain([0; 40]).collect();
        assert_eq!(play(&mut feed, expected.len()), expected);
        assert!(shared.is_over());
        assert_eq!(shared.report(), CardReport::default());
    }

    #[test]
    fn no_block_size_changes_the_samples() {
        let whole = |sizes: &[usize]| {
            let (mut ahead, mut feed, shared) = card(2, 1);
            (1..40).for_each(|frame| ahead.push(frame << 20).unwrap());
            shared.end();
            sizes.iter().flat_map(|size| play(&mut feed, *size)).collect::<Vec<_>>()
        };
        assert_eq!(whole(&[240]), whole(&[1, 49, 1, 2, 100, 87]));
    }

    #[test]
    fn a_missing_frame_is_a_rest_between_ramps_and_no_frame_is_lost() {
        let (mut ahead, mut feed, shared) = card(1, 1);
        (0..60).for_each(|_| ahead.push(FULL).unwrap());
        let first = play(&mut feed, 300);
        let down: Vec<i32> = rise(FULL).into_iter().rev().collect();
        let expected = [rise(FULL), vec![FULL; 60], down.clone(), vec![0; 140]].concat();
        assert_eq!(first, expected);
        assert_eq!(shared.report().interruptions, 1);
        ahead.push(-FULL).unwrap();
        assert_eq!(play(&mut feed, 30), [0; 30], "it waits until enough frames are there");
        (0..59).for_each(|_| ahead.push(-FULL).unwrap());
        shared.end();
        let again = play(&mut feed, 200);
        assert_eq!(again.iter().filter(|level| **level == -FULL).count(), 60);
        assert_eq!(
            again.iter().zip(again.iter().skip(1)).map(|(a, b)| a.abs_diff(*b)).max(),
            Some(FULL as u32 / 50 + 1)
        );
        assert_eq!(shared.report().interruptions, 1);
    }

    #[test]
    fn a_card_that_stood_still_rises_again() {
        let (mut ahead, mut feed, shared) = card(1, 1);
        (0..120).for_each(|_| ahead.push(FULL).unwrap());
        play(&mut feed, 100);
        shared.starve();
        assert_eq!(play(&mut feed, 60), [rise(FULL), vec![FULL; 10]].concat());
        assert_eq!(shared.report().interruptions, 1);
    }

    #[test]
    fn every_sample_is_0_after_a_failure_and_in_channels_without_a_signal() {
        let (mut ahead, mut feed, shared) = card(1, 2);
        (0..200).for_each(|_| ahead.push(FULL).unwrap());
        let mut block = vec![7; 3 * 60];
        feed.fill(&mut block, 3, |level| level >> 16);
        assert_eq!(block[3 * 55..3 * 56], [FULL >> 16, FULL >> 16, 0]);
        shared.fail("unplugged".to_owned());
        assert_eq!(play(&mut feed, 20), [0; 20]);
        assert_eq!(shared.report().failed.as_deref(), Some("unplugged"));
    }

    #[test]
    fn a_card_without_a_clock_fails() {
        let (_ahead, mut feed, shared) = card(1, 1);
        play(&mut feed, 1000);
        play(&mut feed, 1500);
        assert_eq!(shared.failed(), None);
        play(&mut feed, 1500);
        assert!(shared.failed().is_some_and(|why| why.contains("faster")));
    }
}
