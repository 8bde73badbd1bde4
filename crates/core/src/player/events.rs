//! Events at an instant: steps, breaths, the heart, pulses, the cuff. Each is reported and handed to the part that draws it.

use super::Player;
use super::asked::RequestedBeats;
use super::moment::{moment, pressure_conditions, pressures_ramp, transducer_conditions};
use super::settings::heart_conditions;
use crate::anatomy::{AtrialOrigin, Episode, PressureSite, Refusal};
use crate::artefact::{Layers, swapped_arms};
use crate::cuff;
use crate::ecg::electrogram::VentricularBeat;
use crate::ecg::measure::{ST_AFTER_J, Weights, lead_of_eight};
use crate::ecg::person::Person;
use crate::field::{Field, transducer};
use crate::frame::{INDEPENDENT_LEADS, Lead};
use crate::heart::rhythm::Atria;
use crate::heart::{Activation, Emit, Heart, HeartConditions, ListedBeat};
use crate::noise::Noise;
use crate::pressure::arterial;
use crate::pressure::sites::Moment;
use crate::pressure::{AT_ONCE, Pressures};
use crate::respiration::Act;
use crate::test_signal::{self, TestSignal};
use crate::time::{Instant, Span};
use crate::truth::{AtrialBeat, Beat, Event, LeadBeat, Observer, RefusedBeat};

impl Player<'_> {
    /// Processes the events due at or before `now`, and returns the time of the next.
    pub(super) fn happen(&mut self, now: Instant, observer: &mut dyn Observer) -> Instant {
        loop {
            let step = self.timeline.next_start();
            let breath = self.respiration.next();
            let beat = self.heart.next();
            let mut pulse = self.pressures.next();
            let cuff = self.cuff.next();
            let asked = self.asked.at;
            let condition = self.conditions.next();
            let other = step.min(condition).min(breath).min(beat).min(asked).min(cuff);
            let first = other.min(pulse);
            if first > now || first == Instant::NEVER || first >= self.end {
                return first;
            }
            // In this order when they coincide: settings, the breath that the sinus node follows, the heart, the pulse,
            // the cuff.
            if first == step {
                self.start_step(observer);
            } else if first == condition {
                self.look_at_conditions(first, observer);
            } else if first == breath {
                self.start_breath(observer);
            } else if first == asked {
                self.ask(first, observer);
            } else if first == beat {
                self.beat(first, observer);
            } else if first == pulse {
                // A pulse does not move other events.
                while pulse == first || pulse <= now && pulse < other && pulse < self.end {
                    self.start_pulse(pulse, observer);
                    pulse = self.pressures.next();
                }
            } else if let Some(event) = self.cuff.start() {
                observer.observe(Event::Cuff(event));
            }
        }
    }

    fn look_at_conditions(&mut self, at: Instant, observer: &mut dyn Observer) {
        if let Some(placed) = &self.step {
            self.conditions.look(placed, at, observer);
        }
    }

    /// Works out when the step asks for its next beat.
    fn plan_asked(&mut self) {
        if let Some(placed) = &self.step {
            self.asked = self.asked.planned(placed, self.heart.last_beat(), self.timeline.next_start());
        }
    }

    /// Asks the heart for the beat that is due.
    fn ask(&mut self, at: Instant, observer: &mut dyn Observer) {
        let Some(placed) = &self.step else { return };
        let index = self.asked.index as usize;
        let (premature, listed) = (placed.step.beat(index), placed.step.series_beat(index));
        let onset = self.asked.listed.onset;
        self.recorded_peak = listed.map_or(Instant::NEVER, |beat| self.asked.peak(placed, &beat));
        self.asked.index += 1;
        self.plan_asked();
        self.with_heart(at, observer, |heart, conditions, noise, emit| {
            if let Some(beat) = premature {
                heart.premature(at, beat.site, conditions, noise, emit);
            }
            if let Some(beat) = listed {
                heart.play_listed(at, onset, beat.code, conditions, noise, emit);
            }
        });
    }

    /// Reports the step's premature beats that its end leaves no time for.
    pub(super) fn refuse_the_rest(&mut self, at: Instant, observer: &mut dyn Observer) {
        let Some(placed) = &self.step else { return };
        while let Some(beat) = placed.step.beat(self.asked.index as usize) {
            let asked = placed.start.plus(beat.after);
            observer.observe(Event::Refused(RefusedBeat { at, asked, site: beat.site, why: Refusal::StepEnded }));
            self.asked.index += 1;
        }
    }

    fn start_step(&mut self, observer: &mut dyn Observer) {
        let Some(placed) = self.timeline.next() else {
            return;
        };
        self.refuse_the_rest(placed.start, observer);
        let first = self.step.is_none();
        self.glide = self.glide.into_step(self.step.as_ref(), &placed);
        self.fading = self.fading.after(self.step.as_ref(), placed.start);
        let glide = self.glide;
        self.artefacts =
            Layers::of(|field| placed.step.uses(field) || glide.moves(field), |field| placed.step.is_on(field));
        self.test_on = test_signal::is_on(|field| placed.step.uses(field));
        let at = placed.start;
        let before = self.step.as_ref().unwrap_or(&placed);
        let mut levels = [0.0; AT_ONCE];
        for (level, site) in levels.iter_mut().zip(self.pressures.chosen().sites()) {
            *level = before.value(transducer(site).level, at);
        }
        self.pressures_at = if pressures_ramp(&placed.step) { at } else { Instant::NEVER };
        self.pressures_set = pressure_conditions(&placed, at);
        self.step = Some(placed);
        self.asked = RequestedBeats::new();
        self.plan_asked();
        observer.observe(Event::Step { item: placed.item, at });
        if self.asked.left_out_first()
            && let Some(beat) = placed.step.series_beat(0)
        {
            let (asked, site) = (at.plus(beat.after), ListedBeat::site(beat.code));
            observer.observe(Event::Refused(RefusedBeat { at, asked, site, why: Refusal::Refractory }));
        }
        self.look_at_conditions(at, observer);
        let breathing = self.breathing(at);
        self.respiration.retime(at, &breathing);
        let first_beat = self.with_heart(at, observer, |heart, conditions, noise, emit| {
            heart.change(at, conditions, noise, emit);
            heart.first_beat(conditions)
        });
        if first {
            self.with_pressures(at, |pressures, moment| pressures.begin(first_beat.flatten(), moment));
        }
        self.with_pressures(at, |pressures, moment| pressures.change(moment));
        self.pressures.connect(at, &levels, &self.respiration, |site| transducer_conditions(&placed, site, at));
        let length = if placed.step.uses(Field::CompressionMmhg) { placed.step.duration() } else { Some(Span::ZERO) };
        let until = length.map_or(Instant::NEVER, |length| at.plus(length));
        self.with_pressures(at, |pressures, moment| pressures.compress(at, until, moment));
        let vent = self.is_on(Field::CuffVent);
        if let Some(event) = self.cuff.change(at, &self.measurement(at), vent) {
            observer.observe(Event::Cuff(event));
        }
    }

    fn start_breath(&mut self, observer: &mut dyn Observer) {
        let (at, before) = (self.respiration.next(), self.respiration.is_obstructed());
        let conditions = self.breathing(at);
        let last = self.respiration.clone();
        let act = self.respiration.start(&conditions);
        let starts = self.respiration.is_obstructed();
        if starts != before {
            observer.observe(Event::Episode { episode: Episode::Obstruction, at, starts });
        }
        match act {
            Some(Act::Breath(breath)) => {
                if last.chest_mmhg() != 0.0 {
                    self.pressures.breathe(at, &last);
                }
                observer.observe(Event::Breath(breath));
            }
            Some(Act::Apnoea { at, starts }) => {
                observer.observe(Event::Episode { episode: Episode::Apnoea, at, starts });
            }
            None => {}
        }
    }

    fn beat(&mut self, at: Instant, observer: &mut dyn Observer) {
        self.with_heart(at, observer, |heart, conditions, noise, emit| heart.fire(conditions, noise, emit));
    }

    fn start_pulse(&mut self, at: Instant, observer: &mut dyn Observer) {
        self.with_pressures(at, |pressures, moment| pressures.start(moment, observer));
    }

    /// Brings the pressures' settings to an instant, where they ramp.
    pub(super) fn set_pressures(&mut self, at: Instant) {
        if self.pressures_at == Instant::NEVER || self.pressures_at == at {
            return;
        }
        if let Some(placed) = &self.step {
            self.pressures_set = pressure_conditions(placed, at);
            self.pressures_at = at;
        }
    }

    /// Lets the pressures act on what holds at an instant.
    pub(super) fn with_pressures<R>(&mut self, at: Instant, act: impl FnOnce(&mut Pressures, &Moment<'_>) -> R) -> R {
        self.set_pressures(at);
        let moment = moment(self.step.as_ref(), &self.pressures_set, at, &self.respiration);
        act(&mut self.pressures, &moment)
    }

    /// Lets the heart act on what holds at an instant and draws what it emits; `None` before the first step.
    fn with_heart<R>(
        &mut self,
        at: Instant,
        observer: &mut dyn Observer,
        act: impl FnOnce(&mut Heart, &HeartConditions<'_>, &Noise, Emit<'_>) -> R,
    ) -> Option<R> {
        let placed = self.step.as_ref()?;
        let mut conditions = heart_conditions(placed, &self.respiration, &self.noise, at);
        let listed;
        if placed.step.series_length().is_some() {
            listed = conditions.rhythm.listed();
            conditions.leading = conditions.rhythm.leading();
            conditions.listed = Some(self.asked.listed);
            conditions.rhythm = &listed;
            // Another rhythm than the one whose beats come by themselves.
            conditions.which = conditions.which.wrapping_add(1);
        }
        // At most one activation of each kind, and an end and a start of each episode, comes of one event, or the end of
        // all impulses on their way.
        let mut emitted = [None; 8];
        let mut count = 0;
        let acted = act(&mut self.heart, &conditions, &self.noise, &mut |activation| {
            if let Some(place) = emitted.get_mut(count) {
                *place = Some(activation);
                count += 1;
            }
        });
        for activation in emitted.into_iter().flatten() {
            self.take_up(at, activation, observer);
        }
        Some(acted)
    }

    fn take_up(&mut self, now: Instant, activation: Activation, observer: &mut dyn Observer) {
        let Some(step) = self.step.as_ref().map(|placed| &placed.step) else {
            return;
        };
        let (rhythm, body) = (step.rhythm(), step.body());
        let recorded = step.recording().is_some();
        let drawn = step.test_signal() == TestSignal::None && !recorded;
        match activation {
            Activation::Atria { at, origin, cycle } => {
                if drawn {
                    if !self.ecg_rests {
                        // Potassium that tents T flattens P.
                        let flat = 1.0 - 0.007 * self.value(Field::TentingPercent, now);
                        let person = Person::of(&self.noise, 0.01 * self.value(Field::PersonPercent, now));
                        self.ecg.atria(at, (origin, cycle), body.shapes, person, flat);
                    }
                    observer.observe(Event::Atrial(AtrialBeat { onset: at, origin }));
                }
                // Fluttering atria hardly pump.
                let force = if origin == AtrialOrigin::Flutter { 0.25 } else { 1.0 };
                self.with_pressures(now, |pressures, moment| pressures.atria(at, force, moment));
            }
            Activation::Ventricles { at, pathway, fused, odd, turn, interval, length, p_onset, code } => {
                let beat = VentricularBeat { at, pathway, fused, odd, turn, length, p_onset, code };
                self.test_beat = if drawn || recorded {
                    test_signal::TestBeat::default()
                } else {
                    let value = |field| self.value(field, at);
                    test_signal::TestBeat::new(
                        value(Field::TestWidthMs),
                        value(Field::TestHeightMv),
                        value(Field::TestTMv),
                    )
                };
                if drawn && !self.ecg_rests {
                    let conditions = self.wave_conditions(now);
                    let (mut report, waves) = self.ecg.ventricles(&beat, &conditions, &self.noise);
                    // Work that serves the observer alone.
                    if observer.listens() {
                        report.peak = self.ecg.own(&report, waves).peak();
                        observer.observe(Event::Beat(report));
                        self.report_leads(&report, true, observer);
                    }
                } else if recorded {
                    let peak = core::mem::replace(&mut self.recorded_peak, Instant::NEVER);
                    if peak != Instant::NEVER {
                        observer.observe(Event::Beat(Beat::recorded(peak, code)));
                    }
                } else {
                    let report = self.test_beat.report(at, code);
                    observer.observe(Event::Beat(report));
                    self.report_leads(&report, false, observer);
                }
                // Only atria that go their own way happen to contract before a beat.
                let led = p_onset.is_some() || !matches!(rhythm.atria, Atria::Independent);
                self.with_pressures(now, |pressures, moment| pressures.ventricles(at, interval, led, moment));
                self.oscillate(now, at, observer);
                self.respiration.heartbeat(at, self.value(Field::CardiacOhm, at) * self.impedance_shares().1);
            }
            // The recording has its own pulses, at times that are not known.
            Activation::Pace { .. } if recorded => {}
            Activation::Pace { at, chamber, captures } => {
                self.ecg.pace(at, &self.pulse_conditions(now));
                observer.observe(Event::Pace { at, chamber, captures });
            }
            Activation::Refused { at, asked, why } => {
                observer.observe(Event::Refused(RefusedBeat { at, asked: asked.at, site: asked.site, why }));
            }
            Activation::Episode { episode, at, starts } => {
                // An episode from before a test signal ends in it.
                if drawn || !starts {
                    let rate_bpm = self.value(Field::RateBpm, at);
                    self.ecg.episode(episode, at, starts, rhythm, rate_bpm, &self.noise);
                    observer.observe(Event::Episode { episode, at, starts });
                }
            }
        }
    }

    /// Reports a beat in each lead that is asked for: of the waves just drawn, or of a test signal's beat.
    fn report_leads(&self, beat: &Beat, drawn: bool, observer: &mut dyn Observer) {
        let st_at = beat.end.plus(ST_AFTER_J);
        let swapped = self.is_on(Field::SwapArms);
        let worn = |leads: [f32; INDEPENDENT_LEADS]| if swapped { swapped_arms(leads) } else { leads };
        let off = self.artefacts.off();
        for lead in Lead::ALL.into_iter().filter(|lead| self.leads & 1 << *lead as u16 != 0 && !off.in_lead(*lead)) {
            let (r_at, [base_mv, r_mv, st_mv]) = if drawn {
                let (qrs, weights) = (self.ecg.with_waves_before(beat), Weights::of(lead, worn));
                let r_at = qrs.r_at(&weights);
                (r_at, [beat.onset, r_at, st_at].map(|at| self.heart_gain(at) * qrs.value(&weights, at)))
            } else {
                let share = lead_of_eight(lead, worn([1.0; INDEPENDENT_LEADS]));
                let at = [beat.onset, beat.peak, st_at];
                (beat.peak, at.map(|at| share * self.test_beat.value(beat.onset, at)))
            };
            let (r_mv, st_mv) = (r_mv - base_mv, st_mv - base_mv);
            observer.observe(Event::Lead(LeadBeat { onset: beat.onset, peak: beat.peak, lead, r_at, r_mv, st_mv }));
        }
    }

    /// Lets the pulse of a beat show in the cuff, if that is inflated.
    fn oscillate(&mut self, now: Instant, onset: Instant, observer: &mut dyn Observer) {
        if self.cuff.is_empty() {
            return;
        }
        self.set_pressures(now);
        let moment = moment(self.step.as_ref(), &self.pressures_set, now, &self.respiration);
        let (period, target) = (moment.period, moment.target(PressureSite::Arterial, true));
        let foot = onset.shifted(arterial::pre_ejection_s(period) + cuff::TRANSIT_S);
        let Some((diastolic_mmhg, systolic_mmhg, mean_mmhg)) = self.pressures.ejected(onset, period) else {
            return;
        };
        let regular = arterial::steady(&arterial::RADIAL, &target, moment.ejection);
        let Some((regular_systolic, regular_diastolic, _)) = regular else { return };
        let arm = cuff::Arm {
            largest_mmhg: self.value(Field::CuffOscillation, onset),
            regular_mmhg: regular_systolic - regular_diastolic,
            systolic_share: 0.01 * self.value(Field::CuffSystolicShare, onset),
            diastolic_share: 0.01 * self.value(Field::CuffDiastolicShare, onset),
        };
        let pulse = cuff::Pulse { foot, systolic_mmhg, mean_mmhg, diastolic_mmhg };
        if let Some(felt) = self.cuff.pulse(&pulse, period, &arm) {
            observer.observe(Event::CuffPulse(felt));
        }
    }
}
