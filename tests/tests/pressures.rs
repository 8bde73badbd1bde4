//! Pressures have what the script sets, and what the published figures say.

use pulsewright_core::frame::{Channel, PressureSite};
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::internal::pressure::{ejection_time_s, pre_ejection_s};
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::time::{Instant, Span};
use pulsewright_core::truth::Event;
use pulsewright_tests::played::{Played, highest, lowest, peaks, play, play_at};
use pulsewright_tests::statistics::mean;

const SITES: [(PressureSite, f64, f64); 6] = [
    (PressureSite::Arterial, 132.0, 71.0),
    (PressureSite::Femoral, 140.0, 70.0),
    (PressureSite::Pulmonary, 31.0, 12.0),
    (PressureSite::LeftVentricle, 132.0, 9.0),
    (PressureSite::RightVentricle, 31.0, 5.0),
    (PressureSite::Intracranial, 0.0, 0.0),
];

const SET: &str = "arterial.systolic_mmhg=132 arterial.diastolic_mmhg=71 femoral.systolic_mmhg=140 \
    femoral.diastolic_mmhg=70 pulmonary.systolic_mmhg=31 pulmonary.diastolic_mmhg=12 \
    left_ventricle.end_diastolic_mmhg=9 right_ventricle.end_diastolic_mmhg=5 intracranial.pulse_mmhg=4";

fn channel(played: &Played, site: PressureSite, from_s: f64, to_s: f64) -> Vec<f64> {
    played.samples(Channel::Pressure(site), from_s, to_s)
}

/// In every rhythm, with any atrial activity: none, one or several a waves a beat, early ones, late ones, cannon waves.
#[test]
fn atria_and_veins_have_their_mean_in_every_rhythm() {
    // Without beats that eject for long, all pressures run towards the one mean filling pressure and leave the value set.
    const PAUSES: [&str; 8] = [
        "ventricular-standstill",
        "paced-no-response",
        "paced-oversensing",
        "asystole",
        "sinus-arrest",
        "ventricular-flutter",
        "ventricular-fibrillation",
        "ventricular-fibrillation-fine",
    ];
    // Atria that contract against closed valves in every beat of a fast rhythm raise the mean: docs/signals.md.
    const CANNON_WAVES: [&str; 2] = ["junctional-accelerated", "junctional-tachycardia"];
    let sites = [
        (PressureSite::Venous, 4.0),
        (PressureSite::RightAtrium, 4.0),
        (PressureSite::LeftAtrium, 9.0),
        (PressureSite::Wedge, 9.0),
    ];
    let chosen = sites.map(|(site, _)| site);
    for rhythm in RHYTHMS.iter().filter(|rhythm| !PAUSES.contains(&rhythm.id)) {
        for body in ["adult", "neonate"] {
            let set = format!("{body} {} venous.mean_mmhg=4 left_atrium.mean_mmhg=9", rhythm.id);
            let played = play_at(100, SiteSet::new(&chosen).expect("four sites"), &[(130.0, &set)]);
            for (site, expected) in sites {
                let found = mean(&channel(&played, site, 10.0, 130.0));
                let off = found - expected;
                let most = if CANNON_WAVES.contains(&rhythm.id) { 1.2 } else { 0.25 };
                assert!(off > -0.25 && off < most, "{site:?} of {} in {}: {found}", body, rhythm.id);
            }
        }
    }
}

/// 0.5 mmHg over what the samples between two frames may hide at 1 kHz, which is less.
#[test]
fn pulses_peak_and_end_where_they_are_set() {
    for rate in [30, 40, 60, 80, 120, 150, 200, 300] {
        let played = play(1000, &[(30.0, &format!("{SET} rate_bpm={rate}"))]);
        for (site, systolic, diastolic) in SITES {
            let samples = channel(&played, site, 6.0, 30.0);
            let found = peaks(&samples, 0.6 * (highest(&samples) - lowest(&samples)));
            let expected = 24.0 * f64::from(rate) / 60.0;
            assert!((found.len() as f64 - expected).abs() <= 1.0, "{site:?} at {rate}: {} pulses", found.len());
            if site == PressureSite::Intracranial {
                assert!((highest(&samples) - lowest(&samples) - 4.0).abs() < 0.5, "{site:?} at {rate}");
                assert!((mean(&samples) - 10.0).abs() < 0.3, "{site:?} at {rate}: mean {}", mean(&samples));
                continue;
            }
            for (_, height) in &found {
                assert!((height - systolic).abs() < 0.5, "{site:?} at {rate}: {height} for {systolic}");
            }
            // A ventricle's end-diastolic pressure is at its foot, not its lowest.
            if !matches!(site, PressureSite::LeftVentricle | PressureSite::RightVentricle) {
                let low = lowest(&samples);
                assert!((low - diastolic).abs() < 0.5, "{site:?} at {rate}: {low} for {diastolic}");
            } else if rate <= 150 {
                for pulse in played.pulses(site).iter().skip(8) {
                    assert!(
                        (f64::from(pulse.foot_mmhg) - diastolic).abs() < 0.5,
                        "{site:?} at {rate}: foot {}",
                        pulse.foot_mmhg
                    );
                }
            }
        }
    }
}

/// The mean reported is the integral; 0.2 mmHg for the frames' own error.
#[test]
fn every_pulse_has_its_mean_and_extremes() {
    let chosen = SiteSet::new(&[
        PressureSite::Arterial,
        PressureSite::Pulmonary,
        PressureSite::Venous,
        PressureSite::RightAtrium,
        PressureSite::LeftAtrium,
        PressureSite::Wedge,
        PressureSite::LeftVentricle,
        PressureSite::Intracranial,
    ])
    .unwrap();
    let breaths =
        ["chest.breathing_mmhg=3", "chest.breathing_mmhg=-15 breathing.ventilated=1 breathing.rate_per_min=25"];
    let rhythms = ["sinus", "atrial-fibrillation", "ventricular-bigeminy", "av-block-3-junctional"];
    for (rhythm, breaths) in rhythms.into_iter().flat_map(|rhythm| breaths.map(|breaths| (rhythm, breaths))) {
        let played = play_at(2000, chosen, &[(20.0, &format!("{rhythm} arterial.breathing_mmhg=8 {breaths}"))]);
        for site in chosen.sites() {
            let pulses = played.pulses(site);
            assert!(pulses.len() > 8, "{rhythm} {site:?}: {}", pulses.len());
            // The end of the script may cut the last pulse off within its upstroke, between two frames.
            for pulse in &pulses[..pulses.len() - 1] {
                let at = |instant: Instant| instant.as_secs_f64();
                let samples = channel(&played, site, at(pulse.foot), at(pulse.end));
                assert!((mean(&samples) - f64::from(pulse.mean_mmhg)).abs() < 0.2, "{rhythm} {site:?} {pulse:?}");
                assert!((highest(&samples) - f64::from(pulse.systolic_mmhg)).abs() < 0.5, "{rhythm} {pulse:?}");
                assert!((lowest(&samples) - f64::from(pulse.lowest_mmhg)).abs() < 0.5, "{rhythm} {pulse:?}");
                let peak = at(pulse.foot.plus(pulse.rise));
                let there = channel(&played, site, peak, peak + 0.002);
                // A pulse cut off by the end has its highest value there, between two frames.
                let near = there.first().is_none_or(|p| (p - f64::from(pulse.systolic_mmhg)).abs() < 0.5);
                assert!(near, "{rhythm} {site:?} {pulse:?}");
            }
        }
    }
}

/// Form factor (mean - diastolic) / pulse pressure: 0.422 +- 0.055 in the brachial artery (Grillo 2020), at rates of rest.
#[test]
fn the_mean_lies_where_arms_have_it() {
    for rate in [50, 60, 70, 80, 90, 100] {
        let played = play(1000, &[(20.0, &format!("rate_bpm={rate}"))]);
        for pulse in played.pulses(PressureSite::Arterial).iter().skip(3).take(10) {
            let factor = (pulse.mean_mmhg - pulse.foot_mmhg) / (pulse.systolic_mmhg - pulse.foot_mmhg);
            assert!((factor - 0.422).abs() < 0.055, "{factor} at {rate}");
        }
    }
}

/// Weissler 1968, men: LVET 413 - 1.7 HR, PEP 131 - 0.4 HR ms.
#[test]
fn ejection_follows_the_regressions() {
    for (rate, ejection_ms, pre_ms) in
        [(40.0, 345.0, 115.0), (60.0, 311.0, 107.0), (80.0, 277.0, 99.0), (100.0, 243.0, 91.0), (120.0, 209.0, 83.0)]
    {
        let period = Span::period(rate);
        assert!((ejection_time_s(period) * 1000.0 - ejection_ms).abs() < 0.5, "{rate}");
        assert!((pre_ejection_s(period) * 1000.0 - pre_ms).abs() < 0.5, "{rate}");
    }
}

/// Schipke 2003: arterial pressure falls to 24.2 mmHg with 2.9 +- 1.0 s, venous rises by 3.5 mmHg with 3.6 +- 1.3 s.
#[test]
fn without_flow_pressures_meet_as_published() {
    let played = play(200, &[(10.0, "sinus"), (60.0, "ventricular-fibrillation"), (20.0, "sinus")]);
    let arterial = channel(&played, PressureSite::Arterial, 12.0, 70.0);
    assert!((arterial.last().unwrap() - 24.2).abs() < 0.3);
    // Time from a fall of any size over the asymptote to 1/e of it.
    let start = arterial[0] - 24.2;
    let tau = arterial.iter().position(|p| p - 24.2 < start / std::f64::consts::E).unwrap() as f64 / 200.0;
    assert!((tau - 2.9).abs() < 0.2, "{tau}");
    assert!(arterial.windows(2).all(|pair| pair[1] <= pair[0] + 1e-3));
    let venous = channel(&played, PressureSite::Venous, 10.0, 70.0);
    let rise = venous.last().unwrap() - mean(&channel(&played, PressureSite::Venous, 2.0, 9.0));
    assert!((rise - 3.5).abs() < 0.8, "{rise}");
    // Recovery over several beats, each stronger than the one before.
    let after: Vec<f64> = played
        .pulses(PressureSite::Arterial)
        .iter()
        .filter(|pulse| pulse.foot.as_secs_f64() > 70.0)
        .map(|pulse| f64::from(pulse.systolic_mmhg))
        .collect();
    assert!(after[0] < 100.0 && after[1] < 113.0 && after[..4].windows(2).all(|pair| pair[1] > pair[0]), "{after:?}");
    assert!((after[15] - 120.0).abs() < 1.0, "{after:?}");
}

#[test]
fn early_beats_are_weak_and_late_ones_strong() {
    let played = play(500, &[(30.0, "ventricular-bigeminy")]);
    let sizes: Vec<f32> = played
        .pulses(PressureSite::Arterial)
        .iter()
        .skip(5)
        .map(|pulse| pulse.systolic_mmhg - pulse.foot_mmhg)
        .collect();
    for pair in sizes.windows(2) {
        let (weak, strong) = (pair[0].min(pair[1]), pair[0].max(pair[1]));
        assert!(weak < 15.0 && strong > 41.0, "{pair:?}");
    }
}

/// a after P, c after QRS onset, x before v, v about the end of T, y before the next P (teaching texts).
#[test]
fn venous_waves_come_in_order() {
    let played = play(1000, &[(20.0, "rate_bpm=60 venous.wave_mmhg=5")]);
    let p: Vec<f64> = played
        .events
        .iter()
        .filter_map(|event| if let Event::Atrial(atrial) = event { Some(atrial.onset.as_secs_f64()) } else { None })
        .collect();
    for onset in p.iter().skip(3).take(12) {
        let at = |s: f64| channel(&played, PressureSite::Venous, onset + s, onset + s + 0.001)[0];
        let range = |a: f64, b: f64| channel(&played, PressureSite::Venous, onset + a, onset + b);
        // P at 0, QRS at 0.16 s, T ends at about 0.56 s.
        let a = peaks(&range(0.05, 0.30), 0.3);
        assert!(!a.is_empty() && (0.10..0.22).contains(&(0.05 + a[0].0 as f64 / 1000.0)), "a wave {a:?}");
        let x = lowest(&range(0.30, 0.52));
        let v = highest(&range(0.50, 0.72));
        let y = lowest(&range(0.66, 0.85));
        assert!(a[0].1 > v && v > at(0.0) && x < at(0.0) && y < v && x < y, "a {a:?} x {x} v {v} y {y}");
    }
}

/// Cannon waves when the atria meet closed valves, no a wave at all without atria.
#[test]
fn a_waves_follow_the_atria() {
    let tops = |rhythm: &str| {
        let played = play(500, &[(60.0, rhythm)]);
        played
            .pulses(PressureSite::Venous)
            .iter()
            .skip(2)
            .map(|pulse| f64::from(pulse.systolic_mmhg))
            .collect::<Vec<_>>()
    };
    let sinus = highest(&tops("sinus"));
    assert!(highest(&tops("av-block-3-ventricular")) > sinus + 4.0);
    assert!(lowest(&tops("av-block-3-ventricular")) < sinus + 1.0, "not every beat has one");
    assert!(highest(&tops("ventricular-tachycardia")) > sinus + 4.0);
    assert!(highest(&tops("atrial-fibrillation")) < sinus - 0.5);
}

/// 100 (largest - smallest) / mean of the two, over a breath (Michard 2000, from memory); within 1 %.
#[test]
fn pulse_pressure_varies_as_set() {
    for (set, rate) in [(8.0, 70), (13.0, 70), (25.0, 70), (13.0, 100)] {
        let words = format!("rate_bpm={rate} arterial.variation_percent={set} breathing.ventilated=1");
        let played = play(500, &[(64.0, &words)]);
        let sizes: Vec<(f64, f64)> = played
            .pulses(PressureSite::Arterial)
            .iter()
            .map(|p| (p.foot.as_secs_f64(), f64::from(p.systolic_mmhg - p.foot_mmhg)))
            .collect();
        // 15 breaths a minute: 4 s each; the usual mean of some breaths.
        let breaths: Vec<f64> = (2..14)
            .map(|breath| {
                let within = |t: f64| (t / 4.0).floor() as i32 == breath;
                let sizes: Vec<f64> = sizes.iter().filter(|(t, _)| within(*t)).map(|(_, size)| *size).collect();
                let (high, low) = (highest(&sizes), lowest(&sizes));
                200.0 * (high - low) / (high + low)
            })
            .collect();
        assert!((mean(&breaths) - set).abs() < 1.0, "{set} at {rate}: {}", mean(&breaths));
    }
}

#[test]
fn alternans_and_paradoxus_have_their_size() {
    let played = play(500, &[(30.0, "arterial.alternans_mmhg=14")]);
    let tops: Vec<f32> = played.pulses(PressureSite::Arterial).iter().skip(3).map(|p| p.systolic_mmhg).collect();
    assert!(tops.windows(2).all(|pair| ((pair[0] - pair[1]).abs() - 14.0).abs() < 0.5), "{tops:?}");
    let played = play(500, &[(60.0, "arterial.breathing_mmhg=18")]);
    let tops: Vec<f64> =
        played.pulses(PressureSite::Arterial).iter().skip(3).map(|p| f64::from(p.systolic_mmhg)).collect();
    assert!((highest(&tops) - lowest(&tops) - 18.0).abs() < 0.5);
}

/// Static levels are as set, to the bit, at every site at once; a ramp of the level is a drift.
#[test]
fn levels_are_exact() {
    for level in [-50.0f32, -10.0, 0.0, 50.0, 100.0, 200.0, 300.0] {
        let paths = ["arterial", "femoral", "pulmonary", "venous", "wedge", "intracranial"];
        let words: Vec<String> =
            paths.iter().map(|path| format!("{path}.closed=1 {path}.level_mmhg={level}")).collect();
        let played = play(250, &[(5.0, &words.join(" "))]);
        for frame in &played.frames {
            for site in [PressureSite::Arterial, PressureSite::Femoral, PressureSite::Pulmonary, PressureSite::Venous] {
                assert_eq!(frame.pressure_mmhg[site as usize], level);
            }
        }
        assert!(played.pulses(PressureSite::Arterial).is_empty(), "none is seen behind a closed stopcock");
        assert!(!played.pulses(PressureSite::LeftVentricle).is_empty());
    }
}

/// Natural frequency and damping from the ring after a flush (Gardner 1981; half-cycle peaks), within 5 %.
#[test]
fn a_flush_shows_the_line() {
    for (hz, damping) in [(8.0, 0.15), (12.0, 0.2), (15.0, 0.3), (24.0, 0.4), (40.0, 0.1)] {
        let line = format!("arterial.line_hz={hz} arterial.line_damping={damping} asystole");
        let flush = format!("{line} arterial.closed=1 arterial.level_mmhg=300");
        let rest = "arterial.closed=0 arterial.level_mmhg=0";
        let played = play(8000, &[(3.0, &flush), (2.0, rest)]);
        let ring = channel(&played, PressureSite::Arterial, 3.0, 5.0);
        let rest = *ring.last().unwrap();
        let moved: Vec<f64> = ring.iter().map(|p| p - rest).collect();
        let down: Vec<f64> = moved.iter().map(|p| -p).collect();
        let (first, second) = (peaks(&down, 0.2)[0], peaks(&moved, 0.2)[0]);
        let ratio = second.1 / first.1;
        let found = -ratio.ln() / (std::f64::consts::PI.powi(2) + ratio.ln().powi(2)).sqrt();
        let half_s = (second.0 as f64 - first.0 as f64) / 8000.0;
        let natural = 0.5 / half_s / (1.0 - found * found).sqrt();
        assert!((found / damping - 1.0).abs() < 0.05, "damping {found} for {damping}");
        assert!((natural / hz - 1.0).abs() < 0.05, "frequency {natural} for {hz}");
    }
}

/// The closed form is the equation's solution: a fine numerical integration of the line agrees.
#[test]
fn the_line_answers_as_its_equation_says() {
    for (hz, damping) in [(12.0, 0.2), (6.0, 0.7), (8.0, 0.995), (5.0, 1.4), (30.0, 0.1)] {
        let words = format!("ventricular-bigeminy rate_bpm=90 arterial.line_hz={hz} arterial.line_damping={damping}");
        let step = 16_000;
        let through = play(step, &[(6.0, &words)]);
        let direct = play(step, &[(6.0, "ventricular-bigeminy rate_bpm=90")]);
        let u = channel(&direct, PressureSite::Arterial, 0.0, 6.0);
        let wanted = channel(&through, PressureSite::Arterial, 0.0, 6.0);
        let (dt, w) = (1.0 / f64::from(step), std::f64::consts::TAU * hz);
        let (mut y, mut slope) = (wanted[0], 0.0);
        for i in 0..u.len() - 1 {
            if i > step as usize {
                assert!((y - wanted[i]).abs() < 0.15, "{hz} Hz, {damping}: {y} for {} at {i}", wanted[i]);
            }
            let middle = 0.5 * (u[i] + u[i + 1]);
            slope += dt * (w * w * (middle - y) - 2.0 * damping * w * slope);
            y += dt * slope;
        }
    }
}

/// Underdamped lines read systolic too high, overdamped ones too low, and hardly touch the mean (Gardner 1981).
#[test]
fn lines_mislead_as_published() {
    let read = |line: &str| {
        let played = play(1000, &[(12.0, &format!("rate_bpm=100 {line}"))]);
        let samples = channel(&played, PressureSite::Arterial, 6.0, 12.0);
        (highest(&samples), lowest(&samples), mean(&samples))
    };
    let (high, low, middle) = read("");
    let ringing = read("arterial.line_hz=9 arterial.line_damping=0.12");
    assert!(ringing.0 > high + 3.0 && (ringing.2 - middle).abs() < 0.5, "{ringing:?}");
    let dull = read("arterial.line_hz=3 arterial.line_damping=1.2");
    assert!(dull.0 < high - 5.0 && dull.1 > low + 2.0 && (dull.2 - middle).abs() < 0.5, "{dull:?}");
}
