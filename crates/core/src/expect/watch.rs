//! State gathered while a script is played: beats, pulses, breaths and pressures of the present step, and its alarms.

use super::alarm::{AlarmBoard, AlarmSink};
use super::breaths::BreathMeter;
use super::causes::{self, CauseCounts};
use super::cuff::{self, CuffMeter, CuffReading};
use super::expected::{Expected, Pressure, SETTLING};
use super::heart_alarms::{HeartAlarms, supraventricular};
use super::limits::{AlarmLimit, AlarmLimits};
use super::pressure::{PressureLook, PressureMeter};
use super::pressure_alarms::PressureAlarms;
use super::pulses::{PulseMeter, SMALLEST_PULSE_MMHG};
use super::rate::{AveragingRule, RateMeter};
use super::reading::{Cause, Causes, Reading, ReadingBand};
use super::st::StMeter;
use crate::anatomy::PressureSite;
use crate::artefact::ElectrodesOff;
use crate::field::transducer;
use crate::settings::Field;
use crate::site_set::SiteSet;
use crate::test_signal::TestSignal;
use crate::time::{Instant, Span};
use crate::timeline::{Placed, PlayedStep, Timeline};
use crate::truth::{Beat, BeatCode, Breath, Chamber, Episode, Event, Observer, Pulse};

/// Largest QRS of a test signal that is not counted, mV (IEC 60601-2-27, as makers quote it).
const LARGEST_UNSEEN_MV: f32 = 0.15;

/// Width of the spike of 1 mV that is not counted, ms (EC13 4.2.6.1, from memory).
const UNSEEN_SPIKE_MS: f32 = 10.0;

/// A pressure whose band is no wider does not move, mmHg.
const STEADY_MMHG: f32 = 0.5;

/// Feet of pulses within the frames that are filled together: one at each site at most.
const FEET: usize = 16;

/// Foot of a pulse, and the pulse that it ends: its own foot and its height in the vessel.
#[derive(Clone, Copy, Debug)]
struct Foot {
    site: PressureSite,
    at: Instant,
    ended: Instant,
    height_mmhg: f32,
}

#[derive(Clone, Debug)]
pub(super) struct Watch<'a> {
    limits: AlarmLimits,
    chosen: SiteSet,
    placed: Option<Placed<'a>>,
    from: Instant,
    /// Electrodes that are off in the step.
    off: ElectrodesOff,
    counts: CauseCounts,
    cuff: CuffMeter,
    cuff_read: Option<CuffReading>,
    rate: RateMeter,
    pulses: PulseMeter,
    breaths: BreathMeter,
    st: StMeter,
    pressures: [PressureMeter; PressureSite::COUNT],
    feet: [Option<Foot>; FEET],
    /// Time is passed over, and no samples come.
    skips: bool,
    heart: HeartAlarms,
    of_pressure: PressureAlarms,
    board: AlarmBoard,
    done: Option<Expected>,
}

impl<'a> Watch<'a> {
    pub(super) fn new(chosen: SiteSet, limits: AlarmLimits) -> Watch<'a> {
        Watch {
            limits,
            chosen,
            placed: None,
            from: Instant::ZERO,
            off: ElectrodesOff::NONE,
            counts: CauseCounts::default(),
            cuff: CuffMeter::new(),
            cuff_read: None,
            rate: RateMeter::new(AveragingRule::Beats),
            pulses: PulseMeter::new(),
            breaths: BreathMeter::new(),
            st: StMeter::new(),
            pressures: core::array::from_fn(|i| {
                let artery = [PressureSite::Arterial, PressureSite::Femoral, PressureSite::Pulmonary];
                let pulses = artery.iter().any(|artery| *artery as usize == i);
                PressureMeter::new(if pulses { SMALLEST_PULSE_MMHG } else { 0.0 })
            }),
            feet: [None; FEET],
            skips: false,
            heart: HeartAlarms::new(),
            of_pressure: PressureAlarms::new(),
            board: AlarmBoard::new(),
            done: None,
        }
    }

    /// The step that has ended, once.
    pub(super) fn done(&mut self) -> Option<Expected> {
        self.done.take()
    }

    /// A step begins and ends at `end`.
    pub(super) fn begin(&mut self, placed: Placed<'a>, end: Instant, sink: &mut dyn AlarmSink) {
        let at = placed.start;
        self.finish(at, sink);
        let half = Span::from_ticks(end.since(at).ticks() / 2);
        self.placed = Some(placed);
        self.from = at.plus(half.min(SETTLING));
        self.off = ElectrodesOff::of(|field| placed.step.is_on(field));
        self.counts = CauseCounts::default();
        self.cuff_read = None;
        self.rate.begin(at, self.from);
        self.pulses.begin(at, self.from);
        self.breaths.begin(at, self.from);
        self.st.begin(self.from);
        for (site, meter) in PressureSite::ALL.iter().zip(&mut self.pressures) {
            meter.begin(at, self.from);
            // No pulse goes on behind a closed transducer.
            if placed.step.is_on(transducer(*site).closed) {
                meter.interrupt(at);
            }
        }
        self.board.begin();
        if !self.has_beats() {
            self.heart.suspend(at, &mut self.board, sink);
        }
        if self.is_impedance_open() {
            self.breaths.suspend(at, &mut self.board, sink);
        }
    }

    /// The step in hand ends.
    pub(super) fn finish(&mut self, end: Instant, sink: &mut dyn AlarmSink) {
        self.pass(end, sink);
        self.done = self.expected(end);
    }

    /// The script ends at `last`, and with it a deflation.
    pub(super) fn end_cuff(&mut self, last: Instant) {
        self.cuff_read = self.cuff.finish(last).or(self.cuff_read);
    }

    /// End of the script: reports the alarms that still hold.
    pub(super) fn end(&mut self, sink: &mut dyn AlarmSink) {
        self.board.finish(sink);
    }

    /// Start of the step in hand.
    pub(super) fn start(&self) -> Instant {
        self.placed.map_or(Instant::ZERO, |placed| placed.start)
    }

    /// Whether anything moves in it by itself.
    pub(super) fn moves(&self) -> bool {
        self.placed.is_some_and(|placed| placed.step.ramps().next().is_some())
    }

    fn value(&self, field: Field, at: Instant) -> f32 {
        self.placed.map_or(0.0, |placed| placed.step.value(field, at.since(placed.start)))
    }

    /// Whether the step plays beats, or could, and a lead shows them.
    fn has_beats(&self) -> bool {
        self.placed.is_none_or(|placed| placed.step.test_signal().has_beats()) && !self.off.flatten_every_lead()
    }

    /// Whether an electrode of the impedance is off.
    fn is_impedance_open(&self) -> bool {
        self.placed.is_some_and(|placed| self.off.in_impedance(placed.step.is_on(Field::BreathLead)))
    }

    /// Advances to `now`.
    pub(super) fn pass(&mut self, now: Instant, sink: &mut dyn AlarmSink) {
        let Some(placed) = self.placed else { return };
        let (limits, age) = (self.limits, placed.step.body().age);
        let limit = |limit| limits.of(limit, age);
        if self.has_beats() {
            self.heart.pass(now, &limit, &mut self.board, sink);
        } else {
            self.heart.suspend(now, &mut self.board, sink);
        }
        if self.is_impedance_open() {
            self.breaths.suspend(now, &mut self.board, sink);
        } else {
            self.breaths.pass(now, &limit, &mut self.board, sink);
        }
    }

    /// An event other than the start of a step.
    pub(super) fn event(&mut self, event: Event, sink: &mut dyn AlarmSink) {
        match event {
            Event::Beat(_) | Event::Pace { .. } if self.off.flatten_every_lead() => {}
            Event::Beat(beat) => {
                self.st.beat(beat.code);
                self.beat(&beat, sink);
            }
            Event::Lead(beat) => self.st.lead(&beat),
            Event::Episode {
                episode: Episode::VentricularFibrillation | Episode::VentricularFlutter,
                at,
                starts,
                ..
            } => {
                if !starts {
                    self.pass(at, sink);
                    self.rate.forget();
                }
                self.counts.fibrillated |= starts || at > self.from;
                self.heart.ventricles(at, starts, &mut self.board, sink);
            }
            Event::Episode { episode: Episode::AtrialFibrillation, starts, .. } => self.heart.atria(starts),
            Event::Pace { at, chamber: Chamber::Ventricle, captures } => {
                let period_s = Span::period(self.value(Field::RateBpm, at)).as_secs();
                self.heart.pace(at, captures, period_s, &mut self.board, sink);
            }
            Event::Breath(breath) => self.breath(&breath, sink),
            Event::Pulse(pulse) => self.pulse(&pulse),
            Event::Cuff(_) | Event::CuffPulse(_) => self.cuff_read = self.cuff.take(&event).or(self.cuff_read),
            Event::Refused(_) => self.counts.refused += 1,
            _ => {}
        }
    }

    fn beat(&mut self, beat: &Beat, sink: &mut dyn AlarmSink) {
        let Some(placed) = self.placed else { return };
        if placed.step.test_signal() == TestSignal::TriangularQrs {
            let height_mv = crate::math::abs(self.value(Field::TestHeightMv, beat.onset));
            let spike = placed.step.get(Field::TestWidthMs) <= UNSEEN_SPIKE_MS && height_mv <= 1.0;
            if height_mv <= LARGEST_UNSEEN_MV || spike {
                return;
            }
        }
        let ventricular = matches!(beat.code, BeatCode::VentricularPremature | BeatCode::ROnT);
        self.counts.ventricular += u32::from(ventricular);
        self.counts.premature += u32::from(supraventricular(beat.code));
        self.rate.beat(beat.peak);
        let (limits, age) = (self.limits, placed.step.body().age);
        self.heart.beat(beat, &|limit| limits.of(limit, age), &mut self.board, sink);
    }

    fn breath(&mut self, breath: &Breath, sink: &mut dyn AlarmSink) {
        let Some(placed) = self.placed else { return };
        self.pass(breath.start, sink);
        if self.is_impedance_open() {
            return;
        }
        let (limits, age) = (self.limits, placed.step.body().age);
        self.breaths.breath(breath, &|limit| limits.of(limit, age), &mut self.board, sink);
    }

    fn pulse(&mut self, pulse: &Pulse) {
        let arterial = pulse.site == PressureSite::Arterial;
        let height_mmhg = pulse.systolic_mmhg - pulse.foot_mmhg;
        if arterial {
            self.pulses.known(pulse.foot, pulse.end);
        }
        if !self.skips {
            if let Some(place) = self.feet.iter_mut().find(|place| place.is_none()) {
                *place = Some(Foot { site: pulse.site, at: pulse.end, ended: pulse.foot, height_mmhg });
            }
        } else if arterial {
            self.pulses.pulse(pulse.foot, height_mmhg);
        }
    }

    /// Some time will be passed over without samples: its pulses count as they are in the vessel.
    pub(super) fn begin_skip(&mut self) {
        self.skips = true;
        for foot in self.feet.iter_mut().filter_map(Option::take).filter(|foot| foot.site == PressureSite::Arterial) {
            self.pulses.pulse(foot.ended, foot.height_mmhg);
        }
    }

    /// That time is over.
    pub(super) fn end_skip(&mut self, now: Instant) {
        self.skips = false;
        for meter in &mut self.pressures {
            meter.interrupt(now);
        }
    }

    /// Samples of a site at consecutive instants, which `at` gives by their index.
    pub(super) fn samples(
        &mut self,
        site: PressureSite,
        samples: &[f32],
        at: impl Fn(usize) -> Instant,
        sink: &mut dyn AlarmSink,
    ) {
        let Some(placed) = self.placed else { return };
        let Some(meter) = self.pressures.get_mut(site as usize) else { return };
        let (limits, age) = (self.limits, placed.step.body().age);
        let limit = |limit| limits.of(limit, age);
        let of_pressure = &mut self.of_pressure;
        let (board, pulses) = (&mut self.board, &mut self.pulses);
        let mut look = |look: Option<PressureLook>, now: Instant| {
            if let Some(look) = look {
                of_pressure.look(site, &look, now, &limit, board, sink);
            }
        };
        let mut feet = self.feet.iter().flatten().any(|foot| foot.site == site);
        for (i, mmhg) in samples.iter().enumerate() {
            if feet {
                let now = at(i);
                feet = false;
                for place in &mut self.feet {
                    match place.filter(|foot| foot.site == site) {
                        Some(foot) if foot.at <= now => {
                            *place = None;
                            let follows = meter.follows();
                            let read = meter.foot(foot.at);
                            if site == PressureSite::Arterial {
                                // A pulse that was not followed from its foot on has the height in the vessel.
                                let seen = read.map_or(0.0, |look| look.rise);
                                pulses.pulse(foot.ended, if follows { seen } else { foot.height_mmhg });
                            }
                            // Its reading of long ago says nothing of the time since.
                            look(read.filter(|read| !read.again), now);
                        }
                        Some(_) => feet = true,
                        None => {}
                    }
                }
            }
            if meter.sample(*mmhg) {
                look(meter.outlasted(at(i)), at(i));
                look(meter.end_piece(at(i)), at(i));
            }
        }
    }

    fn expected(&self, end: Instant) -> Option<Expected> {
        let placed = self.placed?;
        let step = &placed.step;
        let limit = |limit| self.limits.of(limit, step.body().age);
        let of_rate = causes::of_rate(step, &self.counts, &self.rate);
        let rate = if self.off.flatten_every_lead() {
            Reading::none(Cause::ElectrodesOff)
        } else if !self.has_beats() {
            Reading::none(Cause::TestSignal)
        } else if self.counts.fibrillated || self.heart.fibrillates() {
            Reading::none(Cause::Fibrillation)
        } else {
            let band = self.rate.band(end, None, limit(AlarmLimit::AsystoleS));
            let band = if of_rate.has(Cause::Ramp) { band.map(|band| self.rate.moving(band)) } else { band };
            let silent = band.is_some_and(|band| band.high == 0.0);
            Reading { band, causes: if silent { Causes::NONE.and(Cause::NoBeats) } else { of_rate } }
        };
        let (breaths, breaths_from) = if self.is_impedance_open() {
            (Reading::none(Cause::ElectrodeOff), self.from)
        } else {
            self.breaths.reading(step, end, &limit)
        };
        let closed = |site| step.is_on(transducer(site).closed);
        let pressures = core::array::from_fn(|i| {
            let (Some(site), Some(meter)) = (PressureSite::ALL.get(i).copied(), self.pressures.get(i)) else {
                return Pressure::NOT_PLAYED;
            };
            if !self.chosen.has(site) {
                return Pressure::NOT_PLAYED;
            }
            if pressed(step) && !closed(site) {
                let none = Reading::none(Cause::Compressions);
                return Pressure { systolic: none, diastolic: none, mean: none };
            }
            let bands = meter.bands(closed(site), end);
            let pulseless = bands.systolic.is_none() && !closed(site);
            let causes = causes::of_pressure(step, site, of_rate).and_if(pulseless, Cause::NoPulses);
            let reading = |band: Option<ReadingBand>| Reading {
                band,
                causes: match band {
                    Some(band) if band.width() > STEADY_MMHG => causes,
                    Some(_) => causes.of_a_shift(),
                    None => Causes::NONE.and(Cause::NoPulses),
                },
            };
            Pressure {
                systolic: reading(bands.systolic),
                diastolic: reading(bands.diastolic),
                mean: reading(bands.mean),
            }
        });
        Some(Expected {
            item: placed.item,
            start: placed.start,
            from: self.from.min(end),
            end,
            rate,
            pulse: self.pulse_rate(end, closed(PressureSite::Arterial), of_rate, limit(AlarmLimit::AsystoleS)),
            breaths,
            breaths_from: breaths_from.min(end),
            st: self.st.readings(self.off),
            pressures,
            cuff: cuff::readings(self.cuff_read.as_ref(), &placed, of_rate),
            alarms: *self.board.step(),
            refused: self.counts.refused,
        })
    }

    fn pulse_rate(&self, end: Instant, closed: bool, causes: Causes, silence_s: f32) -> Reading {
        if closed || !self.chosen.has(PressureSite::Arterial) {
            return Reading::none(if closed { Cause::Closed } else { Cause::NotPlayed });
        }
        if self.placed.is_some_and(|placed| pressed(&placed.step)) {
            return Reading::none(Cause::Compressions);
        }
        let moves = causes.has(Cause::Ramp);
        let Some((band, weak)) = self.pulses.band(end, silence_s, moves) else { return Reading { band: None, causes } };
        if band.high == 0.0 {
            return Reading::none(Cause::NoPulses);
        }
        let alternans = self.placed.is_some_and(|placed| placed.step.get(Field::Alternans) != 0.0);
        let weaker = if alternans { Cause::Alternans } else { Cause::WeakBeats };
        Reading { band: Some(band), causes: causes.and_if(weak, weaker) }
    }
}

/// Whether chest compressions press on the vessels in a step, at its start or by a ramp.
fn pressed(step: &PlayedStep<'_>) -> bool {
    let course = step.course(Field::CompressionMmhg);
    course.settled(Span::ZERO) != Some(0.0)
}

/// Observer that feeds a watch and reports alarms.
pub(super) struct Listener<'w, 'a> {
    pub(super) watch: &'w mut Watch<'a>,
    /// The steps that are still to come.
    pub(super) timeline: &'w mut Timeline<'a>,
    /// End of the playing time.
    pub(super) last: Instant,
    pub(super) sink: &'w mut dyn AlarmSink,
}

impl Observer for Listener<'_, '_> {
    fn observe(&mut self, event: Event) {
        if !matches!(event, Event::Step { .. }) {
            self.watch.event(event, self.sink);
        } else if let Some(placed) = self.timeline.next() {
            let end = placed.step.duration().map_or(Instant::NEVER, |duration| placed.start.plus(duration));
            self.watch.begin(placed, end.min(self.last), self.sink);
        }
    }
}
