//! Where pressures go in long diastoles, and what weak beats leave of them.

use pulsewright_core::frame::{Channel, PressureSite};
use pulsewright_tests::played::{highest, play};
use pulsewright_tests::statistics::mean;

const ARTERIAL: Channel = Channel::Pressure(PressureSite::Arterial);

/// However slow an agonal rhythm is, the pressure falls between its beats nearly as without flow: 2.9 +- 1.0 s towards
/// 24.2 mmHg (Schipke 2003).
#[test]
fn agonal_beats_do_not_hold_a_pressure() {
    for rate in [6, 12, 20] {
        let words = format!("agonal rate_bpm={rate}");
        let played = play(250, &[(12.0, "sinus rate_bpm=70"), (60.0, &words)]);
        let late = played.samples(ARTERIAL, 40.0, 72.0);
        assert!(highest(&late) < 55.0, "{rate}: {}", highest(&late));
        assert!(mean(&late) > 24.2 && mean(&late) < 45.0, "{rate}: {}", mean(&late));
        for pulse in played.pulses(PressureSite::Arterial).iter().filter(|pulse| pulse.foot.as_secs_f64() > 40.0) {
            let (from, to) = (pulse.foot.as_secs_f64() + 0.9, pulse.end.as_secs_f64());
            if to - from < 2.0 || pulse.end.as_secs_f64() > 71.9 {
                continue;
            }
            let fall = played.samples(ARTERIAL, from, to);
            let left = (fall.last().unwrap() - 24.2) / (fall[0] - 24.2);
            let tau = (to - from) / -left.ln();
            assert!((1.9..3.9).contains(&tau), "{rate}: {tau} s");
        }
    }
}

/// A rhythm alone starts with the pressures that its beats hold, without a run-up.
#[test]
fn a_rhythm_starts_with_the_pressure_that_it_holds() {
    for rhythm in ["sinus", "ventricular-tachycardia", "paced-vvi", "idioventricular"] {
        let played = play(500, &[(60.0, rhythm)]);
        for site in [PressureSite::Arterial, PressureSite::Femoral, PressureSite::Pulmonary] {
            let pulses = played.pulses(site);
            let later: Vec<f64> = pulses.iter().skip(10).map(|pulse| f64::from(pulse.systolic_mmhg)).collect();
            let first = f64::from(pulses[0].systolic_mmhg);
            let usual = mean(&later);
            assert!((first - usual).abs() < 0.05 * usual, "{rhythm} {site:?}: {first}, later {usual}");
        }
    }
}

/// A ventricle peaks at the pressure of its artery; weak beats do not raise it higher with the valve shut.
#[test]
fn ventricles_reach_what_their_arteries_hold() {
    for rhythm in ["sinus", "ventricular-tachycardia", "agonal", "idioventricular"] {
        let played = play(500, &[(60.0, rhythm)]);
        for (ventricle, artery) in [
            (PressureSite::LeftVentricle, PressureSite::Arterial),
            (PressureSite::RightVentricle, PressureSite::Pulmonary),
        ] {
            let tops = |site| -> Vec<f64> {
                played.pulses(site).iter().skip(4).map(|pulse| f64::from(pulse.systolic_mmhg)).collect()
            };
            let (ventricle, artery) = (mean(&tops(ventricle)), mean(&tops(artery)));
            assert!((ventricle - artery).abs() < 0.1 * artery + 1.0, "{rhythm}: {ventricle} over {artery}");
        }
    }
}

/// A pause shows no corner: the runoff bends nowhere more sharply than just before the next beat was due.
#[test]
fn a_pause_has_no_corner() {
    let played = play(250, &[(12.0, "sinus rate_bpm=70"), (20.0, "asystole")]);
    let last = played.pulses(PressureSite::Arterial).last().unwrap().foot.as_secs_f64();
    // From the runoff of the last beat on; slopes over 0.2 s.
    let fall = played.samples(ARTERIAL, last + 0.65, 30.0);
    let slopes: Vec<f64> = fall.windows(51).map(|piece| (piece[50] - piece[0]) / 0.2).collect();
    let bends: Vec<f64> = slopes.windows(51).map(|piece| (piece[50] - piece[0]) / 0.2).collect();
    assert!(slopes.iter().all(|slope| *slope < 0.0));
    assert!(highest(&bends) < 45.0, "{} mmHg/s2", highest(&bends));
}
