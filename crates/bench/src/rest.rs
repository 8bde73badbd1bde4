//! The defined rest of every output: what a stop brings, and what plays before the first choice.

use pulsewright_core::body::Body;
use pulsewright_core::heart::catalogue::named;
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::test_signal::TestSignal;

/// Name of its steps in the log.
pub const NAME: &str = "Outputs at rest";

/// Signals that rest: every electrode at 0 mV, every pressure at 0 mmHg, the impedance at the body's base without a breath,
/// the cuff vented. A level in place of the heart keeps even the residue of an asystole out.
pub fn settings(body: &'static Body) -> Settings {
    let quiet = [
        (Field::Life, 0.0),
        (Field::BackgroundMv, 0.0),
        (Field::BreathsPerMin, 0.0),
        (Field::CardiacOhm, 0.0),
        (Field::TestSignal, f32::from(TestSignal::Level as u8)),
        (Field::TestHeightMv, 0.0),
        (Field::TestOffsetMv, 0.0),
        (Field::TestDriftMv, 0.0),
        (Field::CuffInflate, 0.0),
        (Field::CuffVent, 1.0),
    ];
    let closed = Field::ALL.iter().copied().filter(|field| field.info().path.ends_with(".closed"));
    let values = quiet.into_iter().chain(closed.map(|field| (field, 1.0)));
    let start = Settings::new(body, named("asystole"));
    // Every value is in its range, as the test below shows.
    values.fold(start, |settings, (field, value)| settings.with(field, value).unwrap_or(settings))
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::body::BODIES;
    use pulsewright_core::script::Step;
    use pulsewright_core::{Frame, FrameRate, Player, Script, Span};

    #[test]
    fn every_output_comes_to_rest_after_any_signal() {
        for body in BODIES {
            let busy = [
                (Field::MuscleMv, 0.5),
                (Field::MainsMv, 1.0),
                (Field::TestOffsetMv, 5.0),
                (Field::ArterialLevel, 20.0),
            ];
            let loud = busy.into_iter().fold(Settings::new(body, named("sinus")), |settings, (field, value)| {
                settings.with(field, value).expect("a value in range")
            });
            let items = [Step::lasting(Span::secs(5), loud).into(), Step::hold(settings(body)).into()];
            let script = Script::new(1, &items).expect("a script");
            let mut frames = vec![Frame::default(); 500 * 25];
            Player::new(&script, FrameRate::lit(500)).fill(&mut frames);
            // Electrodes and pressures rest within half a second.
            for frame in &frames[2750..] {
                assert_eq!(frame.leads_mv, [0.0; 8], "{}", body.id);
                assert!(frame.pressure_mmhg.iter().all(|mmhg| *mmhg == 0.0), "{}: {:?}", body.id, frame.pressure_mmhg);
            }
            // A breath under way ends first.
            let resting = &frames[500 * 15..];
            assert!(resting.iter().all(|frame| frame.respiration_ohm == resting[0].respiration_ohm), "{}", body.id);
        }
    }
}
