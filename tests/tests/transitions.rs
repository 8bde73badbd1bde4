//! Going from any rhythm to any other never tears the signal.

use pulsewright_core::body::ADULT;
use pulsewright_core::frame::{Frame, Lead};
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Script, Step};
use pulsewright_core::settings::Settings;
use pulsewright_core::time::{FrameRate, Instant, Span};
use pulsewright_core::truth::Event;

const RATE: FrameRate = FrameRate::lit(1000);

/// Largest change from one frame to the next outside QRS and pacing, mV.
const LARGEST_MV: f32 = 0.1;

/// Frames and, for each, whether it lies in a QRS or near a pulse.
fn play(from: &'static Rhythm, to: &'static Rhythm) -> (Vec<Frame>, Vec<bool>) {
    // Nearly four seconds, so that the change comes at any phase of the beats.
    let step = |rhythm, millis| {
        let settings = Settings::new(&ADULT, rhythm);
        Item::Step(Step::lasting(Span::millis(millis), settings))
    };
    let items = [step(from, 3_947), step(to, 4_000), step(from, 4_000)];
    let script = Script::new(9, &items).expect("a script");
    let mut frames = vec![Frame::default(); 11_947];
    let mut spans = Vec::new();
    Player::new(&script, RATE).fill_observed(&mut frames, &mut |event| match event {
        Event::Beat(beat) => spans.push((beat.onset, beat.end)),
        Event::Pace { at, .. } => spans.push((at, at.plus(Span::millis(3)))),
        _ => {}
    });
    let mut excused = vec![false; frames.len()];
    let index = |at: Instant| (RATE.frame_at_or_after(at) as usize).min(frames.len());
    for (start, end) in spans {
        // One frame more at the end: the frame after it has its change from within.
        excused[index(start)..index(end.plus(Span::millis(2)))].fill(true);
    }
    (frames, excused)
}

#[test]
fn every_change_of_rhythm_is_smooth_outside_qrs_and_pacing() {
    let mut torn = Vec::new();
    let mut looked_at = 0;
    for from in RHYTHMS.iter().copied() {
        for to in RHYTHMS.iter().copied() {
            let (frames, excused) = play(from, to);
            let mut worst = (0.0, 0, Lead::I);
            for (i, pair) in frames.windows(2).enumerate().filter(|(i, _)| !excused[i + 1]) {
                looked_at += 1;
                for lead in [Lead::I, Lead::II, Lead::III, Lead::V1, Lead::V2, Lead::V3, Lead::V4, Lead::V5, Lead::V6] {
                    let jump = (pair[1].lead_mv(lead) - pair[0].lead_mv(lead)).abs();
                    if jump > worst.0 {
                        worst = (jump, i + 1, lead);
                    }
                }
            }
            if worst.0 > LARGEST_MV {
                torn.push(format!("{} to {}: {:.3} mV at {} ms in {:?}", from.id, to.id, worst.0, worst.1, worst.2));
            }
        }
    }
    assert!(looked_at > 20_000_000, "most frames are looked at: {looked_at}");
    assert!(torn.is_empty(), "{} pairs tear:\n{}", torn.len(), torn.join("\n"));
}
