//! The output stage: at each tick of a timer the next frame goes to the converters; on any fault they go to rest.

use crate::converter::Converters;
use crate::link::message::StageStatus;
use crate::marks::{MarkPins, Marks};
use crate::wiring::{MAX_OUTPUTS, Wiring};
use heapless::spsc::Consumer;

/// A frame ready for the converters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RigFrame<const OUTPUTS: usize> {
    /// A code for each output.
    pub codes: [i32; OUTPUTS],
    /// Digital outputs.
    pub marks: Marks,
}

/// A watchdog that resets the board, or brings its outputs to rest, when it is not fed.
pub trait Watchdog {
    /// Called once for each frame that was shown, and for nothing else.
    fn feed(&mut self);
}

/// A board without a watchdog.
impl Watchdog for () {
    fn feed(&mut self) {}
}

/// Most that the period of the timer is trimmed, millionths.
pub const TRIM_PPM: i32 = 200;

/// State of the stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Frames are shown.
    Playing,
    /// The outputs are at rest.
    Resting(RestCause),
}

/// Why the outputs are at rest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RestCause {
    /// Nothing was started.
    NotStarted,
    /// It was asked for.
    Stopped,
    /// No frame came for longer than the stage waits.
    Underrun,
    /// A converter did not answer.
    Converter,
    /// The host on the link was silent.
    Silence,
}

/// Counts since the last start.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct StageCounts {
    /// Frames shown.
    pub frames: u64,
    /// Ticks that found no frame while playing: the last frame stayed on the outputs.
    pub empty: u32,
    /// Ticks that came later than half a frame.
    pub late: u32,
    /// Errors of the converters.
    pub errors: u32,
}

/// Shows frames at the ticks of a timer.
///
/// A tick first latches what the tick before has loaded, so that the moment of a frame depends on the timer alone; then it loads
/// the next frame. A frame is therefore shown one tick after it was taken.
#[allow(missing_debug_implementations)] // The queue has none.
pub struct Stage<'q, C, L, W, const OUTPUTS: usize> {
    converters: C,
    lines: L,
    watchdog: W,
    frames: Consumer<'q, RigFrame<OUTPUTS>>,
    rest: [i32; OUTPUTS],
    /// Codes of the outputs in use.
    used: usize,
    state: State,
    /// Marks of the frame that is loaded and not yet shown.
    loaded: Option<Marks>,
    /// Empty ticks in a row.
    waited: u32,
    patience: u32,
    period: u32,
    last_tick: Option<u32>,
    counts: StageCounts,
}

impl<'q, C: Converters, L: MarkPins, W: Watchdog, const OUTPUTS: usize> Stage<'q, C, L, W, OUTPUTS> {
    /// At rest, for the outputs of a wiring (those beyond `OUTPUTS` are not driven).
    ///
    /// `period` is the time of a frame in counts of the timer that [`Stage::tick`] gets, 0 when lateness is not counted. Rest comes
    /// after more than `patience` ticks without a frame.
    pub fn new(
        wiring: &Wiring,
        (converters, lines, watchdog): (C, L, W),
        frames: Consumer<'q, RigFrame<OUTPUTS>>,
        period: u32,
        patience: u32,
    ) -> Self {
        let mut rest = [0; OUTPUTS];
        rest.iter_mut().zip(wiring.outputs()).for_each(|(place, output)| *place = output.rest);
        let mut stage = Stage {
            converters,
            lines,
            watchdog,
            frames,
            rest,
            used: wiring.outputs().len().min(OUTPUTS).min(MAX_OUTPUTS),
            state: State::Resting(RestCause::NotStarted),
            loaded: None,
            waited: 0,
            patience,
            period,
            last_tick: None,
            counts: StageCounts::default(),
        };
        stage.rest(RestCause::NotStarted);
        stage
    }

    /// State.
    pub const fn state(&self) -> State {
        self.state
    }

    /// Counts.
    pub const fn counts(&self) -> StageCounts {
        self.counts
    }

    /// Frames that wait.
    pub fn waiting(&self) -> usize {
        self.frames.len()
    }

    /// How far the period of the timer is to be trimmed, in millionths, so that about `target` frames wait: the clock of a host and
    /// that of the board are never quite alike. 0 while what waits is within a quarter of the target, and while nothing is shown.
    ///
    /// [`TRIM_PPM`] corrects twice what two ordinary crystals differ by (50 ppm each; common practice, no source).
    pub fn trim_ppm(&self, target: usize) -> i32 {
        let waiting = self.frames.len();
        match self.state {
            State::Playing if waiting > target + target / 4 => -TRIM_PPM,
            State::Playing if waiting < target - target / 4 => TRIM_PPM,
            State::Playing | State::Resting(_) => 0,
        }
    }

    /// Starts to show the frames that wait, at the next tick, and counts anew; has no effect while frames are shown.
    pub fn start(&mut self) {
        if self.state == State::Playing {
            return;
        }
        self.counts = StageCounts::default();
        self.waited = 0;
        self.last_tick = None;
        self.state = State::Playing;
    }

    /// Brings the outputs to rest, and throws away the frames that wait.
    pub fn stop(&mut self, cause: RestCause) {
        self.rest(cause);
    }

    /// State and counts as the link sends them; counts beyond 32 bits wrap.
    pub fn status(&self) -> StageStatus {
        let cause = match self.state {
            State::Playing | State::Resting(RestCause::NotStarted) => 0,
            State::Resting(RestCause::Stopped) => 1,
            State::Resting(RestCause::Underrun) => 2,
            State::Resting(RestCause::Converter) => 3,
            State::Resting(RestCause::Silence) => 4,
        };
        let StageCounts { frames, empty, late, errors } = self.counts;
        StageStatus { playing: self.state == State::Playing, cause, frames: frames as u32, empty, late, errors }
    }

    /// One frame of time has passed; `now` is the time in counts of the timer, which wraps.
    pub fn tick(&mut self, now: u32) {
        let State::Playing = self.state else {
            // Once more: a converter that has lost its code to a disturbance gets it back.
            self.drive_to_rest();
            return;
        };
        self.count_lateness(now);
        if let Some(marks) = self.loaded.take() {
            if self.converters.latch().is_err() {
                return self.fail();
            }
            self.lines.set(marks.with(Marks::SHOWN));
            self.watchdog.feed();
            self.counts.frames += 1;
        }
        match self.frames.dequeue() {
            Some(frame) => {
                self.waited = 0;
                if self.converters.load(frame.codes.get(..self.used).unwrap_or(&frame.codes)).is_err() {
                    return self.fail();
                }
                self.loaded = Some(frame.marks);
            }
            None => {
                self.counts.empty = self.counts.empty.saturating_add(1);
                self.waited += 1;
                if self.waited > self.patience {
                    self.rest(RestCause::Underrun);
                }
            }
        }
    }

    fn count_lateness(&mut self, now: u32) {
        if let (Some(last), 1..) = (self.last_tick, self.period) {
            let late = now.wrapping_sub(last) > self.period.saturating_add(self.period / 2);
            self.counts.late = self.counts.late.saturating_add(u32::from(late));
        }
        self.last_tick = Some(now);
    }

    fn fail(&mut self) {
        self.counts.errors = self.counts.errors.saturating_add(1);
        self.rest(RestCause::Converter);
    }

    fn rest(&mut self, cause: RestCause) {
        self.state = State::Resting(cause);
        self.loaded = None;
        while self.frames.dequeue().is_some() {}
        self.drive_to_rest();
    }

    fn drive_to_rest(&mut self) {
        let codes = self.rest.get(..self.used).unwrap_or(&self.rest);
        let shown = self.converters.load(codes).and_then(|()| self.converters.latch());
        self.counts.errors = self.counts.errors.saturating_add(u32::from(shown.is_err()));
        self.lines.set(Marks::default());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixed::Slope;
    use crate::wiring::{OutputSource, WiringOutput};
    use heapless::spsc::Queue;
    use std::vec::Vec;

    /// Converters that keep what they show, and fail when told to.
    #[derive(Default)]
    struct Model {
        loaded: Vec<i32>,
        shown: Vec<Vec<i32>>,
        stuck: bool,
    }

    impl Converters for &mut Model {
        type Error = ();

        fn load(&mut self, codes: &[i32]) -> Result<(), ()> {
            self.loaded = codes.to_vec();
            if self.stuck { Err(()) } else { Ok(()) }
        }

        fn latch(&mut self) -> Result<(), ()> {
            if self.stuck {
                return Err(());
            }
            self.shown.push(self.loaded.clone());
            Ok(())
        }
    }

    struct Fed<'a>(&'a mut u32);

    impl Watchdog for Fed<'_> {
        fn feed(&mut self) {
            *self.0 += 1;
        }
    }

    fn wiring() -> Wiring {
        let slope = Slope { mantissa: 1 << 30, shift: 20, offset: 0 };
        let output = |rest| WiringOutput { source: OutputSource::Respiration, slope, rest };
        Wiring::new(&[output(3), output(-4)], (-128, 127)).unwrap()
    }

    fn frame(code: i32) -> RigFrame<2> {
        RigFrame { codes: [code, -code], marks: Marks::R_WAVE }
    }

    #[test]
    fn a_frame_is_shown_one_tick_after_it_is_taken() {
        let (mut model, mut fed, mut queue) = (Model::default(), 0, Queue::<_, 8>::new());
        let (mut producer, consumer) = queue.split();
        let mut stage = Stage::new(&wiring(), (&mut model, (), Fed(&mut fed)), consumer, 0, 2);
        producer.enqueue(frame(10)).unwrap();
        producer.enqueue(frame(20)).unwrap();
        stage.start();
        (0..3).for_each(|now| stage.tick(now));
        assert_eq!((stage.counts().frames, stage.counts().empty, stage.state()), (2, 1, State::Playing));
        assert_eq!(model.shown, [[3, -4], [10, -10], [20, -20]]);
        assert_eq!(fed, 2);
    }

    #[test]
    fn no_frames_bring_the_outputs_to_rest_and_starve_the_watchdog() {
        let (mut model, mut fed, mut queue) = (Model::default(), 0, Queue::<_, 8>::new());
        let (mut producer, consumer) = queue.split();
        let mut stage = Stage::new(&wiring(), (&mut model, (), Fed(&mut fed)), consumer, 0, 2);
        producer.enqueue(frame(10)).unwrap();
        stage.start();
        (0..4).for_each(|now| stage.tick(now));
        assert_eq!(stage.state(), State::Resting(RestCause::Underrun));
        // A frame that comes too late is not shown by itself.
        producer.enqueue(frame(30)).unwrap();
        stage.tick(4);
        assert_eq!(stage.state(), State::Resting(RestCause::Underrun));
        assert_eq!(model.shown, [[3, -4], [10, -10], [3, -4], [3, -4]]);
        assert_eq!(fed, 1);
    }

    /// Pins that keep what they were set to.
    #[derive(Default)]
    struct Pins(Vec<Marks>);

    impl MarkPins for &mut Pins {
        fn set(&mut self, marks: Marks) {
            self.0.push(marks);
        }
    }

    #[test]
    fn the_interlock_is_held_while_frames_are_shown_and_by_nothing_else() {
        let (mut model, mut pins, mut queue) = (Model::default(), Pins::default(), Queue::<_, 8>::new());
        let (mut producer, consumer) = queue.split();
        let mut stage = Stage::new(&wiring(), (&mut model, &mut pins, ()), consumer, 0, 1);
        // A host that asks for every bit gets those of the marks.
        producer.enqueue(RigFrame { codes: [1, 2], marks: Marks::of_bits(255) }).unwrap();
        stage.start();
        (0..5).for_each(|now| stage.tick(now));
        assert_eq!(stage.state(), State::Resting(RestCause::Underrun));
        let held: Vec<bool> = pins.0.iter().map(|marks| marks.has(Marks::SHOWN)).collect();
        // At rest before the start, one frame, rest from the third tick on, at each tick again.
        assert_eq!(held, [false, true, false, false, false]);
    }

    #[test]
    fn a_stuck_converter_brings_rest_and_gets_it_when_it_answers_again() {
        let (mut model, mut queue) = (Model { stuck: true, ..Model::default() }, Queue::<_, 8>::new());
        let (mut producer, consumer) = queue.split();
        let mut stage = Stage::new(&wiring(), (&mut model, (), ()), consumer, 0, 2);
        producer.enqueue(frame(10)).unwrap();
        stage.start();
        stage.tick(0);
        assert_eq!(stage.state(), State::Resting(RestCause::Converter));
        assert_eq!(stage.counts().errors, 2, "the load, and the way to rest");
        stage.converters.stuck = false;
        stage.tick(1);
        assert_eq!(model.shown, [[3, -4]]);
    }

    #[test]
    fn late_ticks_are_counted_over_the_wrap_of_the_timer() {
        let (mut model, mut queue) = (Model::default(), Queue::<RigFrame<2>, 8>::new());
        let (_, consumer) = queue.split();
        let mut stage = Stage::new(&wiring(), (&mut model, (), ()), consumer, 100, 10);
        stage.start();
        for now in [u32::MAX - 250, u32::MAX - 150, u32::MAX - 50, 110, 210] {
            stage.tick(now);
        }
        assert_eq!(stage.counts().late, 1);
    }

    #[test]
    fn the_longest_period_is_no_reason_to_stop() {
        let (mut model, mut queue) = (Model::default(), Queue::<RigFrame<2>, 8>::new());
        let (_, consumer) = queue.split();
        let mut stage = Stage::new(&wiring(), (&mut model, (), ()), consumer, u32::MAX, 10);
        stage.start();
        (0..3).for_each(|now| stage.tick(now));
        assert_eq!((stage.counts().late, stage.state()), (0, State::Playing));
    }

    #[test]
    fn a_stop_throws_away_what_waits() {
        let (mut model, mut queue) = (Model::default(), Queue::<_, 8>::new());
        let (mut producer, consumer) = queue.split();
        let mut stage = Stage::new(&wiring(), (&mut model, (), ()), consumer, 0, 2);
        producer.enqueue(frame(10)).unwrap();
        stage.start();
        stage.stop(RestCause::Stopped);
        stage.start();
        stage.tick(0);
        stage.tick(1);
        assert_eq!((stage.waiting(), stage.counts().frames), (0, 0));
    }
}
