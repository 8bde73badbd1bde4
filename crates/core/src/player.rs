//! The player: a script, a frame rate, and the state between frames.
//!
//! It keeps the order of events (steps, breaths, heart, pulses), hands each to the part that draws it (`events`, with the
//! step's values from `settings`), and fills frames with closed-form signals in between (`drawing`). It is the only
//! place where anything mutates.

mod asked;
mod conditions;
mod drawing;
mod events;
mod glide;
mod lead;
mod moment;
mod noise;
mod pr;
mod settings;

use crate::anatomy::PressureSite;
use crate::artefact::Layers;
use crate::block::{BLOCK, Block, BlockRows};
use crate::cuff::Cuff;
use crate::ecg::electrogram::Electrogram;
use crate::frame::{Frame, Lead};
use crate::frame_clock::FrameClock;
use crate::heart::Heart;
use crate::image::Image;
use crate::noise::Noise;
use crate::pressure::{self, PressureConditions, Pressures};
use crate::respiration::Respiration;
use crate::script::Script;
use crate::segment::Segment;
use crate::site_set::SiteSet;
use crate::test_signal;
use crate::time::{FrameRate, Instant, Span};
use crate::timeline::{Placed, Timeline};
use crate::truth::Observer;
use asked::RequestedBeats;
use conditions::Conditions;
use glide::Glide;
use moment::{moment, transducer_conditions};
use noise::Fading;

/// Frames worked on together between two events.
const SEGMENT: usize = 16;
// Frames are the caller's: unlike the rows of a block, none may be drawn that is still to come.
const _: () = assert!(!Segment::<SEGMENT>::IN_LANES);

/// Plays a script frame by frame.
///
/// Plain data: a clone is a checkpoint that goes on with the same bits.
#[derive(Clone, Debug)]
pub struct Player<'a> {
    timeline: Timeline<'a>,
    step: Option<Placed<'a>>,
    artefacts: Layers,
    glide: Glide,
    fading: Fading<'a>,
    conditions: Conditions,
    asked: RequestedBeats,
    end: Instant,
    clock: FrameClock,
    noise: Noise,
    heart: Heart,
    respiration: Respiration,
    pressures: Pressures,
    pressures_set: PressureConditions,
    /// The instant that they are for, when they ramp in the step; [`Instant::NEVER`] when they hold.
    pressures_at: Instant,
    cuff: Cuff,
    ecg: Electrogram<'a>,
    test_beat: test_signal::TestBeat,
    /// The peak of the recorded beat that was asked for and has not been reported; [`Instant::NEVER`] when there is none.
    recorded_peak: Instant,
    /// Whether the step has a test signal, an offset or a drift.
    test_on: bool,
    /// Whether waves are left out: they end before the next frame, and the observer does not listen.
    ecg_rests: bool,
    /// Leads in which each beat is reported, a bit each.
    leads: u16,
}

/// How far back waves are drawn, far longer than any lasts, and pulses are played for the pressures to be known: some beats of the
/// slowest heart.
const REMEMBERED: Span = Span::secs(60);

/// Longer than the effect of any contraction is on its way to a site.
const UNDER_WAY: Span = Span::secs(1);

/// With pointers of 32 bits, as a microcontroller has them; wider ones take a little more.
const LARGEST: usize = if size_of::<usize>() == 4 { 6144 } else { 6144 + 192 };
const _: () = assert!(size_of::<Player<'_>>() <= LARGEST, "the player must fit a small microcontroller");

impl<'a> Player<'a> {
    /// A player at the start of `script`.
    pub fn new(script: &Script<'a>, rate: FrameRate) -> Player<'a> {
        Player::of_timeline(script.timeline(), script.duration(), script.seed(), rate)
    }

    /// A player at the start of `image`; it plays the bits of the script that the image was made from.
    pub fn of_image(image: &Image<'a>, rate: FrameRate) -> Player<'a> {
        Player::of_timeline(image.timeline(), image.duration(), image.seed(), rate)
    }

    fn of_timeline(timeline: Timeline<'a>, duration: Option<Span>, seed: u64, rate: FrameRate) -> Player<'a> {
        Player {
            timeline,
            step: None,
            artefacts: Layers::default(),
            glide: Glide::default(),
            fading: Fading::NONE,
            conditions: Conditions::new(),
            asked: RequestedBeats::new(),
            end: duration.map_or(Instant::NEVER, |duration| Instant::ZERO.plus(duration)),
            clock: FrameClock::new(rate),
            noise: Noise::new(seed),
            heart: Heart::new(),
            respiration: Respiration::new(),
            pressures: Pressures::new(SiteSet::USUAL),
            pressures_set: PressureConditions::default(),
            pressures_at: Instant::NEVER,
            cuff: Cuff::new(),
            ecg: Electrogram::default(),
            test_beat: test_signal::TestBeat::default(),
            recorded_peak: Instant::NEVER,
            test_on: false,
            ecg_rests: false,
            leads: 0,
        }
    }

    /// The same with these pressures; the others are zero in the frames, and none of their pulses is reported.
    ///
    /// To be called before the first frame.
    pub fn with_pressures_at(mut self, chosen: SiteSet) -> Player<'a> {
        self.pressures = Pressures::new(chosen);
        self
    }

    /// The same, with an [`Event::Lead`](crate::truth::Event::Lead) for each beat and each of these leads.
    pub fn with_beats_in(mut self, leads: &[Lead]) -> Player<'a> {
        self.leads = leads.iter().fold(0, |bits, lead| bits | 1 << *lead as u16);
        self
    }

    /// Frames a second.
    pub fn rate(&self) -> FrameRate {
        self.clock.rate()
    }

    /// Index of the next frame.
    pub fn position(&self) -> u64 {
        self.clock.index()
    }

    /// Fills `frames` from the start and returns how many; fewer than asked only at the end of the script.
    pub fn fill(&mut self, frames: &mut [Frame]) -> usize {
        self.fill_observed(frames, &mut ())
    }

    /// As [`Player::fill`], and reports to `observer` every event up to and including the last frame's instant; asked for frames
    /// after the last, of what happens between that and the end.
    pub fn fill_observed(&mut self, frames: &mut [Frame], observer: &mut impl Observer) -> usize {
        for frame in frames.iter_mut() {
            frame.pressure_mmhg = [0.0; PressureSite::COUNT];
        }
        let count = frames.len();
        self.fill_rows(&mut Segment::<SEGMENT>::new(), frames, count, observer)
    }

    /// Fills `block` with the next frames, `most` of them or as many as it holds, and returns how many; fewer only at the end
    /// of the script. The bits are those of [`Player::fill`].
    pub fn fill_block(&mut self, block: &mut Block, most: usize) -> usize {
        self.fill_block_observed(block, most, &mut ())
    }

    /// As [`Player::fill_block`], and reports events to `observer` as [`Player::fill_observed`] does.
    pub fn fill_block_observed(&mut self, block: &mut Block, most: usize, observer: &mut impl Observer) -> usize {
        block.begin(self.pressures.chosen());
        let count = self.fill_rows(&mut block.segment, &mut block.columns, most.min(BLOCK), observer);
        block.end(count);
        count
    }

    /// Fills rows of pressures, as [`Player::fill_observed`] fills frames.
    pub(crate) fn fill_pressures<R: BlockRows>(
        &mut self,
        rows: &mut R,
        count: usize,
        observer: &mut impl Observer,
    ) -> usize {
        self.fill_rows(&mut Segment::<SEGMENT>::new(), rows, count, observer)
    }

    /// Processes the events due before `end`, and ends there.
    pub(crate) fn pass_to(&mut self, end: Instant, observer: &mut impl Observer) {
        self.end = self.end.min(end);
        self.finish(observer);
    }

    /// Fills rows with frames, in segments of at most `N` between two events.
    fn fill_rows<const N: usize, R: BlockRows + ?Sized>(
        &mut self,
        segment: &mut Segment<N>,
        rows: &mut R,
        count: usize,
        observer: &mut impl Observer,
    ) -> usize {
        let mut filled = 0;
        let mut shared = None;
        while filled < count {
            let now = self.clock.now();
            if now >= self.end {
                self.finish(observer);
                break;
            }
            // Before the events: a frame with a beat leaves this work to those after it.
            self.pressures.prepare();
            let next = self.happen(now, observer).min(self.end);
            segment.fill(&mut self.clock, count - filled, next);
            self.draw(segment, rows, filled, &mut shared);
            filled += segment.count();
        }
        filled
    }

    /// Passes over `count` frames, or to the end of the script, and returns how many; the cost is that of their events.
    ///
    /// Over more than a minute, it keeps two copies of the player on the stack.
    pub fn skip(&mut self, count: u64) -> u64 {
        self.skip_observed(count, &mut ())
    }

    /// As [`Player::skip`], and reports to `observer` every event before the frame arrived at.
    pub fn skip_observed(&mut self, count: u64, observer: &mut impl Observer) -> u64 {
        let mut target = self.clock;
        target.jump(count);
        if target.now() > self.end {
            let last = self.clock.rate().frame_at_or_after(self.end);
            target = self.clock;
            target.jump(last.saturating_sub(self.clock.index()));
        }
        let skipped = target.index() - self.clock.index();
        if let Some(before) = target.now().ticks().checked_sub(1) {
            self.pass(Instant::from_ticks(before), REMEMBERED, observer);
        }
        self.clock = target;
        if self.clock.now() >= self.end {
            self.finish(observer);
        }
        skipped
    }

    /// Processes the events due at or before `until`, without a frame before it.
    ///
    /// Without a listening observer, waves and pulses of beats long past are left out: a pulse as strong as the rhythm's regular
    /// ones erases the pressures before it. The last minute is played from the lowest and from the highest pressures. When the two
    /// end unequal, the time passed over still has an effect, and all pulses are played.
    fn pass(&mut self, until: Instant, remembered: Span, observer: &mut impl Observer) {
        let from = until.minus(remembered);
        if observer.listens() || from <= self.clock.now() {
            self.happen(until, observer);
            return;
        }
        let before = self.clone();
        let chosen = self.pressures.rest();
        self.happen_unseen(from, observer);
        self.pressures.recall(chosen);
        let arrived = from.plus(UNDER_WAY);
        self.happen(arrived, observer);
        let mut other = self.clone();
        let [lowest, highest] = pressure::EXTREMES_MMHG;
        let step = self.step;
        let set =
            |site| step.as_ref().map_or_else(Default::default, |placed| transducer_conditions(placed, site, arrived));
        self.pressures.forget(arrived, lowest, &self.respiration, set);
        other.pressures.forget(arrived, highest, &other.respiration, set);
        self.happen(until, observer);
        other.happen(until, observer);
        if !self.pressures.agree(&other.pressures) {
            *self = before;
            self.happen_unseen(from, observer);
            self.happen(until, observer);
        }
    }

    /// Processes the events due at or before `until` without the waves of beats, which end before the next frame.
    fn happen_unseen(&mut self, until: Instant, observer: &mut impl Observer) {
        self.ecg_rests = true;
        self.happen(until, observer);
        self.ecg_rests = false;
    }

    /// Ends the script at the next frame, and reports to `observer` the pulses that this cuts off.
    pub fn end_here(&mut self, observer: &mut impl Observer) {
        self.end = self.end.min(self.clock.now());
        self.finish(observer);
    }

    /// Processes the events due between the last frame and the end, and reports the pulses that the end cuts off; has no
    /// effect the second time.
    fn finish(&mut self, observer: &mut dyn Observer) {
        self.happen(self.end, observer);
        self.refuse_the_rest(self.end, observer);
        self.set_pressures(self.end);
        let moment = moment(self.step.as_ref(), &self.pressures_set, self.end, &self.respiration);
        self.pressures.finish(self.end, &moment, observer);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::{ADULT, NEONATE};
    use crate::heart::catalogue::RHYTHMS;
    use crate::script::{Item, Step};
    use crate::settings::{Field, Settings};
    use crate::truth::Event;

    const HZ: u64 = 100;

    /// Bits of the pressures of the next seconds, and a hash of the pulses reported in them.
    fn then(mut player: Player<'_>) -> ([[u32; PressureSite::COUNT]; 300], u64) {
        let mut frames = [Frame::default(); 300];
        let mut pulses = 0_u64;
        player.fill_observed(&mut frames, &mut |event: Event| {
            if let Event::Pulse(pulse) = event {
                for value in [pulse.foot_mmhg, pulse.systolic_mmhg, pulse.lowest_mmhg, pulse.mean_mmhg] {
                    pulses = pulses.wrapping_mul(31).wrapping_add(u64::from(value.to_bits()));
                }
            }
        });
        (frames.map(|frame| frame.pressure_mmhg.map(f32::to_bits)), pulses)
    }

    /// A few seconds are too short for many rhythms: then all pulses must be played, and half-forgotten pressures must not
    /// count as known.
    #[test]
    fn what_is_known_is_as_if_nothing_had_been_forgotten() {
        let sites = [&PressureSite::ALL[..8], &PressureSite::ALL[2..]];
        for (i, rhythm) in RHYTHMS.iter().enumerate() {
            for (body, sites) in [&ADULT, &NEONATE].into_iter().zip(sites) {
                let settings =
                    Settings::new(body, rhythm).lit(Field::ArterialSwing, 6.0).lit(Field::ChestBreathing, 2.0);
                let step = Step::lasting(Span::secs(80), settings);
                let items = [Item::Step(step)];
                let script = Script::new(i as u64, &items).expect("a step by itself");
                let chosen = SiteSet::new(sites).expect("eight sites");
                let mut whole = Player::new(&script, FrameRate::lit(HZ as u32)).with_pressures_at(chosen);
                for second in (10..70).step_by(4) {
                    let at = whole.clock.rate().instant_of(second * HZ);
                    let before = whole.clone();
                    whole.skip_observed(second * HZ - whole.position(), &mut |_: Event| ());
                    for remembered in [1.2, 1.7, 2.5, 4.0] {
                        let mut parted = before.clone();
                        parted.pass(at.minus(Span::from_ticks(1)), Span::from_secs(remembered), &mut ());
                        parted.clock = whole.clock;
                        assert_eq!(then(parted), then(whole.clone()), "{}, {second} s, {remembered} s", rhythm.id);
                    }
                }
            }
        }
    }
}
