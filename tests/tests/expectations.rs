//! Expected readings of a monitor, against plain measurements of the samples: turning points of the pressures and of the
//! impedance, means of samples, QRS complexes counted in a lead.

use pulsewright_core::anatomy::PressureSite;
use pulsewright_core::body::{ADULT, NEONATE};
use pulsewright_core::expect::{AlarmKind, AlarmLimit, AlarmLimits, Expected, Forecast, Reading, ReadingBand};
use pulsewright_core::frame::{Channel, Frame, Lead};
use pulsewright_core::heart::catalogue::{self, ASYSTOLE, RHYTHMS, SINUS, VENTRICULAR_FIBRILLATION};
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::{Item, Ramp, Script, Step};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::{FrameRate, Instant, Span};

const HZ: usize = 500;

fn step<'a>(settings: Settings, secs: u32, ramps: &'a [Ramp]) -> Item<'a> {
    Item::Step(Step::lasting(Span::secs(secs), settings).with_ramps(ramps))
}

fn forecast(items: &[Item<'_>], limits: AlarmLimits) -> Vec<Expected> {
    let script = Script::new(3, items).unwrap();
    let mut forecast = Forecast::new(&script, SiteSet::USUAL, limits, Instant::NEVER);
    std::iter::from_fn(|| forecast.next_step(&mut ())).collect()
}

fn frames(items: &[Item<'_>]) -> Vec<Frame> {
    let script = Script::new(3, items).unwrap();
    let mut player = Player::new(&script, FrameRate::lit(HZ as u32));
    let mut frames = vec![Frame::default(); 40_000];
    let mut all = Vec::new();
    loop {
        let filled = player.fill(&mut frames);
        all.extend_from_slice(&frames[..filled]);
        if filled < frames.len() {
            return all;
        }
    }
}

/// The samples of a channel that a step's readings are of.
fn settled(frames: &[Frame], of: &Expected, channel: Channel) -> Vec<f64> {
    let at = |instant: Instant| (instant.as_secs_f64() * HZ as f64).ceil() as usize;
    frames[at(of.from)..at(of.end).min(frames.len())].iter().map(|frame| f64::from(frame.sample(channel))).collect()
}

/// A turning point: its index and its value.
type Turn = (usize, f64);

/// Turning points at least `least` apart in value: peaks and troughs with their index.
fn turns(samples: &[f64], least: f64) -> (Vec<Turn>, Vec<Turn>) {
    let (mut peaks, mut troughs) = (Vec::new(), Vec::new());
    let (mut high, mut low) = ((0, samples[0]), (0, samples[0]));
    let mut rising = None;
    for (i, value) in samples.iter().copied().enumerate() {
        if value > high.1 {
            high = (i, value);
        }
        if value < low.1 {
            low = (i, value);
        }
        if rising != Some(false) && value < high.1 - least {
            if rising == Some(true) {
                peaks.push(high);
            }
            (rising, low) = (Some(false), (i, value));
        } else if rising != Some(true) && value > low.1 + least {
            if rising == Some(false) {
                troughs.push(low);
            }
            (rising, high) = (Some(true), (i, value));
        }
    }
    (peaks, troughs)
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

#[track_caller]
fn near(of: &str, reading: &Reading, measured: f64, within: f64) -> ReadingBand {
    let band = reading.band.unwrap_or_else(|| panic!("{of}: nothing expected, {measured} measured"));
    assert!((f64::from(band.mean) - measured).abs() <= within, "{of}: {band:?} expected, {measured} measured");
    assert!(band.low <= band.mean && band.mean <= band.high, "{of}: {band:?}");
    band
}

/// Systolic, diastolic and mean at a site against the turning points of its samples.
#[track_caller]
fn pressures_agree(name: &str, settings: Settings, ramps: &[Ramp], site: PressureSite, least: f64) -> Expected {
    let items = [step(settings, 140, ramps)];
    let expected = forecast(&items, AlarmLimits::USUAL)[0];
    let samples = settled(&frames(&items), &expected, Channel::Pressure(site));
    let (peaks, troughs) = turns(&samples, least);
    let pressure = expected.pressure(site);
    for (part, reading, turns) in [("systolic", pressure.systolic, peaks), ("diastolic", pressure.diastolic, troughs)] {
        let values: Vec<f64> = turns.iter().map(|turn| turn.1).collect();
        let band = near(&format!("{name}, {part}"), &reading, mean(&values), 1.0);
        let (low, high) = values.iter().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
        assert!((f64::from(band.low) - low).abs() < 1.0, "{name}, {part}: {band:?}, lowest {low}");
        assert!((f64::from(band.high) - high).abs() < 1.0, "{name}, {part}: {band:?}, highest {high}");
    }
    near(&format!("{name}, mean"), &pressure.mean, mean(&samples), 0.5);
    expected
}

#[test]
fn pressures_are_those_of_the_samples() {
    let rest = Settings::new(&ADULT, &SINUS);
    let line = |hz, damping| rest.lit(Field::ArterialLineHz, hz).lit(Field::ArterialDamping, damping);
    let find = |word| Settings::new(&ADULT, catalogue::find(word).unwrap());
    let up = [Ramp { field: Field::ArterialSystolic, to: 160.0, over: None }];
    let cases: [(&str, Settings, &[Ramp]); 12] = [
        ("rest", rest, &[]),
        ("newborn", Settings::new(&NEONATE, &SINUS), &[]),
        ("overdamped", line(4.0, 1.2), &[]),
        ("ringing", line(14.0, 0.15), &[]),
        ("offset", rest.lit(Field::ArterialLevel, 12.0), &[]),
        ("paradoxus", rest.lit(Field::ArterialSwing, 30.0), &[]),
        ("alternans", rest.lit(Field::Alternans, 30.0), &[]),
        ("variation", rest.lit(Field::PulseVariation, 25.0), &[]),
        ("ramp", rest, &up),
        ("arrest", find("sinus-arrest"), &[]),
        ("bigeminy", find("ventricular-bigeminy"), &[]),
        ("fibrillating atria", find("atrial-fibrillation"), &[]),
    ];
    for (name, settings, ramps) in cases {
        // More than a dicrotic wave rises, less than the weakest pulse.
        pressures_agree(name, settings, ramps, PressureSite::Arterial, 8.0);
    }
    let damped = pressures_agree("overdamped again", line(4.0, 1.2), &[], PressureSite::Arterial, 5.0);
    let systolic = damped.pressure(PressureSite::Arterial).systolic.band.unwrap().mean;
    assert!(systolic < 115.0, "a line of 4 Hz damps 120 mmHg, {systolic}");
}

#[test]
fn a_closed_transducer_reads_its_level_and_a_vein_its_breathing() {
    let rest = Settings::new(&ADULT, &SINUS);
    let closed = rest.lit(Field::ArterialClosed, 1.0).lit(Field::ArterialLevel, 200.0);
    let chest = rest.lit(Field::ChestBreathing, 15.0);
    let items = [step(closed, 60, &[]), step(chest, 120, &[]), step(rest.with_rhythm(&ASYSTOLE), 60, &[])];
    let expected = forecast(&items, AlarmLimits::USUAL);
    let all = frames(&items);
    let level = expected[0].pressure(PressureSite::Arterial);
    for reading in [level.systolic, level.diastolic, level.mean] {
        let band = near("closed", &reading, 200.0, 0.1);
        assert!(band.width() < 0.1, "{band:?}");
    }
    let venous = Channel::Pressure(PressureSite::Venous);
    let band = near(
        "central vein",
        &expected[1].pressure(PressureSite::Venous).mean,
        mean(&settled(&all, &expected[1], venous)),
        0.3,
    );
    assert!(band.width() > 8.0, "it moves with breathing: {band:?}");
    let still = expected[2].pressure(PressureSite::Arterial);
    assert_eq!((still.systolic.band, still.diastolic.band), (None, None));
    near("no beats", &still.mean, mean(&settled(&all, &expected[2], Channel::Pressure(PressureSite::Arterial))), 0.5);
    assert_eq!(expected[2].rate.band, Some(ReadingBand { low: 0.0, high: 0.0, mean: 0.0 }));
}

/// QRS complexes of a lead: where it moves fastest, at least 150 ms apart.
fn beats(samples: &[f64], least_mv: f64) -> Vec<usize> {
    let moved: Vec<f64> = samples.windows(15).map(|some| (some[14] - some[0]).abs()).collect();
    let mut found: Vec<usize> = Vec::new();
    for (i, value) in moved.iter().enumerate() {
        match found.last_mut() {
            Some(last) if i - *last < HZ * 3 / 20 => *last = if *value > moved[*last] { i } else { *last },
            _ if *value > least_mv => found.push(i),
            _ => {}
        }
    }
    found
}

#[test]
fn rates_are_those_of_the_beats_that_are_played() {
    // Rate by words of the trade: 70 impulses of which some fail.
    for (word, about) in [
        ("sinus", 70.0),
        ("sinus-arrest", 51.0),
        ("sinus-exit-block", 56.0),
        ("paced-no-capture", 47.0),
        ("paced-no-sensing", 78.0),
    ] {
        let settings = Settings::new(&ADULT, catalogue::find(word).unwrap()).lit(Field::PacingMv, 2.0);
        let items = [step(settings, 300, &[])];
        let expected = forecast(&items, AlarmLimits::USUAL)[0];
        let samples = settled(&frames(&items), &expected, Channel::Lead(Lead::II));
        let found = beats(&samples, if word.starts_with("paced") { 0.35 } else { 0.3 });
        let seconds = (found.last().unwrap() - found[0]) as f64 / HZ as f64;
        let measured = 60.0 * (found.len() - 1) as f64 / seconds;
        near(word, &expected.rate, about, 1.0);
        if !word.starts_with("paced") {
            near(word, &expected.rate, measured, 0.7);
        }
    }
}

#[test]
fn breaths_are_those_of_the_impedance() {
    let rest = Settings::new(&ADULT, &SINUS);
    let periodic =
        rest.lit(Field::BreathsPerMin, 20.0).lit(Field::BreathPauseS, 10.0).lit(Field::BreathPauseEveryS, 30.0);
    let flat = rest.lit(Field::BreathDepthOhm, 0.0);
    for (settings, least) in [(rest, 0.3), (periodic, 0.3)] {
        let items = [step(settings, 300, &[])];
        let expected = forecast(&items, AlarmLimits::USUAL)[0];
        let (peaks, _) = turns(&settled(&frames(&items), &expected, Channel::Respiration), least);
        let seconds = (peaks[peaks.len() - 1].0 - peaks[0].0) as f64 / HZ as f64;
        near("breaths", &expected.breaths, 60.0 * (peaks.len() - 1) as f64 / seconds, 0.3);
    }
    let expected = forecast(&[step(flat, 120, &[])], AlarmLimits::USUAL)[0];
    assert_eq!(expected.breaths.band.map(|band| band.high), Some(0.0));
    assert!(expected.alarms.get(AlarmKind::Apnoea).is_some(), "breaths too shallow to see are none");
}

/// First alarm of a step and its onset, in seconds after the start of the step.
fn alarm(expected: &Expected) -> Option<(AlarmKind, f64)> {
    let sounded = expected.alarm()?;
    Some((sounded.first.kind, sounded.first.onset.as_secs_f64() - expected.start.as_secs_f64()))
}

#[test]
fn alarms_follow_what_is_played() {
    let at = |rate| Settings::new(&ADULT, &SINUS).lit(Field::RateBpm, rate);
    let rest = at(80.0);
    let kind = |settings| {
        alarm(&forecast(&[step(rest, 30, &[]), step(settings, 60, &[])], AlarmLimits::USUAL)[1]).map(|a| a.0)
    };
    assert_eq!(kind(rest), None);
    assert_eq!(kind(at(20.0)), Some(AlarmKind::ExtremeBradycardia));
    assert_eq!(kind(at(45.0)), Some(AlarmKind::LowRate));
    assert_eq!(kind(at(130.0)), Some(AlarmKind::HighRate));
    assert_eq!(kind(at(350.0)), Some(AlarmKind::ExtremeTachycardia));
    assert_eq!(kind(rest.lit(Field::BreathsPerMin, 0.0)), Some(AlarmKind::Apnoea));
    assert_eq!(kind(rest.lit(Field::ArterialSystolic, 220.0)), Some(AlarmKind::ArterialHigh));
    for (word, wanted) in [
        ("sinus-arrest", AlarmKind::Pause),
        ("sinus-exit-block", AlarmKind::MissedBeat),
        ("ventricular-tachycardia", AlarmKind::VentricularTachycardia),
        ("torsades", AlarmKind::VentricularTachycardia),
        ("ventricular-couplet", AlarmKind::Couplet),
        ("ventricular-bigeminy", AlarmKind::Bigeminy),
        ("ventricular-trigeminy", AlarmKind::Trigeminy),
        ("ventricular-premature", AlarmKind::VentricularPremature),
        ("paced-no-capture", AlarmKind::NoCapture),
        ("paced-no-sensing", AlarmKind::NoSensing),
        ("paced-no-response", AlarmKind::Asystole),
        ("atrial-fibrillation", AlarmKind::AtrialFibrillation),
    ] {
        let settings = Settings::new(&ADULT, catalogue::find(word).unwrap());
        assert_eq!(kind(settings), Some(wanted), "{word}");
    }
    // A limit of one's own moves the alarm, and the extreme one with it.
    let mut limits = AlarmLimits::USUAL;
    limits.set(AlarmLimit::RateHigh, 100.0);
    let expected = forecast(&[step(rest, 30, &[]), step(at(110.0), 60, &[]), step(at(125.0), 60, &[])], limits);
    assert_eq!(alarm(&expected[1]).map(|a| a.0), Some(AlarmKind::HighRate));
    assert_eq!(alarm(&expected[2]).map(|a| a.0), Some(AlarmKind::ExtremeTachycardia));
}

#[test]
fn an_alarm_has_an_onset_and_an_end() {
    let rest = Settings::new(&ADULT, &SINUS).lit(Field::RateBpm, 60.0);
    let items = [
        step(rest, 30, &[]),
        step(rest.with_rhythm(&ASYSTOLE), 20, &[]),
        step(rest, 30, &[]),
        step(rest.with_rhythm(&VENTRICULAR_FIBRILLATION), 20, &[]),
        step(rest, 30, &[]),
    ];
    let expected = forecast(&items, AlarmLimits::USUAL);
    let all = frames(&items);
    let lead: Vec<f64> = all.iter().map(|frame| f64::from(frame.sample(Channel::Lead(Lead::II)))).collect();
    let found = beats(&lead[..50 * HZ], 0.3);
    let last = *found.iter().rfind(|at| **at < 31 * HZ).unwrap() as f64 / HZ as f64;
    let asystole = expected[1].alarms.get(AlarmKind::Asystole).unwrap();
    let onset = asystole.first.onset.as_secs_f64();
    assert!((onset - last - 4.0).abs() < 0.1, "4 s after the last QRS at {last}: {onset}");
    // It goes on into the next step, until its first beat.
    let after = beats(&lead[50 * HZ..80 * HZ], 0.3)[0] as f64 / HZ as f64 + 50.0;
    let end = expected[2].alarms.get(AlarmKind::Asystole).unwrap().end.unwrap().as_secs_f64();
    assert!((end - after).abs() < 0.1, "ends with the QRS at {after}: {end}");
    assert_eq!(alarm(&expected[2]), None, "an alarm that is over is none of the next step");
    let (kind, onset) = alarm(&expected[3]).unwrap();
    assert_eq!(kind, AlarmKind::VentricularFibrillation);
    assert!((3.9..4.1).contains(&onset), "{onset}");
    assert_eq!(expected[3].rate.band, None);
    assert_eq!(alarm(&expected[4]), None);
}

/// Long steps are sampled now and then; the step after one is sampled from its start.
#[test]
fn long_steps_are_foreseen_like_short_ones() {
    let rest = Settings::new(&ADULT, &SINUS);
    let items = [step(rest, 4000, &[]), step(rest.lit(Field::ArterialSystolic, 150.0), 30, &[])];
    let expected = forecast(&items, AlarmLimits::USUAL);
    for (expected, systolic) in expected.iter().zip([120.0, 150.0]) {
        let pressure = expected.pressure(PressureSite::Arterial);
        let band = near("systolic", &pressure.systolic, systolic, 0.3);
        assert!(band.width() < 0.5, "{band:?}");
        near("mean", &pressure.mean, if systolic > 130.0 { 109.0 } else { 97.1 }, 3.0);
    }
    // After a fast rhythm the average falls through the limits: no alarm in the slow step.
    let fast = rest.lit(Field::RateBpm, 350.0);
    let expected = forecast(&[step(fast, 60, &[]), step(rest, 60, &[])], AlarmLimits::USUAL);
    assert_eq!(alarm(&expected[1]), None);
}

/// The priority that the catalogue states is that of the alarm which sounds; where none lasts long enough to be required, that of
/// one that comes now and then.
#[test]
fn the_catalogue_states_the_alarm_that_is_played() {
    use pulsewright_core::heart::rhythm::Priority;
    let mut wrong = Vec::new();
    for rhythm in RHYTHMS {
        let items = [step(Settings::new(&ADULT, rhythm), 120, &[])];
        let expected = forecast(&items, AlarmLimits::USUAL)[0];
        let sounded: Vec<Priority> = match expected.alarm() {
            Some(sounded) => vec![sounded.first.kind.priority()],
            None => expected.alarms.iter().map(|sounded| sounded.first.kind.priority()).collect(),
        };
        let stated = match rhythm.alarm {
            Priority::None => sounded.is_empty(),
            priority => sounded.contains(&priority),
        };
        if !stated {
            wrong.push(format!("{}: {sounded:?}, not {:?}", rhythm.id, rhythm.alarm));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
