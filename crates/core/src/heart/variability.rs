//! Wandering of the sinus node: beats are displaced from their regular places, so the mean rate stays as set.

use crate::frequency::Frequency;
use crate::math;
use crate::noise::{Noise, Purpose};
use crate::time::{Instant, Span};

/// How much the sinus interval wanders.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Variability {
    /// Peak-to-peak change of RR in step with breathing, ms.
    pub breathing_ms: f32,
    /// Peak-to-peak random change in the low-frequency band (0.04 to 0.15 Hz, Task Force 1996), ms.
    pub slow_ms: f32,
    /// Peak-to-peak random change in the high-frequency band (0.15 to 0.40 Hz), ms.
    pub fast_ms: f32,
    /// Start of the breath being drawn.
    pub breath_start: Instant,
    /// Period of breathing; `MAX` in apnoea.
    pub breath_period: Span,
}

/// Tones that make the slow and fast wander, Hz; incommensurate, around 0.1 and 0.25 Hz.
const SLOW_HZ: [f32; 3] = [0.071, 0.094, 0.119];
const FAST_HZ: [f32; 3] = [0.203, 0.251, 0.317];

impl Variability {
    /// How far the beat that regularly lies at `due` is displaced, s.
    ///
    /// A displacement B sin(2 pi f t) changes RR by 4 B sin(pi f RR) peak to peak, so B follows from the change set.
    pub fn displacement_s(&self, due: Instant, period: Span, noise: &Noise) -> f32 {
        let mut sum = 0.0;
        if self.breathing_ms > 0.0 && self.breath_period != Span::MAX {
            let turns = due.since(self.breath_start).as_secs() / self.breath_period.as_secs();
            let cycles_per_beat = period.as_secs() / self.breath_period.as_secs();
            // The heart is fastest towards the end of inspiration; 0.1 of a turn sets that.
            sum += amplitude_s(self.breathing_ms, cycles_per_beat) * math::sin_turn(math::phase_of(turns - 0.1));
        }
        for (ms, tones, purpose) in
            [(self.slow_ms, SLOW_HZ, Purpose::SlowVariability), (self.fast_ms, FAST_HZ, Purpose::FastVariability)]
        {
            if ms > 0.0 {
                for (i, hz) in tones.into_iter().enumerate() {
                    let phase = Frequency::hz(hz).phase(due).wrapping_add(noise.bits(purpose, i as u64));
                    sum += (1.0 / 3.0) * amplitude_s(ms, hz * period.as_secs()) * math::sin_turn(phase);
                }
            }
        }
        sum
    }
}

/// Displacement that changes RR by `ms` peak to peak at `cycles_per_beat` cycles a beat, s.
fn amplitude_s(ms: f32, cycles_per_beat: f32) -> f32 {
    let quarter = math::min(cycles_per_beat * 0.5, 0.25);
    ms * 0.001 / (4.0 * math::max(math::sin_turn(math::phase_of(quarter)), 0.1))
}
