//! Bands: the part of a row that one channel has, its scale, and where its axis is marked.

use pulsewright_core::frame::{Channel, ChannelKind};

use crate::excerpt::Excerpt;

/// Bands end on lines of the 5 mm grid.
const GRID_MM: f64 = 5.0;
/// Least paper above and below the baseline of an ECG lead, mm.
const LEAST_ECG_MM: [f64; 2] = [10.0, 5.0];
/// Most paper above or below the baseline of an ECG lead, mm: 5 mV at the usual gain.
const MOST_ECG_MM: f64 = 50.0;
/// Heights to which a pressure or respiration band is fitted, mm.
const FITTED_MM: f64 = 30.0;
/// mmHg a millimetre that may be chosen.
const MMHG_STEPS: [f64; 6] = [0.2, 0.4, 1.0, 2.0, 4.0, 10.0];
/// Ohm a millimetre that may be chosen.
const OHM_STEPS: [f64; 8] = [0.02, 0.04, 0.1, 0.2, 0.4, 1.0, 2.0, 100.0];

/// How one channel lies on paper.
#[derive(Clone, Debug, PartialEq)]
pub struct Band {
    /// The channel.
    pub channel: Channel,
    /// Height, mm; a multiple of 5.
    pub height_mm: f64,
    /// Distance of `zero` from the top, mm; a multiple of 5.
    pub zero_mm: f64,
    /// Value at that distance, in the channel's unit.
    pub zero: f64,
    /// Units a millimetre.
    pub per_mm: f64,
    /// Whether some of the signal lies beyond the paper.
    pub cut: bool,
}

impl Band {
    /// The band that holds `channel` of the whole excerpt, so that every row has the same scale.
    pub fn fit(channel: Channel, excerpt: &Excerpt, mm_per_mv: f64) -> Band {
        let mut low = f64::INFINITY;
        let mut high = f64::NEG_INFINITY;
        for frame in &excerpt.frames {
            let value = f64::from(frame.sample(channel));
            if value.is_finite() {
                low = low.min(value);
                high = high.max(value);
            }
        }
        if low > high {
            (low, high) = (0.0, 0.0);
        }
        match channel.kind() {
            ChannelKind::Potential => Self::potential(channel, low * mm_per_mv, high * mm_per_mv, mm_per_mv),
            ChannelKind::Pressure => {
                // A still pressure lies amid 10 mmHg of paper, not under a lens.
                let still = (5.0 - 0.5 * (high - low)).max(0.0);
                Self::fitted(channel, low - still, high + still, &MMHG_STEPS)
            }
            ChannelKind::Impedance => Self::fitted(channel, low, high.max(low + 0.1), &OHM_STEPS),
        }
    }

    fn potential(channel: Channel, low_mm: f64, high_mm: f64, mm_per_mv: f64) -> Band {
        let side = |needed: f64, least: f64| up_to_grid(needed + 1.0).clamp(least, MOST_ECG_MM);
        let above = side(high_mm, LEAST_ECG_MM[0]);
        let below = side(-low_mm, LEAST_ECG_MM[1]);
        Band {
            channel,
            height_mm: above + below,
            zero_mm: above,
            zero: 0.0,
            per_mm: 1.0 / mm_per_mv,
            cut: high_mm > above || -low_mm > below,
        }
    }

    /// A band whose grid lines carry round values: the finest scale whose lines hold the range in the height.
    fn fitted(channel: Channel, low: f64, high: f64, steps: &[f64]) -> Band {
        let lines = |per_mm: f64| {
            let line = per_mm * GRID_MM;
            // A millimetre of air on either side, so that a peak does not run along the band's edge.
            (((low - per_mm) / line).floor(), ((high + per_mm) / line).ceil())
        };
        let fits = |per_mm: &&f64| {
            let (bottom, top) = lines(**per_mm);
            (top - bottom) * GRID_MM <= FITTED_MM
        };
        let per_mm = steps.iter().find(fits).or(steps.last()).copied().unwrap_or(1.0);
        let (bottom, top) = lines(per_mm);
        let height_mm = ((top - bottom) * GRID_MM).clamp(10.0, 2.0 * FITTED_MM);
        Band { channel, height_mm, zero_mm: height_mm, zero: bottom * per_mm * GRID_MM, per_mm, cut: false }
    }

    /// Makes room for `other` on the same baseline.
    pub fn share(&mut self, other: &Band) {
        let below = (self.height_mm - self.zero_mm).max(other.height_mm - other.zero_mm);
        self.zero_mm = self.zero_mm.max(other.zero_mm);
        self.height_mm = self.zero_mm + below;
        self.cut |= other.cut;
    }

    /// Distance of `value` from the top, mm.
    pub fn y_mm(&self, value: f64) -> f64 {
        self.zero_mm - (value - self.zero) / self.per_mm
    }

    /// Marked values, each with its distance from the top; none for an ECG lead, whose scale is the calibration mark.
    pub fn ticks(&self) -> Vec<(f64, String)> {
        if self.channel.kind() == ChannelKind::Potential {
            return Vec::new();
        }
        let line = self.per_mm * GRID_MM;
        let decimals = if line < 1.0 { 1 } else { 0 };
        let count = (self.height_mm / GRID_MM) as usize;
        // The lines between bands stay bare, so that a number belongs to one band.
        (1..count)
            .map(|i| {
                let up = i as f64;
                (self.height_mm - up * GRID_MM, format!("{:.decimals$}", self.zero + up * line))
            })
            .collect()
    }
}

fn up_to_grid(mm: f64) -> f64 {
    (mm / GRID_MM).ceil() * GRID_MM
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::{
        frame::{Frame, Lead, PressureSite},
        time::FrameRate,
    };

    fn excerpt(mmhg: [f32; 2], mv: [f32; 2]) -> Excerpt {
        let frame = |i: usize| {
            let mut frame = Frame { respiration_ohm: 1000.0 + i as f32, ..Frame::default() };
            frame.leads_mv[1] = mv[i];
            frame.pressure_mmhg[PressureSite::Arterial as usize] = mmhg[i];
            frame
        };
        let frames = vec![frame(0), frame(1)];
        Excerpt {
            rate: FrameRate::lit(500),
            first: 0,
            frames,
            events: Vec::new(),
            labels: Vec::new(),
            seed: 1,
            settings: Vec::new(),
        }
    }

    #[test]
    fn pressure_lines_carry_round_numbers_and_hold_the_range() {
        for range in [[80.0, 120.0], [8.0, 25.0], [0.0, 0.0], [40.0, 290.0], [-3.0, 12.0], [6.9, 7.1]] {
            let band = Band::fit(Channel::Pressure(PressureSite::Arterial), &excerpt(range, [0.0; 2]), 10.0);
            assert!(
                band.y_mm(f64::from(range[0])) <= band.height_mm && band.y_mm(f64::from(range[1])) >= 0.0,
                "{band:?}"
            );
            assert!(band.ticks().iter().all(|(y, _)| y % 5.0 == 0.0) && !band.ticks().is_empty(), "{band:?}");
        }
        let band = Band::fit(Channel::Pressure(PressureSite::Arterial), &excerpt([80.0, 120.0], [0.0; 2]), 10.0);
        let marks: Vec<String> = band.ticks().into_iter().map(|(_, words)| words).collect();
        assert_eq!((band.per_mm, band.height_mm), (2.0, 30.0));
        assert_eq!(marks, ["80", "90", "100", "110", "120"]);
    }

    #[test]
    fn a_millivolt_is_ten_millimetres_and_too_much_is_said() {
        let band = Band::fit(Channel::Lead(Lead::II), &excerpt([0.0; 2], [-0.2, 1.3]), 10.0);
        assert_eq!(band.y_mm(0.0) - band.y_mm(1.0), 10.0);
        assert_eq!((band.height_mm, band.zero_mm, band.cut), (20.0, 15.0, false));
        assert!(Band::fit(Channel::Lead(Lead::II), &excerpt([0.0; 2], [-0.2, 8.0]), 10.0).cut);
    }
}
