//! ST level, T, Q and axis have the size set in the player's frames, measured where a monitor measures them.

use pulsewright_core::body::{ADULT, BODIES};
use pulsewright_core::frame::{Frame, Lead};
use pulsewright_core::heart::catalogue::SINUS;
use pulsewright_core::internal::ecg::DOWER;
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Script, Step};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::{FrameRate, Instant, Span};
use pulsewright_core::truth::{Beat, Event};

const RATE: FrameRate = FrameRate::lit(1000);
const INFERIOR: &[Lead] = &[Lead::II, Lead::III, Lead::AVF];
const ANTERIOR: &[Lead] = &[Lead::V1, Lead::V2, Lead::V3, Lead::V4];
const LATERAL: &[Lead] = &[Lead::I, Lead::AVL, Lead::V5, Lead::V6];

/// Frames of 12 s and the beats in them.
fn play(settings: Settings) -> (Vec<Frame>, Vec<Beat>) {
    let items = [Item::Step(Step::lasting(Span::secs(12), settings))];
    let script = Script::new(3, &items).expect("a script");
    let mut frames = vec![Frame::default(); 12_000];
    let mut beats = Vec::new();
    Player::new(&script, RATE).fill_observed(&mut frames, &mut |event| {
        if let Event::Beat(beat) = event {
            beats.push(beat);
        }
    });
    (frames, beats)
}

fn at(frames: &[Frame], instant: Instant, leads: &[Lead]) -> f32 {
    let frame = &frames[RATE.frame_at_or_after(instant) as usize];
    leads.iter().map(|lead| frame.lead_mv(*lead)).sum::<f32>() / leads.len() as f32
}

/// J + 80 ms up to 120 bpm, J + 60 ms above: European ST-T Database.
fn after_j(beat: &Beat, rate_bpm: f32) -> Instant {
    beat.end.plus(Span::millis(if rate_bpm < 120.0 { 80 } else { 60 }))
}

#[test]
fn st_level_is_the_one_set_against_the_same_beats_without_it() {
    let groups = [(Field::StInferiorMv, INFERIOR), (Field::StAnteriorMv, ANTERIOR), (Field::StLateralMv, LATERAL)];
    for body in BODIES {
        for rate_bpm in [60.0, 90.0, 120.0, 150.0] {
            let plain = Settings::new(body, &SINUS).lit(Field::RateBpm, rate_bpm).lit(Field::BreathingGain, 0.0);
            let (base, beats) = play(plain);
            for (field, leads) in groups {
                for mv in [-0.8, -0.1, 0.1, 0.3, 1.2] {
                    let (shifted, _) = play(plain.lit(field, mv));
                    for beat in &beats[1..6] {
                        let measured = after_j(beat, rate_bpm);
                        let level = at(&shifted, measured, leads) - at(&base, measured, leads);
                        let bound = (0.1 * mv.abs()).max(0.02);
                        assert!((level - mv).abs() <= bound, "{} {field:?} {mv} at {rate_bpm}: {level}", body.id);
                        let before = beat.onset.minus(Span::millis(10));
                        assert!(
                            (at(&shifted, before, leads) - at(&base, before, leads)).abs() < 0.005,
                            "PR level moved"
                        );
                    }
                }
            }
        }
    }
}

/// Highest and lowest of lead II after each QRS.
fn t_of(settings: Settings) -> (f32, f32) {
    let (frames, beats) = play(settings);
    let (mut low, mut high) = (f32::MAX, f32::MIN);
    for beat in &beats[1..6] {
        let from = RATE.frame_at_or_after(beat.end.plus(Span::millis(20))) as usize;
        let to = RATE.frame_at_or_after(beat.t_end) as usize;
        for frame in &frames[from..to] {
            low = low.min(frame.lead_mv(Lead::II));
            high = high.max(frame.lead_mv(Lead::II));
        }
    }
    (low, high)
}

#[test]
fn t_waves_have_the_share_set() {
    let rest = Settings::new(&ADULT, &SINUS).lit(Field::BreathingGain, 0.0);
    let (_, usual) = t_of(rest);
    for percent in [-150.0, -100.0, 50.0, 200.0, 300.0] {
        let (low, high) = t_of(rest.lit(Field::TPercent, percent));
        let peak = if percent < 0.0 { low } else { high };
        assert!((peak - usual * 0.01 * percent).abs() < 0.02, "{percent} %: {peak} of {usual} mV");
    }
    let (low, high) = t_of(rest.lit(Field::TPercent, 0.0));
    assert!(low > -0.03 && high < 0.03, "flat: {low} to {high}");
    let (_, tented) = t_of(rest.lit(Field::TPercent, 220.0).lit(Field::TentingPercent, 100.0));
    assert!((tented / usual - 2.2).abs() < 0.1, "tenting keeps the height: {tented} of {usual}");
}

/// Direction of the QRS area on X and Y, degrees, from I, II and V2 by Dower's matrix turned round (Cramer's rule).
fn axis_deg(settings: Settings) -> f32 {
    let (frames, beats) = play(settings);
    let range = RATE.frame_at_or_after(beats[2].onset) as usize..RATE.frame_at_or_after(beats[2].end) as usize;
    let area = |lead| {
        frames[range.clone()].iter().map(|frame| frame.lead_mv(lead) - frames[range.start].lead_mv(lead)).sum::<f32>()
    };
    let (rows, areas) = ([DOWER[0], DOWER[1], DOWER[3]], [Lead::I, Lead::II, Lead::V2].map(area));
    let determinant = |m: [[f32; 3]; 3]| {
        let minor = |a: usize, b: usize| m[1][a] * m[2][b] - m[1][b] * m[2][a];
        m[0][0] * minor(1, 2) - m[0][1] * minor(0, 2) + m[0][2] * minor(0, 1)
    };
    let [x, y] = [0, 1].map(|axis| {
        let mut replaced = rows;
        replaced.iter_mut().zip(areas).for_each(|(row, area)| row[axis] = area);
        determinant(replaced) / determinant(rows)
    });
    y.atan2(x).to_degrees()
}

#[test]
fn the_axis_turns_by_what_is_set() {
    let rest = Settings::new(&ADULT, &SINUS).lit(Field::BreathingGain, 0.0);
    let usual = axis_deg(rest);
    let turned = |by| (axis_deg(rest.lit(Field::AxisDeg, by)) - usual + 540.0) % 360.0 - 180.0;
    for by in [-120.0, -80.0, -40.0, 40.0, 80.0, 120.0] {
        // The atrial part under the QRS is not turned.
        assert!((turned(by) - by).abs() < 2.5, "{by}: turned by {}", turned(by));
    }
}

#[test]
fn lost_force_leaves_q_waves_in_its_group() {
    let rest = Settings::new(&ADULT, &SINUS).lit(Field::BreathingGain, 0.0);
    let depth = |settings, lead: Lead| {
        let (frames, beats) = play(settings);
        let start = RATE.frame_at_or_after(beats[2].onset) as usize;
        frames[start..start + 50].iter().map(|frame| -frame.lead_mv(lead)).fold(0.0, f32::max)
    };
    let lost = rest.lit(Field::QInferiorMv, 0.7);
    for lead in INFERIOR {
        let (usual, deep) = (depth(rest, *lead), depth(lost, *lead));
        assert!(deep > 0.1 && deep > usual + 0.1, "{lead:?}: {usual} to {deep} mV");
    }
    // One vector: it shows in V5 and V6 too, not in V1 and V2, which look across it.
    for lead in [Lead::V1, Lead::V2] {
        let (usual, still) = (depth(rest, lead), depth(lost, lead));
        assert!(still < usual + 0.1, "{lead:?}: {usual} to {still} mV");
    }
}
