//! Waves of the heart's activations: the one place that turns an event into deflections.

use super::deflection::{Bump, Deflection, Deflections};
use super::fibrillation::{Fibrillation, Waves};
use super::measure::Qrs;
use super::overshoot::{Overshoot, OvershootTail};
use super::pathology::{q_wave, st_shift, t_shift, tented, u_wave, vector_of};
use super::person::Person;
use super::residuals::UnderWay;
use super::templates::residual::Residuals;
use super::templates::shapes::Shapes;
use super::templates::{FLUTTER_CYCLE_MS, Wave};
use crate::anatomy::{AtrialOrigin, BeatCode, Episode, Pathway};
use crate::heart::rhythm::{Atria, Rhythm, Ventricles};
use crate::heart::{Length, qrs_ms};
use crate::math;
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span};
use crate::truth::Beat;

/// How waves are to be drawn at an instant.
#[derive(Clone, Copy, Debug)]
pub(crate) struct WaveConditions<'a> {
    /// Shapes of the body.
    pub shapes: Shapes<'a>,
    /// QRS duration of a normally conducted beat, ms.
    pub qrs_ms: f32,
    /// ST level, mV, in the order of [`LeadGroup::ALL`](super::pathology::LeadGroup::ALL).
    pub st_mv: [f32; 3],
    /// Change of the T wave, mV, in the same order.
    pub t_mv: [f32; 3],
    /// Early QRS force lost, mV, in the same order.
    pub q_mv: [f32; 3],
    /// Height of the U wave in V3, mV.
    pub u_mv: f32,
    /// How much lower every other beat is, share.
    pub alternans: f32,
    /// Factor on the height of T waves.
    pub t_size: f32,
    /// How narrow and symmetrical T waves are, 0 to 1.
    pub tenting: f32,
    /// Turn of QRS and T in the frontal plane, 2^-32 turns.
    pub axis: u32,
    /// How beats differ from each other.
    pub life: Life,
}

/// How far one beat differs from another, as standard deviations.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Life {
    /// Size of the QRS, share.
    pub shape: f32,
    /// Duration of the QRS, share.
    pub width: f32,
    /// Height of T, share.
    pub t: f32,
    /// Shapes of a person against those of another, share.
    pub person: f32,
}

/// Random values of one beat.
struct Chance<'n> {
    noise: &'n Noise,
    index: u64,
}

impl<'n> Chance<'n> {
    /// Chance of a beat: its onset, to 2^-10 s, is its number.
    fn of(noise: &'n Noise, onset: Instant) -> Chance<'n> {
        Chance { noise, index: (onset.ticks() >> 22) << 4 }
    }

    /// A factor of mean 1 and deviation `sd`, for one of sixteen things.
    fn factor(&self, thing: u64, sd: f32) -> f32 {
        if sd == 0.0 { 1.0 } else { 1.0 + sd * self.noise.bell(Purpose::BeatShape, self.index | thing & 15) }
    }
}

/// How pulses of a pacing device are to be drawn at an instant.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PulseConditions {
    /// Height in lead II, mV.
    pub mv: f32,
    /// Width, ms.
    pub ms: f32,
    /// The tail of a pulse.
    pub tail: OvershootTail,
}

/// A ventricular activation to be drawn.
#[derive(Clone, Copy, Debug)]
pub(crate) struct VentricularBeat {
    /// QRS onset.
    pub at: Instant,
    /// How it spreads.
    pub pathway: Pathway,
    /// The other pathway of a fusion beat, and its share of the ventricles.
    pub fused: Option<(Pathway, f32)>,
    /// Whether it is one of every second beats.
    pub odd: bool,
    /// Turn of the axis in the frontal plane, 2^-32 turns.
    pub turn: u32,
    /// How long it takes.
    pub length: Length,
    /// Onset of the P wave that led to it.
    pub p_onset: Option<Instant>,
    /// Type.
    pub code: BeatCode,
}

/// The heart vector as the sum of what events have started.
#[derive(Clone, Debug, Default)]
pub(crate) struct Electrogram<'a> {
    deflections: Deflections,
    residuals: UnderWay<'a>,
    overshoot: Overshoot,
    atrial: Waves,
    ventricular: Waves,
}

/// Direction of a pacing pulse on X, Y, Z, with 1 in lead II.
const PACING: [f32; 3] = [0.25, 0.90, 0.14];

/// Share of its template's JT below which a T wave gets lower as it gets shorter.
///
/// It is then at most 1/0.8 times as steep as at rest, a third as steep as the QRS of a ventricular beat. At full height the T
/// waves of fast ventricular tachycardias, whose JT is below 100 ms, leave a delineator no quiet stretch to end the QRS at (chosen
/// by that; no source).
const FULL_T: f32 = 0.8;

/// How much further each wave of a turned QRS turns than the one before, 2^-32 turns: 20 degrees (common practice, no source).
const FURTHER: u32 = 0x0e38_e38e;

/// The pathways of a beat with their shares of the ventricles.
fn parts_of(beat: &VentricularBeat) -> [Option<(Pathway, f32)>; 2] {
    match beat.fused {
        None => [Some((beat.pathway, 1.0)), None],
        Some((other, share)) => [Some((beat.pathway, 1.0 - share)), Some((other, share))],
    }
}

/// How waves of a template are changed when they are drawn.
#[derive(Clone, Copy)]
struct Manner {
    stretch: f32,
    size: f32,
    /// Sine and cosine of the turn in the frontal plane.
    turn: (f32, f32),
    /// Factor on the vector's depth: a twist of the axis takes it to the front and back.
    depth: f32,
}

/// Sine and cosine of a turn, 2^-32 turns; exactly none of it for none.
fn turn_by(turn: u32) -> (f32, f32) {
    if turn == 0 { Manner::PLAIN.turn } else { (math::sin_turn(turn), math::cos_turn(turn)) }
}

impl Manner {
    const PLAIN: Manner = Manner { stretch: 1.0, size: 1.0, turn: (0.0, 1.0), depth: 1.0 };
}

impl<'a> Electrogram<'a> {
    /// A P wave of a person, `size` times as large as theirs; a flutter wave lasts one `cycle`.
    pub(crate) fn atria(
        &mut self,
        at: Instant,
        (origin, cycle): (AtrialOrigin, Span),
        shapes: Shapes<'a>,
        person: Person<'_>,
        size: f32,
    ) {
        let stretch = match origin {
            AtrialOrigin::Flutter => cycle.as_secs() * (1000.0 / FLUTTER_CYCLE_MS),
            _ => 1.0,
        };
        let turn = turn_by(person.p_turn());
        let size = size * person.p(origin);
        let manner = Manner { stretch, size, turn, depth: person.p_depth() };
        self.retire(at);
        for wave in shapes.p(origin).iter() {
            self.start(at, &[wave], manner);
        }
        self.residuals.start(at, shapes.residual(Residuals::p(origin as usize)), stretch, size);
    }

    /// A QRS complex with its T wave, and their number of waves. [`Electrogram::own`] finds its peak.
    pub(crate) fn ventricles(
        &mut self,
        beat: &VentricularBeat,
        conditions: &WaveConditions<'a>,
        noise: &Noise,
    ) -> (Beat, usize) {
        let onset = beat.at;
        let mut report = Beat {
            onset,
            peak: onset,
            end: onset,
            t_end: onset,
            p_onset: beat.p_onset,
            code: beat.code,
            is_recorded: false,
        };
        let (life, chance) = (conditions.life, Chance::of(noise, onset));
        let person = Person::of(noise, life.person);
        let alternates = if beat.odd { 1.0 - conditions.alternans } else { 1.0 };
        let parts = parts_of(beat);
        let normal_ms = conditions.shapes.qrs_ms(Pathway::Normal);
        let alone_ms = |pathway| {
            let complex_ms = conditions.shapes.qrs_ms(pathway);
            beat.length.width * qrs_ms(complex_ms, normal_ms, conditions.qrs_ms)
        };
        // Two fronts draw one QRS: as long for both, between that of the one and of the other by their shares.
        let fused_ms: f32 = parts.into_iter().flatten().map(|(pathway, share)| share * alone_ms(pathway)).sum();
        let depth = if beat.turn == 0 { 1.0 } else { math::cos_turn(beat.turn) };
        // Each wave turns a little further than the one before, so that a turned beat is no mirror image, and has a size of its own
        // in a lead that the axis crosses.
        let axis = conditions.axis.wrapping_add(person.turn());
        let turned = |wave: u32| {
            let further = ((beat.turn >> 4) + FURTHER).wrapping_mul(wave);
            turn_by(beat.turn.wrapping_add(further).wrapping_add(axis))
        };
        let turn = turn_by(beat.turn.wrapping_add(axis));
        let turn_t = turn_by(beat.turn.wrapping_add(axis).wrapping_add(person.t_turn()));
        self.retire(onset);
        let mut waves = 0;
        for (pathway, size) in parts.into_iter().flatten() {
            let complex = conditions.shapes.complex(pathway);
            let size = size * alternates;
            let (size_qrs, size_t) = (size * chance.factor(0, 0.5 * life.shape), size * chance.factor(1, life.t));
            let usual_ms = if beat.fused.is_some() { fused_ms } else { alone_ms(pathway) };
            let qrs_ms = usual_ms * chance.factor(2, life.width);
            let stretch = qrs_ms / complex.qrs_ms;
            for (mut wave, thing) in complex.qrs.iter().zip(3..) {
                let size = size_qrs * chance.factor(thing, life.shape) * person.qrs(pathway, thing);
                let turn = if beat.turn == 0 { turn } else { turned(thing as u32 - 3) };
                if wave.at_ms > 0.0 && wave.at_ms < 0.5 * complex.qrs_ms {
                    // The first and the last wave mark onset and end.
                    wave.at_ms = math::max(wave.at_ms + complex.qrs_ms * person.later(pathway, thing), 0.0);
                }
                waves += self.start(onset, &[wave], Manner { stretch, size, turn, depth });
            }
            if pathway == Pathway::Normal {
                for (detail, thing) in person.details(complex.qrs_ms).zip(12..) {
                    let size = size_qrs * chance.factor(thing, 4.0 * life.shape);
                    waves += self.start(onset, &[detail], Manner { stretch, size, turn, depth });
                }
            }
            let residual = |part| conditions.shapes.residual(part);
            self.residuals.start(onset, residual(Residuals::qrs(pathway as usize)), stretch, size_qrs);
            // QT is that of the usual width: by chance a QRS may be wider or narrower, and T ends when it would.
            let qt_ms = beat.length.qt_ms + math::max(usual_ms - conditions.qrs_ms, 0.0);
            let end = onset.shifted(qrs_ms * 0.001);
            let stretch_t = math::max(qt_ms - qrs_ms, 0.0) / (complex.qt_ms - complex.qrs_ms);
            // In a beat whose axis is turned, but not just upside down, QRS and T run into each other without a level line.
            let turns = beat.turn & (u32::MAX >> 1) != 0;
            let lower = if turns { 1.0 } else { math::min(stretch_t / FULL_T, 1.0) };
            let usual_t = size_t * lower * conditions.t_size;
            let (size_t, size_st) = (usual_t * person.t(pathway), usual_t * person.st(pathway));
            let manner = Manner { stretch: stretch_t, size: size_t, turn: turn_t, depth: depth * person.t_depth() };
            let jt_ms = complex.qt_ms - complex.qrs_ms;
            if conditions.tenting > 0.0 {
                // A tented T leaves no ST segment.
                let rest = Manner { size: manner.size * (1.0 - conditions.tenting), ..manner };
                for (i, wave) in complex.t.iter().enumerate() {
                    waves += if i == 0 {
                        self.start(end, &tented(&wave, conditions.tenting, jt_ms), manner)
                    } else {
                        self.start(end, &[wave], rest)
                    };
                }
            } else {
                for (wave, size) in complex.t.iter().zip([size_t, size_st, size_t]) {
                    waves += self.start(end, &[wave], Manner { size, ..manner });
                }
            }
            let left_t = usual_t * (1.0 - conditions.tenting);
            self.residuals.start(end, residual(Residuals::t(pathway as usize)), stretch_t, left_t);
            // Levels are those of leads, so they are not turned with the axis.
            let level = Manner { size, ..Manner::PLAIN };
            if conditions.q_mv != [0.0; 3] {
                let wave = q_wave(vector_of(conditions.q_mv), complex.qrs_ms);
                waves += self.start(onset, &[wave], Manner { stretch, ..level });
            }
            if conditions.st_mv != [0.0; 3] {
                waves += self.start(
                    end,
                    &st_shift(vector_of(conditions.st_mv), jt_ms),
                    Manner { stretch: stretch_t, ..level },
                );
            }
            if conditions.t_mv != [0.0; 3]
                && let Some(t) = complex.t.get(0)
            {
                let shift = t_shift(&t, vector_of(conditions.t_mv));
                waves += self.start(end, &[shift], Manner { stretch: stretch_t, size: size * lower, ..level });
            }
            if conditions.u_mv != 0.0 {
                waves += self.start(end, &[u_wave(conditions.u_mv, jt_ms)], Manner { stretch: stretch_t, ..level });
            }
            if end > report.end {
                report.end = end;
                report.t_end = onset.shifted(qt_ms * 0.001);
            }
        }
        (report, waves)
    }

    /// A beat that has just been drawn in so many waves, by itself.
    pub(crate) fn own(&self, beat: &Beat, waves: usize) -> Qrs<'_> {
        Qrs { waves: self.deflections.last(waves), residuals: None, onset: beat.onset, end: beat.end }
    }

    /// A beat that has just been drawn, on the rest of waves that began before it.
    pub(crate) fn with_waves_before(&self, beat: &Beat) -> Qrs<'_> {
        Qrs { waves: self.deflections.all(), residuals: Some(&self.residuals), onset: beat.onset, end: beat.end }
    }

    /// What leads have beside the heart vector.
    pub(crate) fn residuals(&self) -> &UnderWay<'a> {
        &self.residuals
    }

    /// Forgets what has ended before `now`.
    fn retire(&mut self, now: Instant) {
        self.deflections.retire(now);
        self.residuals.retire(now);
    }

    /// A pulse of the pacing device.
    pub(crate) fn pace(&mut self, at: Instant, conditions: &PulseConditions) {
        let edge_s = math::max(conditions.ms * 0.000_1, 1e-5);
        let hold_s = conditions.ms * 0.001 - edge_s;
        let bump = Bump::new(at, edge_s, hold_s, edge_s);
        self.deflections.retire(at);
        self.deflections.start(Deflection { bump, vector_mv: PACING.map(|axis| axis * conditions.mv) });
        let tail_mv = conditions.tail.start_mv(conditions.mv, conditions.ms * 0.001);
        self.overshoot.start(bump.end(), tail_mv, conditions.tail.tau_s);
    }

    /// Fibrillation or ventricular flutter starts or ends.
    pub(crate) fn episode(
        &mut self,
        episode: Episode,
        at: Instant,
        starts: bool,
        rhythm: &Rhythm,
        rate_bpm: f32,
        noise: &Noise,
    ) {
        let waves = match episode {
            Episode::AtrialFibrillation => &mut self.atrial,
            Episode::VentricularFlutter | Episode::VentricularFibrillation => &mut self.ventricular,
            // Drawn wave by wave, or not at all.
            _ => return,
        };
        if !starts {
            waves.end(at);
            return;
        }
        let started = match (episode, rhythm.atria, rhythm.ventricles) {
            (Episode::AtrialFibrillation, Atria::Fibrillation { hz, mv }, _) => {
                Some(Fibrillation::atrial(at, hz, mv, noise))
            }
            (_, _, Ventricles::Fibrillation { hz, mv }) => Some(Fibrillation::ventricular(at, hz, mv, noise)),
            (_, _, Ventricles::Flutter { mv }) => Some(Fibrillation::flutter(at, rate_bpm * (1.0 / 60.0), mv, noise)),
            _ => None,
        };
        waves.start(at, started);
    }

    /// Starts waves and says how many.
    fn start(&mut self, at: Instant, waves: &[Wave], manner: Manner) -> usize {
        let s = 0.001 * manner.stretch;
        let (sine, cosine) = manner.turn;
        for wave in waves {
            let bump = Bump::new(at.shifted(wave.at_ms * s), wave.rise_ms * s, wave.hold_ms * s, wave.fall_ms * s);
            let [x, y, z] = wave.mv.map(|mv| mv * manner.size);
            let vector_mv = [cosine * x - sine * y, sine * x + cosine * y, z * manner.depth];
            self.deflections.start(Deflection { bump, vector_mv });
        }
        waves.len()
    }

    /// Adds the heart vector, mV, at consecutive instants up to just before `until`, with their frame clocks and maybe some that
    /// follow.
    pub(crate) fn add_to(&mut self, instants: &[Instant], clocks: &[u32], until: Instant, vectors: [&mut [f32]; 3]) {
        let Some(first) = instants.first().copied() else { return };
        let [x, y, z] = vectors;
        self.retire(first);
        self.deflections.add_to(until, clocks, [&mut *x, &mut *y, &mut *z]);
        if self.overshoot.lasts(first) {
            for (i, now) in instants.iter().enumerate() {
                let mv = self.overshoot.at(*now);
                for (sum, axis) in [&mut *x, &mut *y, &mut *z].into_iter().zip(PACING) {
                    if let Some(sum) = sum.get_mut(i) {
                        *sum += axis * mv;
                    }
                }
            }
        }
        for waves in [&mut self.atrial, &mut self.ventricular] {
            waves.add_to(first, instants, [&mut *x, &mut *y, &mut *z]);
        }
    }
}
