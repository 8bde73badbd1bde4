//! Continuous fibrillatory activity, atrial or ventricular: tones that wander in rate and size, on each axis its own way.
//!
//! A main tone at the dominant frequency and two lesser ones beside it, at ratios that never fall into step, make waves of
//! uneven height, width and form, as wavelets that collide do; one tone alone reads as flutter or a twisting axis.
//!
//! It is a function of time alone, made of sines with exact integer phases, so it starts anywhere and never repeats in
//! step with anything.

use crate::frequency::Frequency;
use crate::math::{sin_turn, small_phase, smooth_step};
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span};
use crate::vectors::{self, LANES, Loop};

/// How one kind of fibrillation moves.
#[derive(Clone, Copy, Debug)]
struct Manner {
    purpose: Purpose,
    /// Size on X, Y, Z for a size of 1 mV.
    vector: [f32; 3],
    /// Wander of the phase, turns, and of the size, share.
    phase_wander: f32,
    size_wander: f32,
    /// The wander on each axis: of the phase, and, slower, of phase and size.
    wander: [[Frequency; 2]; 3],
    /// The lesser tones.
    lesser: [Tone; 2],
}

/// A tone beside the main one.
#[derive(Clone, Copy, Debug)]
struct Tone {
    /// Frequency over the main tone's.
    ratio: f32,
    /// Size over the main tone's.
    share: f32,
    /// Its phase's wander over the main tone's.
    wander: f32,
}

/// Wander at these rates, Hz; the slower one at 0.43 of the next axis's.
const fn wander(hz: [f32; 3]) -> [[Frequency; 2]; 3] {
    let [x, y, z] = hz;
    [
        [Frequency::hz(x), Frequency::hz(y * 0.43)],
        [Frequency::hz(y), Frequency::hz(z * 0.43)],
        [Frequency::hz(z), Frequency::hz(x * 0.43)],
    ]
}

/// A little of the second harmonic makes waves pointed.
const POINTED: Tone = Tone { ratio: 2.0, share: 0.22, wander: 2.0 };

/// No tone.
const SILENT: Tone = Tone { ratio: 0.0, share: 0.0, wander: 0.0 };

/// f waves: largest in V1, so mostly to the front, with some of it downwards.
static ATRIAL: Manner = Manner {
    purpose: Purpose::FibrillatoryWave,
    vector: [-0.25, 0.50, -0.75],
    phase_wander: 0.20,
    size_wander: 0.35,
    wander: wander([0.61, 0.83, 1.07]),
    lesser: [POINTED, Tone { ratio: 0.77, share: 0.30, wander: -1.7 }],
};

/// Ventricular fibrillation: all axes, the downward one first.
static VENTRICULAR: Manner = Manner {
    purpose: Purpose::VentricularFibrillation,
    vector: [0.32, 0.36, 0.29],
    phase_wander: 0.26,
    size_wander: 0.28,
    wander: wander([0.37, 0.53, 0.71]),
    lesser: [Tone { ratio: 0.61, share: 0.30, wander: -1.7 }, Tone { ratio: 1.83, share: 0.42, wander: 3.0 }],
};

/// Ventricular flutter: nearly a sine, all axes together.
static FLUTTER: Manner = Manner {
    purpose: Purpose::VentricularFibrillation,
    vector: [0.30, 0.42, 0.25],
    phase_wander: 0.0,
    size_wander: 0.04,
    wander: wander([0.37, 0.53, 0.71]),
    lesser: [POINTED, SILENT],
};

/// Time for the waves to swell, and to die away, s.
const SWELL_S: f32 = 0.3;

/// How far waves that start at `from` have swollen at `now`, 0 to 1.
#[inline(always)]
fn swollen(from: Instant, now: Instant) -> f32 {
    let since = now.since(from);
    // Most of the time: no arithmetic.
    if since > Span::secs(1) { 1.0 } else { smooth_step(since.as_secs() * (1.0 / SWELL_S)) }
}

/// A stretch of fibrillation.
#[derive(Clone, Copy, Debug)]
pub struct Fibrillation {
    manner: &'static Manner,
    from: Instant,
    until: Option<Instant>,
    main: Frequency,
    lesser: [Frequency; 2],
    mv: f32,
    phases: [u32; 3],
}

impl Fibrillation {
    /// Fibrillatory waves of the atria from `from` on: dominant frequency, Hz, and peak in V1, mV.
    pub fn atrial(from: Instant, hz: f32, mv: f32, noise: &Noise) -> Fibrillation {
        Fibrillation::new(&ATRIAL, from, hz, mv, noise)
    }

    /// Ventricular fibrillation from `from` on: dominant frequency, Hz, and peak to peak in lead II, mV.
    pub fn ventricular(from: Instant, hz: f32, mv: f32, noise: &Noise) -> Fibrillation {
        Fibrillation::new(&VENTRICULAR, from, hz, mv, noise)
    }

    /// Ventricular flutter from `from` on: rate, Hz, and peak to peak in lead II, mV.
    pub fn flutter(from: Instant, hz: f32, mv: f32, noise: &Noise) -> Fibrillation {
        Fibrillation::new(&FLUTTER, from, hz, mv, noise)
    }

    fn new(manner: &'static Manner, from: Instant, hz: f32, mv: f32, noise: &Noise) -> Fibrillation {
        let phases = [0, 1, 2].map(|i| noise.bits(manner.purpose, i));
        let lesser = manner.lesser.map(|tone| Frequency::hz(hz * tone.ratio));
        Fibrillation { manner, from, until: None, main: Frequency::hz(hz), lesser, mv, phases }
    }

    /// Lets it die away from `at` on.
    pub fn end(&mut self, at: Instant) {
        if self.until.is_none() {
            self.until = Some(at);
        }
    }

    /// Whether nothing of it is left at `now`: a little late, so that its size is exactly zero before that whatever the rounding.
    pub fn is_over(&self, now: Instant) -> bool {
        self.until.is_some_and(|until| now.since(until) > Span::from_secs(SWELL_S + 0.001))
    }

    /// Adds the heart vector, mV, at some instants to the sums of each axis.
    pub fn add_to(&self, instants: &[Instant], sums: [&mut [f32]; 3]) {
        vectors::run(AddTo { waves: self, instants, sums });
    }

    /// The heart vector at some instants, mV, by axis.
    #[inline(always)]
    fn at(&self, instants: &[Instant; LANES]) -> [[f32; LANES]; 3] {
        let mut sizes = [self.mv; LANES];
        for (size, now) in sizes.iter_mut().zip(instants) {
            *size *= swollen(self.from, *now);
            if let Some(until) = self.until {
                *size *= 1.0 - swollen(until, *now);
            }
        }
        let manner = self.manner;
        let main = phases(self.main, instants);
        let lesser = self.lesser.map(|frequency| phases(frequency, instants));
        let mut vector = [[0.0; LANES]; 3];
        let axes = vector.iter_mut().zip(manner.vector).zip(manner.wander).zip(self.phases);
        for (((values, share), [slow, slower]), phase) in axes {
            let (slow, slower) = (phases(slow, instants), phases(slower, instants));
            let (mut sizes_of_axis, mut wanders, mut waves) = ([0.0; LANES], [0.0; LANES], [0.0; LANES]);
            for (((size, wander), slow), slower) in sizes_of_axis.iter_mut().zip(&mut wanders).zip(slow).zip(slower) {
                let slow = sin_turn(slow.wrapping_add(phase));
                let slower = sin_turn(slower.wrapping_add(phase.rotate_left(9)));
                *wander = manner.phase_wander * (slow + slower);
                *size = 1.0 + manner.size_wander * slower;
            }
            for ((wave, wander), main) in waves.iter_mut().zip(wanders).zip(main) {
                *wave = sin_turn(main.wrapping_add(phase >> 2).wrapping_add(small_phase(wander)));
            }
            for (turn, (tone, at)) in [17, 5].into_iter().zip(manner.lesser.iter().zip(lesser)) {
                for ((wave, wander), at) in waves.iter_mut().zip(wanders).zip(at) {
                    let at = at.wrapping_add(phase.rotate_left(turn)).wrapping_add(small_phase(tone.wander * wander));
                    *wave += tone.share * sin_turn(at);
                }
            }
            for (((value, size), size_of_axis), wave) in values.iter_mut().zip(sizes).zip(sizes_of_axis).zip(waves) {
                *value = size * share * size_of_axis * wave;
            }
        }
        vector
    }
}

/// Phases of a frequency at some instants.
#[inline(always)]
fn phases(frequency: Frequency, instants: &[Instant; LANES]) -> [u32; LANES] {
    let mut phases = [0; LANES];
    for (phase, now) in phases.iter_mut().zip(instants) {
        *phase = frequency.phase(*now);
    }
    phases
}

/// The fibrillation of one kind of chamber: what runs, and what ran before it and still dies away.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Waves {
    before: Option<Fibrillation>,
    latest: Option<Fibrillation>,
}

impl Waves {
    /// Starts another while the one before dies away.
    pub(super) fn start(&mut self, at: Instant, waves: Option<Fibrillation>) {
        self.end(at);
        self.before = core::mem::replace(&mut self.latest, waves);
    }

    /// Lets what runs die away.
    pub(super) fn end(&mut self, at: Instant) {
        if let Some(waves) = &mut self.latest {
            waves.end(at);
        }
    }

    /// Adds the heart vector, mV, at consecutive instants.
    pub(super) fn add_to(&mut self, first: Instant, instants: &[Instant], [x, y, z]: [&mut [f32]; 3]) {
        for waves in [&mut self.before, &mut self.latest] {
            if waves.is_some_and(|waves| waves.is_over(first)) {
                *waves = None;
            }
            if let Some(waves) = waves {
                waves.add_to(instants, [&mut *x, &mut *y, &mut *z]);
            }
        }
    }
}

/// Arguments of [`Fibrillation::add_to`].
struct AddTo<'a> {
    waves: &'a Fibrillation,
    instants: &'a [Instant],
    sums: [&'a mut [f32]; 3],
}

impl Loop for AddTo<'_> {
    #[inline(always)]
    fn run(self) {
        let AddTo { waves, instants, sums } = self;
        let count = instants.len();
        let [x, y, z] = sums.map(|sums| sums.get_mut(..count).unwrap_or_default().as_chunks_mut::<LANES>());
        let (whole, rest) = instants.as_chunks::<LANES>();
        for (((x, y), z), instants) in x.0.iter_mut().zip(y.0).zip(z.0).zip(whole) {
            for (sums, values) in [x, y, z].into_iter().zip(waves.at(instants)) {
                sums.iter_mut().zip(values).for_each(|(sum, value)| *sum += value);
            }
        }
        if !rest.is_empty() {
            // The lanes behind the last instant are not added.
            let mut instants = [Instant::ZERO; LANES];
            instants.iter_mut().zip(rest).for_each(|(place, now)| *place = *now);
            for (sums, values) in [x.1, y.1, z.1].into_iter().zip(waves.at(&instants)) {
                sums.iter_mut().zip(values).for_each(|(sum, value)| *sum += value);
            }
        }
    }
}
