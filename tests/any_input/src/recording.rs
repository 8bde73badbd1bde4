//! Recordings: waveform-database records, EDF, CSV, WAV.

use super::sound;
use pulsewright_core::body::ADULT;
use pulsewright_core::frame::{Frame, INDEPENDENT_LEADS};
use pulsewright_core::heart::catalogue::RECORDED;
use pulsewright_core::player::Player;
use pulsewright_core::recording::{self, RecordedNoise};
use pulsewright_core::script::{Script, Series, SeriesBeat, Step};
use pulsewright_core::settings::Settings;
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_core::truth::BeatCode;
use pulsewright_recording::{NumberMeaning, Recording, open};
use std::path::Path;

/// Files of a letter: that of the form, then the content; of a waveform-database record the header, a zero and the samples.
const FORMS: [(u8, &str); 4] = [(b'h', "a.hea"), (b'e', "a.edf"), (b'c', "a.csv"), (b'w', "a.wav")];

/// A file gets a recording whose channels are of one length, or a message. As leads and as noise it plays the same finite frames
/// however they are asked for, or is refused.
pub fn recording(input: &[u8]) {
    let Some((form, content)) = input.split_first() else { return };
    let Some((_, name)) = FORMS.iter().find(|(letter, _)| letter == form) else { return };
    let cut = content.iter().position(|byte| *byte == 0).filter(|_| *form == b'h').unwrap_or(content.len());
    let (head, samples) = content.split_at(cut);
    let bytes = |file: &Path| {
        let samples = samples.get(1..).unwrap_or_default();
        Ok(if file == Path::new(name) { head.to_vec() } else { samples.to_vec() })
    };
    let scale_mv = (*form == b'w').then_some(0.001);
    for rate_hz in [None, Some(250.0)] {
        match open(Path::new(name), NumberMeaning { scale_mv, rate_hz }, &bytes) {
            Ok(found) => play(&found),
            Err(error) => assert!(!error.to_string().is_empty()),
        }
    }
}

fn play(found: &Recording) {
    let frames = found.frames();
    assert!(found.channels.iter().all(|channel| channel.samples.len() == frames));
    let channel = |place: usize| found.channels.get(place).map_or(&[][..], |channel| &channel.samples);
    let leads: [&[f32]; INDEPENDENT_LEADS] = std::array::from_fn(channel);
    let beats = [SeriesBeat { after: Span::millis(200), code: BeatCode::Normal }];
    let still = Settings::new(&ADULT, &RECORDED);
    let step = Step::lasting(Span::secs(2), still);
    if let Some(leads) = recording::Recording::new(leads, found.rate_hz) {
        let (from, length) = leads.bounds();
        let looped = leads.stretch(from, length.min(Span::millis(700))).passed(Span::millis(300));
        same_however_asked(step.with_recording(looped, Series { beats: &beats, length: Span::secs(1) }));
    }
    let [first, second, ..] = leads;
    if let Some(noise) = RecordedNoise::new([first, second], found.rate_hz) {
        let noise = noise.scaled([0.5, -2.0], [0.1, -0.1]);
        same_however_asked(step.with_noise(&noise));
    }
}

fn same_however_asked(step: Step<'_>) {
    let items = [step.into()];
    let Ok(script) = Script::new(1, &items) else { return };
    for hz in [100, 1000] {
        let mut whole = [Frame::default(); 120];
        let mut player = Player::new(&script, FrameRate::lit(hz));
        assert_eq!(player.fill(&mut whole), whole.len());
        assert!(whole.iter().all(sound), "frames that are no numbers");
        let mut parts = [Frame::default(); 120];
        let mut player = Player::new(&script, FrameRate::lit(hz));
        player.skip(37);
        player.fill(&mut parts[37..50]);
        player.fill(&mut parts[50..]);
        assert!(parts[37..] == whole[37..]);
    }
}
