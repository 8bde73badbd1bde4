//! Commands while frames are sent.

use super::sound_bits;
use bumpalo::Bump;
use pulsewright_core::frame::Frame;
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::Script;
use pulsewright_core::time::FrameRate;
use pulsewright_script::parse;
use pulsewright_stream::{Command, LivePlayer};

const RATE: FrameRate = FrameRate::lit(250);

/// Most frames that are sent.
const MOST: usize = 2500;

/// Most lines that are applied; each costs a look ahead at the next beat.
const MOST_LINES: usize = 40;

/// Lines are commands, or `wait N` frames; for any of them, the log plays the frames that were sent.
pub fn stream(text: &[u8]) {
    let text = String::from_utf8_lossy(text);
    let document = parse(include_bytes!("stream.json"), "stream.json").expect("a script");
    let items = document.items();
    let script = Script::new(document.seed(), &items).expect("a script");
    let arena = Bump::new();
    let mut live = LivePlayer::new(&arena, &document, &script, SiteSet::USUAL, RATE);
    let mut sent = Vec::new();
    send(&mut live, &mut sent, 1);
    for line in text.lines().take(MOST_LINES) {
        if let Some(count) = line.strip_prefix("wait ") {
            send(&mut live, &mut sent, count.trim().parse().unwrap_or(1));
            continue;
        }
        match Command::parse(line) {
            Err(message) => assert!(!message.is_empty()),
            Ok(None | Some(Command::Stop)) => {}
            Ok(Some(command)) => {
                let last = RATE.instant_of(live.position() - 1);
                if let Ok(at) = live.apply(&command) {
                    assert!(at > last, "nothing changes what was sent");
                }
            }
        }
    }
    send(&mut live, &mut sent, 1);
    while !live.ended() && !live.may_stop() {
        let count = sent.len();
        send(&mut live, &mut sent, MOST + 100);
        assert!(sent.len() > count, "a stream that has not ended sends frames");
    }

    let log = live.log();
    let written = log.to_json().to_string();
    let read = parse(written.as_bytes(), "log.json").unwrap_or_else(|problems| panic!("{problems}\n{written}"));
    let items = read.items();
    let script = Script::new(read.seed(), &items).expect("a log is a script");
    let mut player = Player::new(&script, RATE);
    let mut again = vec![Frame::default(); sent.len()];
    assert_eq!(player.fill(&mut again), sent.len(), "frames of the log\n{written}");
    for (i, (sent, again)) in sent.iter().zip(&again).enumerate() {
        assert_eq!(sound_bits(sent), sound_bits(again), "frame {i}\n{written}");
    }
}

/// Sends frames, up to `count` and up to the most there may be.
fn send(live: &mut LivePlayer<'_>, sent: &mut Vec<Frame>, count: usize) {
    let until = sent.len().saturating_add(count).min(MOST.max(sent.len() + 1));
    while sent.len() < until {
        let mut block = [Frame::default(); 1];
        match live.fill(&mut block) {
            0 => return,
            _ => sent.push(block[0]),
        }
    }
}
