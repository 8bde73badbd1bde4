//! The player: a script, a frame rate, and the state between frames.
//!
//! It keeps the order of events (steps, breaths, heart, pulses), hands each to whoever draws it, and fills frames with
//! closed-form signals in between. It is the only place where anything mutates.

use crate::artefact::{self, Layers};
use crate::block::{BLOCK, Block, Rows};
use crate::cuff::{self, Cuff};
use crate::ecg::electrogram::{self, Electrogram, VentricularBeat};
use crate::ecg::overshoot::Tail;
use crate::ecg::templates::AtrialOrigin;
use crate::frame::{Frame, PressureSite};
use crate::heart::{self, Activation, Heart, Variability};
use crate::image::Image;
use crate::math;
use crate::noise::Noise;
use crate::pressure::arterial::{self, Target};
use crate::pressure::ejection::Stroke;
use crate::pressure::sites::{self, Moment};
use crate::pressure::{self, Chosen, Pressures};
use crate::respiration::{self, Act, Respiration};
use crate::script::{Script, Step};
use crate::segment::Segment;
use crate::settings::Field;
use crate::test_signal::{self, TestSignal};
use crate::time::{FrameClock, FrameRate, Instant, Span};
use crate::timeline::{Course, Placed, Timeline};
use crate::truth::{AtrialBeat, Episode, Event, Observer};

/// Frames worked on together between two events.
const SEGMENT: usize = 16;

/// Plays a script frame by frame.
///
/// Plain data: a clone is a checkpoint that goes on with the same bits.
#[derive(Clone, Debug)]
pub struct Player<'a> {
    timeline: Timeline<'a>,
    step: Option<Placed<'a>>,
    artefacts: Layers,
    /// How many of the step's premature beats have come.
    beats_told: u32,
    end: Instant,
    clock: FrameClock,
    noise: Noise,
    heart: Heart,
    respiration: Respiration,
    pressures: Pressures,
    cuff: Cuff,
    ecg: Electrogram,
    test_beat: test_signal::Beat,
    /// Whether the step has a test signal, an offset or a drift.
    test_on: bool,
}

/// With pointers of 32 bits, as a microcontroller has them; wider ones take a little more.
const LARGEST: usize = if size_of::<usize>() == 4 { 4096 } else { 4096 + 128 };
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
            beats_told: 0,
            end: duration.map_or(Instant::NEVER, |duration| Instant::ZERO.plus(duration)),
            clock: FrameClock::new(rate),
            noise: Noise::new(seed),
            heart: Heart::new(),
            respiration: Respiration::new(),
            pressures: Pressures::new(Chosen::USUAL),
            cuff: Cuff::new(),
            ecg: Electrogram::default(),
            test_beat: test_signal::Beat::default(),
            test_on: false,
        }
    }

    /// The same with these pressures; the others are zero in the frames, and no pulse of theirs is told.
    ///
    /// To be called before the first frame.
    pub fn with_pressures_at(mut self, chosen: Chosen) -> Player<'a> {
        self.pressures = Pressures::new(chosen);
        self
    }

    /// Index of the next frame.
    pub fn position(&self) -> u64 {
        self.clock.index()
    }

    /// Fills `frames` from the start and says how many; fewer than asked only at the end of the script.
    pub fn fill(&mut self, frames: &mut [Frame]) -> usize {
        self.fill_observed(frames, &mut ())
    }

    /// As [`Player::fill`], telling `observer` of every event up to and including the last frame's instant; asked for frames
    /// after the last, of what happens between that and the end.
    pub fn fill_observed(&mut self, frames: &mut [Frame], observer: &mut impl Observer) -> usize {
        for frame in frames.iter_mut() {
            frame.pressure_mmhg = [0.0; PressureSite::COUNT];
        }
        let count = frames.len();
        self.fill_rows(&mut Segment::<SEGMENT>::new(), frames, count, observer)
    }

    /// Fills `block` with the next frames, `most` of them or as many as it holds, and says how many; fewer only at the end
    /// of the script. The bits are those of [`Player::fill`].
    pub fn fill_block(&mut self, block: &mut Block, most: usize) -> usize {
        block.begin(self.pressures.chosen());
        let count = self.fill_rows(&mut block.segment, &mut block.columns, most.min(BLOCK), &mut ());
        block.end(count);
        count
    }

    /// Fills rows with frames, in segments of at most `N` between two events.
    fn fill_rows<const N: usize, R: Rows + ?Sized>(
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
            self.happen(now, observer);
            self.go_on(segment, count - filled);
            self.draw(segment, rows, filled, &mut shared);
            filled += segment.count();
        }
        filled
    }

    /// Passes over `count` frames, or to the end of the script, and says how many; costs only what happens in them.
    pub fn skip(&mut self, count: u64) -> u64 {
        self.skip_observed(count, &mut ())
    }

    /// As [`Player::skip`], telling `observer` of every event before the frame arrived at.
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
            self.happen(Instant::from_ticks(before), observer);
        }
        self.clock = target;
        if self.clock.now() >= self.end {
            self.finish(observer);
        }
        skipped
    }

    /// Ends the script at the next frame, telling `observer` of the pulses that this cuts off.
    pub fn end_here(&mut self, observer: &mut impl Observer) {
        self.end = self.end.min(self.clock.now());
        self.finish(observer);
    }

    /// Lets happen what is due between the last frame and the end, and tells of what the end cuts off; has no effect the
    /// second time.
    fn finish(&mut self, observer: &mut dyn Observer) {
        self.happen(self.end, observer);
        let value = value_at(self.step.as_ref(), self.end);
        let moment = moment(self.step.as_ref(), self.end, &value, &self.respiration);
        self.pressures.finish(self.end, &moment, |pulse| observer.observe(Event::Pulse(pulse)));
    }

    /// Ends a step that holds (or any step) at the next frame.
    pub fn next_step(&mut self) {
        self.timeline.resume_at(self.clock.now());
    }

    /// Puts `step` in place of whatever comes next, as item `item`, from `start` on, or from after the last frame where that is
    /// later.
    ///
    /// From then on the player ends only when told, by [`Player::end_here`]: this is for whoever decides as it goes.
    pub fn play_next(&mut self, step: &'a Step<'a>, item: usize, start: Instant) {
        self.end = Instant::NEVER;
        // Up to the last frame everything has happened.
        let happened = self.clock.index().checked_sub(1).map(|last| self.clock.rate().instant_of(last));
        let soonest = happened.map_or(Instant::ZERO, |last| last.plus(Span::from_ticks(1)));
        self.timeline = Timeline::led(step, item, start.max(soonest));
    }

    /// Lets everything happen that is due at or before `now`.
    fn happen(&mut self, now: Instant, observer: &mut dyn Observer) {
        loop {
            let step = self.timeline.next_start();
            let breath = self.respiration.next();
            let beat = self.heart.next();
            let pulse = self.pressures.next();
            let cuff = self.cuff.next();
            let told = self.next_told();
            let first = step.min(breath).min(beat).min(pulse).min(told).min(cuff);
            if first > now || first == Instant::NEVER || first >= self.end {
                return;
            }
            // In this order when they coincide: what is set, the breath that the sinus node follows, the heart, the pulse,
            // the cuff.
            if first == step {
                self.start_step(observer);
            } else if first == breath {
                self.start_breath(observer);
            } else if first == told {
                self.tell_beat(first, observer);
            } else if first == beat {
                self.beat(first, observer);
            } else if first == pulse {
                self.start_pulse(first, observer);
            } else if let Some(event) = self.cuff.start() {
                observer.observe(Event::Cuff(event));
            }
        }
    }

    /// When the next premature beat of the step is told to come.
    fn next_told(&self) -> Instant {
        let told = self.step.as_ref().and_then(|placed| {
            let beat = placed.step.beat(self.beats_told as usize)?;
            Some(placed.start.plus(beat.after))
        });
        told.unwrap_or(Instant::NEVER)
    }

    fn tell_beat(&mut self, at: Instant, observer: &mut dyn Observer) {
        let beat = self.step.as_ref().and_then(|placed| placed.step.beat(self.beats_told as usize));
        self.beats_told += 1;
        if let (Some(beat), Some(demand)) = (beat, self.heart_demand(at)) {
            self.with_heart(at, observer, |heart, noise, emit| heart.premature(at, beat.site, &demand, noise, emit));
        }
    }

    fn value(&self, field: Field, at: Instant) -> f32 {
        value_at(self.step.as_ref(), at)(field)
    }

    fn start_step(&mut self, observer: &mut dyn Observer) {
        let Some(placed) = self.timeline.next() else {
            return;
        };
        let first = self.step.is_none();
        self.artefacts = Layers::of(&placed.step);
        // A beat of the step before may still be under way.
        self.test_on = test_signal::is_on(&placed.step) || self.test_on;
        self.beats_told = 0;
        let at = placed.start;
        let levels = pressure::levels(&value_at(Some(self.step.as_ref().unwrap_or(&placed)), at));
        self.step = Some(placed);
        observer.observe(Event::Step { item: placed.item, at });
        let breathing = self.breathing(at);
        self.respiration.retime(at, &breathing);
        if let Some(demand) = self.heart_demand(at) {
            self.with_heart(at, observer, |heart, noise, emit| heart.change(at, &demand, noise, emit));
            if first {
                let first_beat = self.heart.first_beat(&demand);
                self.with_pressures(at, |pressures, moment| pressures.begin(first_beat, moment));
            }
        }
        self.with_pressures(at, |pressures, moment| pressures.connect(&levels, moment));
        let vent = self.value(Field::CuffVent, at) >= 0.5;
        if let Some(event) = self.cuff.change(at, &self.measurement(at), vent) {
            observer.observe(Event::Cuff(event));
        }
    }

    fn measurement(&self, at: Instant) -> cuff::Demand {
        cuff::Demand {
            inflate_mmhg: self.value(Field::CuffInflate, at),
            inflation_mmhg_per_s: self.value(Field::CuffInflation, at),
            deflation_mmhg_per_s: self.value(Field::CuffDeflation, at),
            step_mmhg: self.value(Field::CuffStep, at),
            leak_mmhg_per_min: self.value(Field::CuffLeak, at),
            vent_mmhg: self.value(Field::CuffVentAt, at),
            limit_mmhg: self.value(Field::CuffLimit, at),
        }
    }

    fn start_breath(&mut self, observer: &mut dyn Observer) {
        let demand = self.breathing(self.respiration.next());
        match self.respiration.start(&demand) {
            Some(Act::Breath(breath)) => observer.observe(Event::Breath(breath)),
            Some(Act::Apnoea { at, starts }) => {
                observer.observe(Event::Episode { episode: Episode::Apnoea, at, starts });
            }
            None => {}
        }
    }

    fn beat(&mut self, at: Instant, observer: &mut dyn Observer) {
        if let Some(demand) = self.heart_demand(at) {
            self.with_heart(at, observer, |heart, noise, emit| heart.fire(&demand, noise, emit));
        }
    }

    fn start_pulse(&mut self, at: Instant, observer: &mut dyn Observer) {
        if let Some(pulse) = self.with_pressures(at, |pressures, moment| pressures.start(moment)) {
            observer.observe(Event::Pulse(pulse));
        }
    }

    /// Lets the pressures act on what holds at an instant.
    fn with_pressures<R>(&mut self, at: Instant, act: impl FnOnce(&mut Pressures, &Moment<'_>) -> R) -> R {
        let value = value_at(self.step.as_ref(), at);
        let moment = moment(self.step.as_ref(), at, &value, &self.respiration);
        act(&mut self.pressures, &moment)
    }

    fn breathing(&self, at: Instant) -> respiration::Demand {
        respiration::Demand {
            per_minute: self.value(Field::BreathsPerMin, at),
            depth_ohm: self.value(Field::BreathDepthOhm, at) * self.impedance_shares(at).0,
            expiration_ratio: self.value(Field::ExpirationRatio, at),
            ventilated: self.value(Field::Ventilated, at) >= 0.5,
            pause_s: self.value(Field::BreathPauseS, at),
            pause_every_s: self.value(Field::BreathPauseEveryS, at),
            waxing: 0.01 * self.value(Field::BreathWaxing, at),
            sigh_every: self.value(Field::SighEvery, at) as u16,
        }
    }

    /// Shares of breaths and heartbeats that the impedance electrodes see (sizes common practice, no source).
    fn impedance_shares(&self, at: Instant) -> (f32, f32) {
        if self.value(Field::BreathLead, at) < 0.5 { (1.0, 1.0) } else { (0.6, 1.5) }
    }

    fn heart_demand(&self, at: Instant) -> Option<heart::Demand> {
        let step = &self.step.as_ref()?.step;
        let (breath_start, breath_period) = self.respiration.pace();
        Some(heart::Demand {
            rhythm: step.rhythm(),
            rate_bpm: self.value(Field::RateBpm, at),
            atrial_bpm: step.get(Field::AtrialBpm),
            ratio: step.get(Field::AvRatio),
            pause: Span::from_secs(step.get(Field::PauseS)),
            qtc_ms: step.get(Field::QtcMs),
            pr: Span::from_secs(self.value(Field::PrMs, at) * 0.001),
            variability: Variability {
                breathing_ms: self.value(Field::BreathingRrMs, at),
                slow_ms: self.value(Field::SlowRrMs, at),
                fast_ms: self.value(Field::FastRrMs, at),
                breath_start,
                breath_period,
            },
        })
    }

    /// Lets the heart act and draws what it emits.
    fn with_heart(
        &mut self,
        at: Instant,
        observer: &mut dyn Observer,
        act: impl FnOnce(&mut Heart, &Noise, &mut dyn FnMut(Activation)),
    ) {
        // At most one activation of each kind, and an end and a start of each episode, comes of one event.
        let mut emitted = [None; 4];
        let mut count = 0;
        act(&mut self.heart, &self.noise, &mut |activation| {
            if let Some(place) = emitted.get_mut(count) {
                *place = Some(activation);
                count += 1;
            }
        });
        for activation in emitted.into_iter().flatten() {
            self.take_up(at, activation, observer);
        }
    }

    fn take_up(&mut self, now: Instant, activation: Activation, observer: &mut dyn Observer) {
        let Some(step) = self.step.as_ref().map(|placed| placed.step) else {
            return;
        };
        let (rhythm, body) = (step.rhythm(), step.body());
        let drawn = TestSignal::numbered(step.get(Field::TestSignal)) == TestSignal::None;
        match activation {
            Activation::Atria { at, origin, cycle } => {
                if drawn {
                    self.ecg.atria(at, origin, cycle, body);
                    observer.observe(Event::Atrial(AtrialBeat { onset: at, origin }));
                }
                // Fluttering atria hardly pump.
                let force = if origin == AtrialOrigin::Flutter { 0.25 } else { 1.0 };
                self.with_pressures(now, |pressures, moment| pressures.atria(at, force, moment));
            }
            Activation::Ventricles { at, pathway, fused, turn, interval, p_onset, code } => {
                let beat = VentricularBeat { at, pathway, fused, turn, interval, p_onset, code };
                let told = if drawn {
                    self.test_beat = test_signal::Beat::default();
                    self.ecg.ventricles(&beat, &self.ecg_demand(now))
                } else {
                    self.test_beat = test_signal::Beat::new(&value_at(self.step.as_ref(), at));
                    self.test_beat.told(at, code)
                };
                observer.observe(Event::Beat(told));
                let (stroke, target) = self.with_pressures(now, |pressures, moment| {
                    (
                        pressures.ventricles(at, interval, rhythm.ejection, moment),
                        moment.target(PressureSite::Arterial, true),
                    )
                });
                self.oscillate(at, &stroke, rhythm.ejection, &target);
                self.respiration.heartbeat(at, self.value(Field::CardiacOhm, at) * self.impedance_shares(at).1);
            }
            Activation::Pace { at, chamber, captures } => {
                self.ecg.pace(at, &self.device_demand(now));
                observer.observe(Event::Pace { at, chamber, captures });
            }
            Activation::Episode { episode, at, starts } => {
                // What began before a test signal ends in it.
                if drawn || !starts {
                    let rate_bpm = self.value(Field::RateBpm, at);
                    self.ecg.episode(episode, at, starts, rhythm, rate_bpm, &self.noise);
                    observer.observe(Event::Episode { episode, at, starts });
                }
            }
        }
    }

    /// Lets a beat show in the cuff, if that is inflated.
    fn oscillate(&mut self, onset: Instant, stroke: &Stroke, ejection: f32, target: &Target) {
        let foot = onset.shifted(arterial::pre_ejection_s(target.period) + cuff::TRANSIT_S);
        if self.cuff.at(foot) < cuff::LOWEST_MMHG {
            return;
        }
        // The pressure that regular beats hold sets the envelope; a beat that is not regular is as much weaker or stronger.
        let held = arterial::steady(&arterial::RADIAL, target, ejection);
        let Some((systolic_mmhg, diastolic_mmhg, mean_mmhg)) = held else {
            return;
        };
        let arm = cuff::Arm {
            largest_mmhg: self.value(Field::CuffOscillation, onset),
            systolic_share: 0.01 * self.value(Field::CuffSystolicShare, onset),
            diastolic_share: 0.01 * self.value(Field::CuffDiastolicShare, onset),
            systolic_mmhg,
            mean_mmhg,
            diastolic_mmhg,
        };
        self.cuff.pulse(foot, stroke.strength / ejection, target.period, &arm);
    }

    fn ecg_demand(&self, at: Instant) -> electrogram::Demand {
        electrogram::Demand {
            body: self.step.as_ref().map_or(&crate::body::ADULT, |placed| placed.step.body()),
            qrs_ms: self.value(Field::QrsMs, at),
            qtc_ms: self.value(Field::QtcMs, at),
            period: Span::period(self.value(Field::RateBpm, at)),
            st_mv: [Field::StInferiorMv, Field::StAnteriorMv, Field::StLateralMv].map(|field| self.value(field, at)),
            q_mv: [Field::QInferiorMv, Field::QAnteriorMv, Field::QLateralMv].map(|field| self.value(field, at)),
            t_size: 0.01 * self.value(Field::TPercent, at),
            tenting: 0.01 * self.value(Field::TentingPercent, at),
            axis: math::phase_of(self.value(Field::AxisDeg, at) * (1.0 / 360.0)),
        }
    }

    fn device_demand(&self, at: Instant) -> electrogram::PulseDemand {
        electrogram::PulseDemand {
            mv: self.value(Field::PacingMv, at),
            ms: self.value(Field::PacingMs, at),
            tail: Tail {
                share: 0.01 * self.value(Field::OvershootPercent, at),
                charge: self.value(Field::OvershootCharge, at),
                tau_s: 0.001 * self.value(Field::OvershootMs, at),
            },
        }
    }

    /// Makes `segment` the frames up to the next event, at least one and at most `most`.
    fn go_on<const N: usize>(&mut self, segment: &mut Segment<N>, most: usize) {
        let next = self
            .heart
            .next()
            .min(self.respiration.next())
            .min(self.pressures.next())
            .min(self.cuff.next())
            .min(self.next_told())
            .min(self.timeline.next_start())
            .min(self.end);
        segment.fill(&mut self.clock, most, next);
    }

    /// Draws the frames of a segment into rows, the first of them `from`.
    // Not inlined: a caller that is compiled for size shall not slow it down.
    #[inline(never)]
    fn draw<const N: usize, R: Rows + ?Sized>(
        &mut self,
        segment: &mut Segment<N>,
        rows: &mut R,
        from: usize,
        shared: &mut Option<artefact::Shared>,
    ) {
        let Some((instants, clocks, [x, y, z], fillings)) = segment.parts() else { return };
        let Some(first) = instants.first().copied() else { return };
        let signals = rows.signals();
        let step = self.step;
        let step_start = step.map_or(Instant::ZERO, |placed| placed.start);
        let course = |field| step.map_or(Course::held(0.0), |placed| placed.step.course(field));
        let (after, since) = (first.since(step_start), |now: &Instant| now.since(step_start));
        let breathing_percent = step.map_or(0.0, |placed| placed.step.get(Field::BreathingGain));
        if signals.respiration || breathing_percent > 0.0 {
            self.respiration.fillings(instants, fillings);
        }
        if signals.ecg {
            self.ecg.add_to(instants, clocks, self.clock.now(), [&mut *x, &mut *y, &mut *z]);
            let gain = course(Field::EcgGain);
            match gain.settled(after) {
                Some(gain) if breathing_percent <= 0.0 => {
                    if gain != 1.0 {
                        [&mut *x, &mut *y, &mut *z].into_iter().flatten().for_each(|value| *value *= gain);
                    }
                }
                _ => {
                    let vectors = x.iter_mut().zip(&mut *y).zip(&mut *z);
                    for ((((x, y), z), now), filling) in vectors.zip(instants).zip(&*fillings) {
                        let mut gain = gain.at(since(now));
                        if breathing_percent > 0.0 {
                            // Smallest with full lungs.
                            gain *= 1.0 + breathing_percent * 0.01 * (0.5 - filling);
                        }
                        (*x, *y, *z) = (*x * gain, *y * gain, *z * gain);
                    }
                }
            }
            rows.put_leads(from, [x, y, z]);
        }
        if signals.respiration {
            self.respiration.to_impedances(instants, clocks, fillings);
            let base_ohm = course(Field::BaseOhm);
            let settled = base_ohm.settled(after);
            for ((place, now), change_ohm) in rows.respiration(from).zip(instants).zip(&*fillings) {
                *place = settled.unwrap_or_else(|| base_ohm.at(since(now))) + change_ohm;
            }
        }
        if signals.cuff {
            if self.cuff.is_still(first) {
                rows.cuff(from).zip(instants).for_each(|([cuff, oscillation], _)| (*cuff, *oscillation) = (0.0, 0.0));
            } else {
                // What was in their place has been used.
                let oscillations = fillings;
                oscillations.fill(0.0);
                self.cuff.add_oscillations(instants, clocks, oscillations);
                for (([cuff, oscillation], now), mmhg) in rows.cuff(from).zip(instants).zip(&*oscillations) {
                    (*cuff, *oscillation) = (self.cuff.at(*now) + mmhg, *mmhg);
                }
            }
        }
        for site in self.pressures.chosen().sites() {
            let level_mmhg = course(sites::fields(site).level);
            let settled = level_mmhg.settled(after);
            let Some(tap) = self.pressures.tap(site) else { continue };
            for (place, now) in rows.pressure(site, from).zip(instants) {
                *place = settled.unwrap_or_else(|| level_mmhg.at(since(now))) + tap.at(*now);
            }
        }
        let Some(placed) = self.step.as_ref().filter(|_| signals.ecg) else { return };
        if self.test_on {
            let onset = self.heart.last_beat().unwrap_or(Instant::NEVER);
            test_signal::add_to(placed, &self.test_beat, onset, instants, rows, from);
        }
        if !self.artefacts.none() {
            let shared = shared.get_or_insert_with(artefact::Shared::new);
            artefact::add_to(self.artefacts, shared, placed, &self.noise, &self.respiration, instants, rows, from);
        }
    }
}

/// The values that a step's settings have at an instant; zero before the first step.
fn value_at<'s>(step: Option<&'s Placed<'s>>, at: Instant) -> impl Fn(Field) -> f32 + 's {
    move |field| step.map_or(0.0, |placed| placed.value(field, at))
}

/// What holds for the pressures at an instant.
fn moment<'v>(
    step: Option<&Placed<'_>>,
    at: Instant,
    value: &'v dyn Fn(Field) -> f32,
    respiration: &Respiration,
) -> Moment<'v> {
    let rate_bpm = value(Field::RateBpm);
    let filling_bpm = step.map_or(rate_bpm, |placed| placed.step.rhythm().filling_bpm(rate_bpm, value(Field::AvRatio)));
    let ejection = step.map_or(1.0, |placed| placed.step.rhythm().ejection);
    Moment { at, period: Span::period(filling_bpm), value, filling: respiration.filling(at), ejection }
}
