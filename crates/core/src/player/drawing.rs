//! Frames between two events: every signal as a function of time, for all frames of a segment at once.

use super::Player;
use crate::artefact::{self, ArtefactLayers};
use crate::block::BlockRows;
use crate::course::Course;
use crate::field::{Field, transducer};
use crate::math;
use crate::segment::{Parts, Segment};
use crate::test_signal;
use crate::time::Instant;

/// A cuff with this pressure shows every movement.
const FILLED_MMHG: f32 = 20.0;

impl Player<'_> {
    /// Factor on the heart's waves at an instant.
    pub(super) fn heart_gain(&self, at: Instant) -> f32 {
        let Some(placed) = &self.step else { return 1.0 };
        let value = |field| self.glide.course(placed, field).at(at.since(placed.start));
        let mut lung_volume = [0.0];
        self.respiration.lung_volumes(&[at], &mut lung_volume);
        let [lung_volume] = lung_volume;
        // Smallest with full lungs.
        value(Field::EcgGain) * (1.0 + value(Field::BreathingGain) * 0.01 * (0.5 - lung_volume))
    }

    /// Adds what leads have beside the heart vector to rows, with a gain that holds or that of each instant.
    // Not inlined: the usual bodies have nothing of the kind.
    #[inline(never)]
    fn add_residuals<R: BlockRows + ?Sized>(
        &self,
        rows: &mut R,
        from: usize,
        instants: &[Instant],
        clocks: &[u32],
        held: Option<f32>,
    ) {
        for ((row, now), clock) in (from..).zip(instants).zip(clocks) {
            let gain = held.unwrap_or_else(|| self.heart_gain(*now));
            let mut leads_mv = rows.leads(row);
            for (lead_mv, residual_mv) in leads_mv.iter_mut().zip(self.ecg.residuals().leads_mv(*clock)) {
                *lead_mv += gain * residual_mv;
            }
            rows.set_leads(row, leads_mv);
        }
    }

    /// Draws the frames of a segment into rows, the first of them `from`.
    // Not inlined: a caller that is compiled for size shall not slow it down.
    #[inline(never)]
    pub(super) fn draw<const N: usize, R: BlockRows + ?Sized>(
        &mut self,
        segment: &mut Segment<N>,
        rows: &mut R,
        from: usize,
        shared: &mut Option<artefact::ArtefactState>,
    ) {
        let Some(Parts { instants, clocks, filled, vectors: [x, y, z], lung_volumes }) = segment.parts() else {
            return;
        };
        let Some(first) = instants.first().copied() else { return };
        let signals = rows.signals();
        let step = self.step.as_ref();
        let step_start = step.map_or(Instant::ZERO, |placed| placed.start);
        let course = |field| step.map_or(Course::held(0.0), |placed| placed.step.course(field));
        let (after, since) = (first.since(step_start), |now: &Instant| now.since(step_start));
        let gliding = |field| step.map_or(Course::held(0.0), |placed| self.glide.course(placed, field));
        let (gain, breathing_percent) = (gliding(Field::EcgGain), gliding(Field::BreathingGain));
        let breathes = breathing_percent.settled(after) != Some(0.0);
        if signals.respiration || breathes {
            self.respiration.lung_volumes(instants, lung_volumes);
        }
        if signals.ecg {
            self.ecg.add_to(instants, filled, self.clock.now(), [&mut *x, &mut *y, &mut *z]);
            match gain.settled(after) {
                Some(gain) if !breathes => {
                    if gain != 1.0 {
                        [&mut *x, &mut *y, &mut *z].into_iter().flatten().for_each(|value| *value *= gain);
                    }
                }
                _ => {
                    let vectors = x.iter_mut().zip(&mut *y).zip(&mut *z);
                    for ((((x, y), z), now), lung_volume) in vectors.zip(instants).zip(&*lung_volumes) {
                        let mut gain = gain.at(since(now));
                        if breathes {
                            // Smallest with full lungs.
                            gain *= 1.0 + breathing_percent.at(since(now)) * 0.01 * (0.5 - lung_volume);
                        }
                        (*x, *y, *z) = (*x * gain, *y * gain, *z * gain);
                    }
                }
            }
            rows.put_leads(from, [x, y, z]);
            if !self.ecg.residuals().is_empty() {
                self.add_residuals(rows, from, instants, clocks, gain.settled(after).filter(|_| !breathes));
            }
            if let Some((recording, placed)) = step.and_then(|placed| Some((placed.step.recording()?, placed))) {
                recording.add_to(placed.start, self.clock.rate(), &gain, instants, rows, from);
            }
        }
        if signals.respiration {
            if self.artefacts.off().in_impedance(self.is_on(Field::BreathLead)) {
                lung_volumes.fill(0.0);
            } else {
                self.respiration.to_impedances(instants, clocks, lung_volumes);
            }
            let base_ohm = course(Field::BaseOhm);
            let settled = base_ohm.settled(after);
            for ((place, now), change_ohm) in rows.respiration(from).zip(instants).zip(&*lung_volumes) {
                *place = settled.unwrap_or_else(|| base_ohm.at(since(now))) + change_ohm;
            }
        }
        if signals.cuff {
            if self.cuff.is_still(first) {
                rows.cuff(from).zip(instants).for_each(|([cuff, oscillation], _)| (*cuff, *oscillation) = (0.0, 0.0));
            } else {
                // The values in their place have been used.
                let oscillations = &mut *lung_volumes;
                oscillations.fill(0.0);
                self.cuff.add_oscillations(instants, clocks, oscillations);
                let motion = course(Field::CuffMotion);
                if motion.settled(after) != Some(0.0) {
                    let shared = shared.get_or_insert_with(artefact::ArtefactState::new);
                    for (mmhg, now) in oscillations.iter_mut().zip(instants) {
                        // An empty cuff has nothing that could be pressed.
                        let filled = math::clamp(self.cuff.at(*now) * (1.0 / FILLED_MMHG), 0.0, 1.0);
                        *mmhg += filled * motion.at(since(now)) * shared.pressed(&self.noise, *now);
                    }
                }
                for (([cuff, oscillation], now), mmhg) in rows.cuff(from).zip(instants).zip(&*oscillations) {
                    (*cuff, *oscillation) = (self.cuff.at(*now) + mmhg, *mmhg);
                }
            }
        }
        let chest_breathes = self.respiration.chest_mmhg() != 0.0;
        if chest_breathes {
            // The values in their place have been used.
            self.respiration.lung_volumes(instants, lung_volumes);
        }
        for site in self.pressures.chosen().sites() {
            let level_mmhg = course(transducer(site).level);
            let settled = level_mmhg.settled(after);
            let Some(transducer) = self.pressures.transducer(site) else { continue };
            for (place, now) in rows.pressure(site, from).zip(instants) {
                *place = settled.unwrap_or_else(|| level_mmhg.at(since(now))) + transducer.at(*now);
            }
            self.pressures.add_compression(site, instants, rows.pressure(site, from));
            if chest_breathes {
                let falls_mmhg = self.pressures.falls_mmhg(site, &self.respiration);
                for (place, lung_volume) in rows.pressure(site, from).zip(&*lung_volumes) {
                    *place -= falls_mmhg * lung_volume;
                }
            }
        }
        let Some(placed) = self.step.as_ref().filter(|_| signals.ecg) else { return };
        // A beat of the step before may still be under way.
        let onset = self.heart.last_beat().unwrap_or(Instant::NEVER);
        if self.test_on || self.test_beat.lasts(onset, first) {
            let frame = self.clock.rate().frame();
            test_signal::add_to(&Self::test_conditions(placed), &self.test_beat, onset, instants, frame, rows, from);
        }
        self.fading.add_to(placed, self.clock.rate(), instants, rows, from);
        if !self.artefacts.none() {
            let shared = shared.get_or_insert_with(artefact::ArtefactState::new);
            let artefacts = ArtefactLayers {
                layers: self.artefacts,
                shared,
                conditions: &self.artefact_conditions(placed),
                noise: &self.noise,
                respiration: &self.respiration,
            };
            artefacts.add_to(instants, rows, from);
        }
    }
}
