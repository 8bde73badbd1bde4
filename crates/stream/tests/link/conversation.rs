//! The conversation without a clock: bytes and times go from one end to the other.

use crate::board::{Frames, Line, Model, Words, frame, wiring, words};
use heapless::spsc::Queue;
use pulsewright_core::time::FrameRate;
use pulsewright_device::fixed::Slope;
use pulsewright_device::link::message::StageStatus;
use pulsewright_device::link::packet::MAX_PACKET;
use pulsewright_device::link::{BoardLink, HEAD_START, HostRequest};
use pulsewright_device::stage::{RestCause, State};
use pulsewright_device::wiring::{OutputSource, Wiring, WiringOutput};
use pulsewright_stream::link::{Host, LinkError};
use std::ops::Range;

/// The messages, and the faults of the line.
struct Talk {
    frames: u16,
    /// Time from frame to frame at the host, 0 for as fast as it takes them, and at the board, ms.
    made_every: u32,
    shown_every: u32,
    /// Bytes of a million that are dropped, and as many that are changed.
    wrong: u32,
    /// When the line carries nothing, ms.
    cut: Range<u32>,
}

const CLEAN: Talk = Talk { frames: 5000, made_every: 0, shown_every: 1, wrong: 0, cut: 0..0 };

/// How it ended.
struct End {
    words: Words,
    host: Host,
    state: State,
    rested_at: Option<u32>,
    failed: Option<LinkError>,
}

fn converse(talk: &Talk) -> End {
    let (mut words, mut frames) = (Words::default(), Frames::new());
    let mut board = Model::new(&mut words, &mut frames, 20);
    let mut host = Host::new(&wiring(), FrameRate::lit(1000));
    let mut line = Line { seed: 1, wrong: talk.wrong };
    let (mut offered, mut rested_at, mut failed) = (0, None, None);
    for now in 0..400_000 {
        let made = |offered: u16| u32::from(offered) * talk.made_every <= now;
        while offered < talk.frames && made(offered) && host.push(0, &frame(offered)) {
            offered += 1;
        }
        if offered == talk.frames {
            host.finish();
        }
        let mut carry = |bytes: &[u8]| if talk.cut.contains(&now) { Vec::new() } else { line.carry(bytes) };
        let mut bytes = Vec::new();
        host.send(now, &mut bytes);
        board.hear(&carry(&bytes), now);
        if board.notice_silence(now) {
            rested_at = Some(now);
        }
        if now % talk.shown_every == 0 {
            board.stage.tick(now);
        }
        failed = host.receive(&carry(&board.answers()), now).err();
        let long_ago = rested_at.is_some_and(|then| now > then + 1000);
        if failed.is_some() || host.is_stopped() || long_ago {
            break;
        }
    }
    let state = board.stage.state();
    End { words, host, state, rested_at, failed }
}

#[test]
fn a_clean_line_repeats_nothing_and_keeps_pace() {
    let end = converse(&CLEAN);
    assert_eq!(end.words.played(), words(5000));
    assert_eq!((end.host.repeated(), end.host.empty(), end.state), (0, 0, State::Resting(RestCause::Underrun)));
    assert!(end.host.is_stopped());
}

#[test]
fn a_full_board_is_no_damage() {
    // A frame is shown in 20 ms, and asked for again after some 8 ms without room.
    let end = converse(&Talk { frames: 1000, shown_every: 20, ..CLEAN });
    assert_eq!(end.words.played(), words(1000));
    assert_eq!((end.host.repeated(), end.host.empty(), end.failed), (0, 0, None));
    assert!(end.host.is_stopped());
}

#[test]
fn a_line_that_loses_and_changes_bytes_shows_no_wrong_word() {
    // One byte in a hundred: half of them dropped, half of them changed.
    let end = converse(&Talk { shown_every: 8, wrong: 5_000, ..CLEAN });
    assert_eq!(end.words.played(), words(5000));
    assert!(end.host.repeated() > 500, "{}", end.host.repeated());
}

#[test]
fn a_cut_line_brings_rest_within_fifty_milliseconds() {
    let end = converse(&Talk { cut: 1000..u32::MAX, ..CLEAN });
    assert_eq!(end.state, State::Resting(RestCause::Silence));
    assert!(end.rested_at.is_some_and(|at| (1000..1050).contains(&at)), "{:?}", end.rested_at);
    let played = end.words.played();
    assert_eq!(played, words(played.len() as u16));
    assert!(end.words.at_rest());
}

#[test]
fn a_silence_at_any_time_ends_the_conversation_with_its_reason() {
    // The head start is reached after 48 ms, so the first two cuts are before the board shows frames.
    for from in [5, 30, 60, 500] {
        let end = converse(&Talk { made_every: 1, cut: from..from + 60, ..CLEAN });
        assert!(end.rested_at.is_some_and(|at| (from..from + 60).contains(&at)), "{from}: {:?}", end.rested_at);
        let Some(LinkError::Rest(why)) = end.failed else { panic!("{from}: {:?}", end.failed) };
        assert_eq!(why, "this computer was silent for too long", "{from}");
    }
}

#[test]
fn ticks_without_a_frame_are_counted_while_more_are_to_come() {
    // The host makes a frame in 2 ms and the board shows one in 1: the head start lasts for 96, then every other tick is empty.
    let end = converse(&Talk { frames: 3000, made_every: 2, ..CLEAN });
    assert_eq!(end.words.played(), words(3000));
    let empty = 3000 - 2 * HEAD_START;
    assert!(end.host.empty().abs_diff(empty) < 100, "{} and {empty}", end.host.empty());
}

/// A host that makes a frame each millisecond of its clock, and a board whose clock differs by so many millionths and is trimmed
/// or not, for ten minutes; returns the fewest and most frames that waited, and the ticks that found none.
fn drift(ppm: f64, trimmed: bool) -> (usize, usize, u32) {
    let (mut words, mut frames) = (Words::default(), Frames::new());
    let mut board = Model::new(&mut words, &mut frames, 20);
    let mut host = Host::new(&wiring(), FrameRate::lit(1000));
    let (mut due, mut least, mut most) = (0.0, usize::MAX, 0);
    for now in 0..600_000 {
        host.push(0, &[0; 4]);
        let mut bytes = Vec::new();
        host.send(now, &mut bytes);
        board.hear(&bytes, now);
        while due <= f64::from(now) {
            board.stage.tick(now);
            let trim = if trimmed { f64::from(board.stage.trim_ppm(HEAD_START as usize)) } else { 0.0 };
            due += (1.0 - ppm / 1e6) * (1.0 + trim / 1e6);
        }
        host.receive(&board.answers(), now).expect("a board that plays");
        if now > 10_000 {
            (least, most) = (least.min(board.stage.waiting()), most.max(board.stage.waiting()));
        }
    }
    (least, most, board.stage.counts().empty)
}

#[test]
fn clocks_that_differ_are_followed() {
    let (_, _, empty) = drift(100.0, false);
    assert!(empty > 5, "without the trim the frames run out: {empty}");
    for ppm in [-100.0, 100.0] {
        let (least, most, empty) = drift(ppm, true);
        assert_eq!(empty, 0, "{ppm}");
        assert!(least > 16 && most < 100, "{ppm}: {least} to {most} frames waited");
    }
}

#[test]
fn another_rig_is_refused() {
    let slope = Slope { mantissa: 1 << 30, shift: 20, offset: 1 };
    let other =
        Wiring::new(&[WiringOutput { source: OutputSource::Reference, slope, rest: 0 }; 2], (-32_768, 32_767)).unwrap();
    let mut queue = Queue::<_, 8>::new();
    let mut board: BoardLink<'_, 2> = BoardLink::new(&other, queue.split().0);
    let mut host = Host::new(&wiring(), FrameRate::lit(1000));
    let mut bytes = Vec::new();
    host.send(0, &mut bytes);
    let heard: Vec<HostRequest> = bytes.iter().filter_map(|byte| board.take(*byte, 0)).collect();
    assert_eq!(heard, [HostRequest::Stop]);
    let mut packet = [0; MAX_PACKET];
    let answer = board.answer(StageStatus::default(), &mut packet).unwrap();
    assert_eq!(host.receive(answer, 1), Err(LinkError::Wiring));
}
