//! PR, QRS and QT in the frames are those set, from slow to fast, in every body, measured on the eight leads together.

use pulsewright_core::body::{ADULT, BODIES, Body};
use pulsewright_core::frame::{Frame, INDEPENDENT_LEADS};
use pulsewright_core::heart::catalogue;
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Script, Step};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_core::truth::{Beat, Event};

const FRAMES_PER_S: u32 = 1000;

/// Largest error of a measured interval against the setting, ms.
const TOLERANCE_MS: f64 = 10.0;

struct Played {
    /// Root of the sum of the squares of the eight leads, mV: one trace in which a wave of any direction is seen.
    size_mv: Vec<f64>,
    leads_mv: Vec<[f32; INDEPENDENT_LEADS]>,
    lead_ii_mv: Vec<f64>,
    beats: Vec<Beat>,
}

fn play(body: &'static Body, rhythm: &str, set: &[(Field, f32)]) -> Played {
    let rhythm = catalogue::find(rhythm).expect("a rhythm of the catalogue");
    let mut settings = Settings::new(body, rhythm);
    for (field, value) in set {
        settings = settings.with(*field, *value).expect("within the field's range");
    }
    let items = [Item::Step(Step::lasting(Span::secs(8), settings))];
    let script = Script::new(1, &items).expect("a sound script");
    let mut frames = vec![Frame::default(); 8 * FRAMES_PER_S as usize];
    let mut beats = Vec::new();
    Player::new(&script, FrameRate::lit(FRAMES_PER_S)).fill_observed(&mut frames, &mut |event: Event| {
        if let Event::Beat(beat) = event {
            beats.push(beat);
        }
    });
    let size = |frame: &Frame| frame.leads_mv.iter().map(|mv| f64::from(*mv).powi(2)).sum::<f64>().sqrt();
    Played {
        size_mv: frames.iter().map(size).collect(),
        leads_mv: frames.iter().map(|frame| frame.leads_mv).collect(),
        lead_ii_mv: frames.iter().map(|frame| f64::from(frame.leads_mv[1])).collect(),
        beats,
    }
}

impl Played {
    /// First and last time within a window, ms from the start, at which the trace is above 5 % of its peak there.
    fn edges(&self, from_ms: f64, to_ms: f64) -> (f64, f64) {
        let window = &self.size_mv[from_ms as usize..to_ms as usize];
        let most = window.iter().copied().fold(0.0, f64::max);
        let seen = |mv: &&f64| **mv > 0.05 * most;
        let first = window.iter().position(|mv| seen(&mv)).expect("a wave");
        let last = window.iter().rposition(|mv| seen(&mv)).expect("a wave");
        (from_ms.floor() + first as f64, from_ms.floor() + last as f64)
    }

    /// First time within a window, ms from the start, at which the leads are further from where they were at its start than 5 % of
    /// the way that they go: the onset of a wave on the rest of the one before.
    fn onset_above_level(&self, from_ms: f64, to_ms: f64) -> f64 {
        let window = &self.leads_mv[from_ms as usize..to_ms as usize];
        let moved = |leads: &[f32; INDEPENDENT_LEADS]| {
            leads.iter().zip(window[0]).map(|(mv, level)| f64::from(mv - level).powi(2)).sum::<f64>().sqrt()
        };
        let most = window.iter().map(moved).fold(0.0, f64::max);
        from_ms.floor() + window.iter().position(|leads| moved(leads) > 0.05 * most).expect("a wave") as f64
    }

    /// The beats with room around them.
    fn inner(&self) -> &[Beat] {
        &self.beats[2..self.beats.len() - 2]
    }
}

fn ms(instant: pulsewright_core::time::Instant) -> f64 {
    instant.as_secs_f64() * 1000.0
}

fn check(what: &str, found: f64, set: f64) {
    assert!((found - set).abs() <= TOLERANCE_MS, "{what}: {found:.0} of {set:.0} ms");
}

#[test]
fn qrs_and_qt_are_as_set_from_40_to_200_bpm() {
    let mut measured = 0;
    for body in BODIES {
        for rate in [40.0, 60.0, 75.0, 100.0, 150.0, 200.0] {
            for qrs_ms in [50.0, body.complex(pulsewright_core::anatomy::Pathway::Normal).qrs_ms, 110.0] {
                let set = [(Field::RateBpm, rate), (Field::QrsMs, qrs_ms), (Field::QtcMs, 410.0), (Field::PrMs, 100.0)];
                let played = play(body, "sinus", &set);
                for beat in played.inner() {
                    let what = format!("{} at {rate} bpm, QRS {qrs_ms}", body.id);
                    let onset_ms = ms(beat.onset);
                    let (onset, end) = played.edges(onset_ms - 4.0, ms(beat.end) + 8.0);
                    check(&format!("QRS onset, {what}"), onset, onset_ms);
                    check(&format!("QRS, {what}"), end - onset, f64::from(qrs_ms));
                    // Fridericia: QT = QTc RR^(1/3).
                    let qt_ms = 410.0 * (60.0 / f64::from(rate)).cbrt();
                    // From about 150 bpm on the next P lies on the end of T, and a threshold can't separate them.
                    if qt_ms + 15.0 < 60_000.0 / f64::from(rate) - 100.0 {
                        let (_, t_end) = played.edges(ms(beat.end) + 12.0, onset_ms + qt_ms + 15.0);
                        check(&format!("QT, {what}"), t_end - onset, qt_ms);
                        measured += 1;
                    }
                    check(&format!("truth's T end, {what}"), ms(beat.t_end) - onset_ms, qt_ms);
                }
            }
        }
    }
    assert!(measured > 150, "QT was measured in {measured} beats only");
}

#[test]
fn pr_is_as_set() {
    for body in BODIES {
        // From about 110 bpm on P lies on the T wave before: without T waves it can be measured all the same.
        let slow = [(40.0, 240.0), (60.0, 120.0), (60.0, 200.0), (75.0, 160.0), (90.0, 130.0), (100.0, 120.0)];
        let fast = [(120.0, 160.0), (150.0, 120.0), (180.0, 110.0), (200.0, 100.0)];
        let cases = slow.map(|case| (case, 100.0)).into_iter().chain(fast.map(|case| (case, 0.0)));
        for ((rate, pr_ms), t_percent) in cases {
            let set =
                [(Field::RateBpm, rate), (Field::PrMs, pr_ms), (Field::QtcMs, 380.0), (Field::TPercent, t_percent)];
            let played = play(body, "sinus", &set);
            for beat in played.inner() {
                let onset_ms = ms(beat.onset);
                let (qrs_onset, _) = played.edges(onset_ms - 4.0, ms(beat.end));
                let p_onset = played.onset_above_level(onset_ms - f64::from(pr_ms) - 2.0, onset_ms - 1.0);
                let what = format!("PR, {} at {rate} bpm", body.id);
                check(&what, qrs_onset - p_onset, f64::from(pr_ms));
                check(&what, onset_ms - ms(beat.p_onset.expect("a conducted beat")), f64::from(pr_ms));
            }
        }
    }
}

#[test]
fn lead_ii_shows_its_r_at_the_truths_peak() {
    for body in BODIES {
        let played = play(body, "sinus", &[]);
        for beat in played.inner() {
            let peak = ms(beat.peak) as usize;
            let r = played.lead_ii_mv[peak - 30..peak + 30].iter().copied().fold(0.0, f64::max);
            assert!(r > 0.5, "{}: R of {r:.2} mV in II", body.id);
        }
    }
}

#[test]
fn wide_rhythms_are_wide_in_the_frames() {
    for rhythm in ["left-bundle-branch-block", "right-bundle-branch-block", "idioventricular", "paced-vvi"] {
        let played = play(&ADULT, rhythm, &[]);
        for beat in played.inner() {
            // The T wave starts before the QRS ends, so the end is sought up to the truth's end only.
            let (onset, end) = played.edges(ms(beat.onset) + 2.0, ms(beat.end) + 8.0);
            assert!(end - onset >= 120.0, "{rhythm}: {:.0} ms", end - onset);
        }
    }
}
