//! How an integer becomes a value in a channel's unit, and which scale a script needs.
//!
//! A scale is decimal: step and offset are whole multiples of a power of ten, so that a value read from an integer file
//! and from text is the same number.

use pulsewright_core::frame::{Channel, ChannelKind};
use pulsewright_core::reach::ValueRange;
use pulsewright_core::script::Script;
use pulsewright_core::settings::Field;

/// Width of an integer sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bits {
    /// 12 bits.
    B12,
    /// 16 bits.
    B16,
    /// 24 bits.
    B24,
    /// 32 bits.
    B32,
}

impl Bits {
    /// The width as a number.
    pub const fn count(self) -> u32 {
        match self {
            Bits::B12 => 12,
            Bits::B16 => 16,
            Bits::B24 => 24,
            Bits::B32 => 32,
        }
    }

    /// Smallest and largest code.
    pub const fn limits(self) -> (i32, i32) {
        let spare = 32 - self.count();
        (i32::MIN >> spare, i32::MAX >> spare)
    }
}

/// Value of a code: `code × step + offset`, in the channel's unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scale {
    bits: Bits,
    /// Digits after the point that step and offset need.
    decimals: u8,
    /// Step in units of the last decimal: 1, 2 or 5 times a power of ten, at most a whole unit.
    step: i64,
    /// Offset in units of the last decimal.
    offset: i64,
}

/// Steps tried before one is coarser than a whole unit.
const MANTISSAS: [i64; 3] = [1, 2, 5];

impl Scale {
    /// The finest scale of this width for `kind` that takes in `reach`, or the coarsest there is.
    ///
    /// At 16 bits: 1 uV, 0.01 mmHg, 0.001 ohm; wider samples are finer, as far as the 24 bits of the signal carry.
    pub fn new(kind: ChannelKind, bits: Bits, reach: ChannelRange) -> Scale {
        let decimals: u8 = match (kind, bits) {
            (ChannelKind::Potential | ChannelKind::Impedance, Bits::B12 | Bits::B16) => 3,
            (ChannelKind::Potential | ChannelKind::Impedance, Bits::B24) => 5,
            (ChannelKind::Pressure, Bits::B12 | Bits::B16) => 2,
            (ChannelKind::Pressure, Bits::B24) => 4,
            // No finer than a float of some mV carries, or the limb leads' sums would be off by more than a step.
            (_, Bits::B32) => 6,
        };
        let unit = 10_i64.pow(u32::from(decimals));
        let (_, largest) = bits.limits();
        let centre = f64::from(reach.centre).round_ties_even();
        let far = (f64::from(reach.highest) - centre).max(centre - f64::from(reach.lowest)) * unit as f64;
        let steps = (0..=u32::from(decimals)).flat_map(|power| MANTISSAS.map(|mantissa| mantissa * 10_i64.pow(power)));
        let step = steps.take_while(|step| *step <= unit).find(|step| (step * i64::from(largest)) as f64 >= far);
        Scale { bits, decimals, step: step.unwrap_or(unit), offset: centre as i64 * unit }
    }

    /// Whether all of `reach` lies between the smallest and the largest code.
    pub fn holds(&self, reach: ChannelRange) -> bool {
        let (lowest, highest) = self.range();
        f64::from(reach.lowest) >= lowest && f64::from(reach.highest) <= highest
    }

    /// Width of a code.
    pub fn bits(&self) -> Bits {
        self.bits
    }

    /// Digits after the point of every value.
    pub fn decimals(&self) -> u8 {
        self.decimals
    }

    /// Steps from the value 0 to the code 0: whole, as every step divides a unit and the offset is of units.
    pub fn steps_to_offset(&self) -> i64 {
        self.offset / self.step
    }

    /// Value of a code in units of the last decimal.
    pub fn fixed(&self, code: i32) -> i64 {
        i64::from(code) * self.step + self.offset
    }

    /// Steps in a whole unit: exact.
    pub fn steps_per_unit(&self) -> f64 {
        10_f64.powi(i32::from(self.decimals)) / self.step as f64
    }

    /// Step in the channel's unit, the `f64` nearest to the decimal.
    pub fn step(&self) -> f64 {
        self.nearest(self.step)
    }

    /// Offset in the channel's unit: a whole number.
    pub fn offset(&self) -> f64 {
        self.nearest(self.offset)
    }

    /// Values of the smallest and the largest code, in the channel's unit.
    pub fn range(&self) -> (f64, f64) {
        let (min, max) = self.bits.limits();
        (self.nearest(self.fixed(min)), self.nearest(self.fixed(max)))
    }

    /// Both operands are exact, so the one rounding of the division gives the `f64` nearest to the decimal.
    fn nearest(&self, fixed: i64) -> f64 {
        fixed as f64 / 10_f64.powi(i32::from(self.decimals))
    }
}

/// Range of a channel, in its unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelRange {
    /// Lowest value.
    pub lowest: f32,
    /// Highest value.
    pub highest: f32,
    /// Where the codes are centred.
    pub centre: f32,
}

impl ChannelRange {
    /// Range of `channel` in this script.
    pub fn of(script: &Script<'_>, channel: Channel) -> ChannelRange {
        let ValueRange { lowest, highest } = script.reach(channel);
        let centre = match channel.kind() {
            // Codes of a potential or a pressure are proportional to it.
            ChannelKind::Potential | ChannelKind::Pressure => 0.0,
            // Between the lowest and the highest base.
            ChannelKind::Impedance => {
                let base = script.range_of(Field::BaseOhm);
                0.5 * (base.lowest + base.highest)
            }
        };
        ChannelRange { lowest, highest, centre }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::body::ADULT;
    use pulsewright_core::frame::{Lead, PressureSite};
    use pulsewright_core::heart::catalogue::SINUS;
    use pulsewright_core::script::{Item, Step};
    use pulsewright_core::settings::Settings;
    use pulsewright_core::time::Span;

    fn reach(lowest: f32, highest: f32) -> ChannelRange {
        ChannelRange { lowest, highest, centre: 0.0 }
    }

    #[test]
    fn limits_of_each_width() {
        assert_eq!(Bits::B12.limits(), (-2048, 2047));
        assert_eq!(Bits::B16.limits(), (-32_768, 32_767));
        assert_eq!(Bits::B24.limits(), (-8_388_608, 8_388_607));
        assert_eq!(Bits::B32.limits(), (i32::MIN, i32::MAX));
    }

    #[test]
    fn usual_steps_at_16_bits() {
        let step = |kind| Scale::new(kind, Bits::B16, reach(-5.0, 5.0)).step();
        assert_eq!(step(ChannelKind::Potential), 0.001);
        assert_eq!(step(ChannelKind::Pressure), 0.01);
        assert_eq!(step(ChannelKind::Impedance), 0.001);
    }

    #[test]
    fn a_step_grows_only_when_the_reach_needs_it() {
        let step = |highest| Scale::new(ChannelKind::Pressure, Bits::B16, reach(0.0, highest)).step();
        // 32 767 codes of 0.01, 0.02 and 0.05 mmHg reach 327.67, 655.34 and 1638.35 mmHg.
        assert_eq!(step(327.66), 0.01);
        assert_eq!(step(327.68), 0.02);
        assert_eq!(step(655.3), 0.02);
        assert_eq!(step(655.4), 0.05);
        assert_eq!(step(1638.3), 0.05);
        assert_eq!(step(1638.4), 0.1);
        assert_eq!(step(1e30), 1.0, "never coarser than a unit: the rest is clipped and counted");
    }

    #[test]
    fn codes_read_back_as_the_decimals_say() {
        let scale = Scale::new(
            ChannelKind::Impedance,
            Bits::B16,
            ChannelRange { lowest: 500.0, highest: 502.0, centre: 500.2 },
        );
        assert_eq!(scale.offset(), 500.0);
        assert_eq!(scale.fixed(1), 500_001);
        assert_eq!(scale.range(), (467.232, 532.767));
        assert_eq!(scale.steps_per_unit(), 1000.0);
    }

    #[test]
    fn twelve_bits_reach_as_far_in_larger_steps() {
        let scale = |kind, highest: f32| Scale::new(kind, Bits::B12, reach(-highest, highest));
        assert_eq!(scale(ChannelKind::Potential, 5.0).step(), 0.005);
        assert_eq!(scale(ChannelKind::Pressure, 180.0).step(), 0.1);
    }

    #[test]
    fn every_step_divides_the_offset() {
        for bits in [Bits::B12, Bits::B16, Bits::B24, Bits::B32] {
            for exponent in -3..6 {
                let far = 2.3 * 10_f32.powi(exponent);
                let scale =
                    Scale::new(ChannelKind::Impedance, bits, ChannelRange { lowest: 0.0, highest: far, centre: 137.0 });
                assert_eq!(scale.steps_to_offset() * scale.step, scale.offset, "{bits:?} {far}");
            }
        }
    }

    #[test]
    fn impedance_codes_lie_between_the_bases_of_the_script() {
        let step = |ohm| {
            let settings = Settings::new(&ADULT, &SINUS).with(Field::BaseOhm, ohm).unwrap();
            Item::Step(Step::lasting(Span::secs(1), settings))
        };
        let scale = |items: &[Item<'_>]| {
            let script = Script::new(1, items).unwrap();
            Scale::new(ChannelKind::Impedance, Bits::B16, ChannelRange::of(&script, Channel::Respiration))
        };
        let one = scale(&[step(1000.0)]);
        assert_eq!((one.offset(), one.step()), (1000.0, 0.001));
        let two = scale(&[step(500.0), step(1500.0)]);
        assert_eq!((two.offset(), two.step()), (1000.0, 0.02));
        assert!(two.range().0 <= 500.0 && two.range().1 >= 1501.0);
    }

    #[test]
    fn the_highest_settings_fit() {
        let settings = Settings::new(&ADULT, &SINUS)
            .with(Field::ArterialSystolic, 320.0)
            .and_then(|settings| settings.with(Field::EcgGain, 5.0))
            .unwrap();
        let items = [Item::Step(Step::hold(settings))];
        let script = Script::new(1, &items).unwrap();
        for channel in [Channel::Lead(Lead::II), Channel::Pressure(PressureSite::Arterial)] {
            let reach = ChannelRange::of(&script, channel);
            let (_, highest) = Scale::new(channel.kind(), Bits::B16, reach).range();
            assert!(highest >= f64::from(reach.highest), "{channel:?}: {highest}");
        }
    }
}
