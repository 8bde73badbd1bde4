//! What a monitor is expected to read, from the script alone.

use pulsewright_core::pressure::arterial::{RADIAL, Target, steady};
use pulsewright_core::script::Step;
use pulsewright_core::settings::Field;
use pulsewright_core::time::Span;

/// Systolic, diastolic and mean pressure, mmHg.
pub type Pressures = (f32, f32, f32);

/// What a monitor is expected to read in a step, at a steady rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// Mean ventricular rate, bpm; `None` without beats.
    pub rate_bpm: Option<f32>,
    /// Arterial pressures; `None` without pulses.
    pub pressures_mmhg: Option<Pressures>,
    /// Breaths a minute; 0 in apnoea.
    pub breaths_per_min: f32,
}

impl Expected {
    /// In a step played for `played`; of what moves, the mean.
    pub fn of(step: &Step<'_>, played: Span) -> Expected {
        let mean = |field| mean(step, field, played);
        let rate_bpm = mean(Field::RateBpm);
        Expected {
            rate_bpm: step.settings.rhythm().beats().then_some(rate_bpm),
            pressures_mmhg: arterial(step, mean),
            breaths_per_min: mean(Field::BreathsPerMin),
        }
    }
}

fn arterial(step: &Step<'_>, value: impl Fn(Field) -> f32) -> Option<Pressures> {
    let rhythm = step.settings.rhythm();
    let target = Target {
        systolic_mmhg: value(Field::ArterialSystolic),
        diastolic_mmhg: value(Field::ArterialDiastolic),
        period: Span::period(value(Field::RateBpm)),
    };
    if rhythm.beats() { steady(&RADIAL, &target, rhythm.ejection) } else { None }
}

/// What a cuff inflated as `measuring` says, which begins to deflate `after` the start of `step`, is expected to read.
///
/// `None` when there is nothing to read: no pulses, or a cuff that does not pass both systolic and diastolic pressure.
pub fn cuff_reading(measuring: &Step<'_>, step: &Step<'_>, after: Span, cuff_mmhg: f32) -> Option<Pressures> {
    let set = |field| measuring.settings.get(field);
    let read = arterial(step, |field| step.value(field, after))?;
    let passes = cuff_mmhg > read.0 && set(Field::CuffDeflation) > 0.0 && set(Field::CuffVentAt) < read.1;
    passes.then_some(read)
}

/// Mean of a field over the first `played` of a step: what a ramp ends before its step holds its end.
fn mean(step: &Step<'_>, field: Field, played: Span) -> f32 {
    let over = step.ramps.iter().find(|ramp| ramp.field == field).and_then(|ramp| ramp.over);
    let moving = over.map_or(played, |over| over.min(played));
    let (first, last) = (step.value(field, Span::ZERO), step.value(field, moving));
    let share = if moving < played { moving.as_secs() / played.as_secs() } else { 1.0 };
    0.5 * (first + last) * share + last * (1.0 - share)
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::body::ADULT;
    use pulsewright_core::heart::catalogue::{SINUS, VENTRICULAR_FIBRILLATION};
    use pulsewright_core::settings::Settings;

    fn step(settings: Settings) -> Step<'static> {
        Step { duration: Some(Span::secs(60)), settings, ramps: &[], beats: &[] }
    }

    #[test]
    fn a_cuff_reads_what_it_passes() {
        let rest = Settings::new(&ADULT, &SINUS).lit(Field::CuffInflate, 160.0);
        let read = |measuring, patient, from| cuff_reading(&step(measuring), &step(patient), Span::ZERO, from);
        let (systolic, diastolic, mean) = read(rest, rest, 160.0).unwrap();
        assert_eq!((systolic, diastolic), (120.0, 80.0));
        assert!((93.0..98.0).contains(&mean), "{mean}");
        assert_eq!(read(rest, rest, 119.0), None, "inflated too low");
        assert_eq!(read(rest.lit(Field::CuffDeflation, 0.0), rest, 160.0), None, "held");
        assert_eq!(read(rest.lit(Field::CuffVentAt, 90.0), rest, 160.0), None, "let off too early");
        assert_eq!(read(rest, rest.with_rhythm(&VENTRICULAR_FIBRILLATION), 160.0), None, "no pulse");
    }
}
