//! Parsers of flag values. The message of a refusal says which values are allowed; clap adds flag and value.

use pulsewright_core::body::{BODIES, Body};
use pulsewright_core::frame::{Channel, Lead};
use pulsewright_core::heart::catalogue::{self, RHYTHMS};
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::settings::Field;
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_plot::strip::{self, StripError, StripRow};
use pulsewright_script::channel_groups::{ChannelGroup, GROUPS};
pub use pulsewright_script::typed::span;
use pulsewright_script::typed::{self, nearest, value};
use std::fmt::Display;
use std::net::IpAddr;
use std::str::FromStr;

/// Channels chosen. A type of its own, since a bare list would mean a flag given several times.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Channels(pub Vec<Channel>);

/// Lines of a strip.
#[derive(Clone, Debug, PartialEq)]
pub struct StripRows(pub Vec<StripRow>);

/// A frame rate.
pub fn frame_rate(text: &str) -> Result<FrameRate, String> {
    let expected = || format!("a frame rate is a whole number of {} to {} Hz", FrameRate::MIN_HZ, FrameRate::MAX_HZ);
    text.parse().ok().and_then(|hz| FrameRate::hz(hz).ok()).ok_or_else(expected)
}

/// Corner of an AC coupling, Hz.
pub fn corner_hz(text: &str) -> Result<f64, String> {
    let hz = text.parse().ok().filter(|hz| (0.001..=100.0).contains(hz));
    hz.ok_or_else(|| "a corner is a number of 0.001 to 100 Hz".to_owned())
}

/// Channels and groups, separated by commas.
pub fn channels(text: &str) -> Result<Channels, String> {
    let mut list = Vec::new();
    for word in text.split(',') {
        match (Channel::find(word), ChannelGroup::find(word)) {
            (Some(channel), _) => list.push(channel),
            (None, Some(group)) => list.extend(group.channels()),
            (None, None) => {
                let words =
                    Channel::ALL.iter().map(|channel| channel.id()).chain(GROUPS.iter().map(|group| group.word));
                return Err(unknown("channel", word, words, "channels"));
            }
        }
    }
    let twice = |(i, channel): (usize, &Channel)| list[..i].contains(channel).then_some(*channel);
    if let Some(channel) = list.iter().enumerate().find_map(twice) {
        return Err(format!("channel {} is chosen twice", channel.id()));
    }
    Ok(Channels(list))
}

/// Leads, or the word for all twelve, separated by commas.
pub fn leads(text: &str) -> Result<Channels, String> {
    let chosen = channels(text)?;
    match chosen.0.iter().find(|channel| !matches!(channel, Channel::Lead(_))) {
        Some(other) => Err(format!("{} is no lead; leads are I, II, III, aVR, aVL, aVF and V1 to V6", other.id())),
        None => Ok(chosen),
    }
}

/// Lines of a strip: channels, groups and the word for the usual twelve-lead arrangement, separated by commas.
pub fn lines(text: &str) -> Result<StripRows, String> {
    let mut words = Vec::new();
    for word in text.split(',') {
        match ChannelGroup::find(word) {
            Some(group) => words.extend(group.channels().map(|channel| channel.id())),
            None => words.push(word),
        }
    }
    strip::lines(words).map(StripRows).map_err(|error| match error {
        StripError::UnknownChannel(word) => {
            let known = Channel::ALL.iter().map(|channel| channel.id()).chain(GROUPS.iter().map(|group| group.word));
            unknown("channel", &word, known.chain([strip::TWELVE_LEADS]), "channels")
        }
        other => other.to_string(),
    })
}

/// A time since the start, which may be 0.
pub fn start(text: &str) -> Result<Span, String> {
    if matches!(text, "0" | "0s") { Ok(Span::ZERO) } else { span(text) }
}

/// A rhythm by its word.
pub fn rhythm(text: &str) -> Result<&'static Rhythm, String> {
    catalogue::find(text).ok_or_else(|| unknown("rhythm", text, RHYTHMS.iter().map(|rhythm| rhythm.id), "rhythms"))
}

/// A body by its word.
pub fn body(text: &str) -> Result<&'static Body, String> {
    Body::find(text).ok_or_else(|| unknown("body", text, BODIES.iter().map(|body| body.id), "bodies"))
}

/// Leads of a list.
#[derive(Clone, Debug)]
pub struct Leads(pub Vec<Lead>);

/// Leads of the standard twelve, with commas between.
pub fn recorded_leads(text: &str) -> Result<Leads, String> {
    let lead = |word: &str| {
        let is_named = |lead: &Lead| Channel::Lead(*lead).id().eq_ignore_ascii_case(word.trim());
        Lead::ALL
            .into_iter()
            .find(is_named)
            .ok_or_else(|| format!("there is no lead '{word}'; leads are I, II, III, aVR, aVL, aVF and V1 to V6"))
    };
    text.split(',').map(lead).collect::<Result<_, _>>().map(Leads)
}

/// A whole number within limits.
fn whole<N: FromStr + PartialOrd + Display>(text: &str, lowest: N, highest: N) -> Result<N, String> {
    let number = text.parse().ok().filter(|number| (&lowest..=&highest).contains(&number));
    number.ok_or_else(|| format!("allowed: a whole number from {lowest} to {highest}"))
}

/// A seed.
pub fn seed(text: &str) -> Result<u64, String> {
    whole(text, 0, u64::MAX)
}

/// How many threads or processes work at a time.
pub fn jobs(text: &str) -> Result<u16, String> {
    whole(text, 1, u16::MAX)
}

/// A number of patients.
pub fn patients(text: &str) -> Result<u64, String> {
    whole(text, 1, 1_000_000_000)
}

/// A number of packs, or of draws.
pub fn hundred_thousand(text: &str) -> Result<u32, String> {
    whole(text, 1, 100_000)
}

/// A port; 0 takes a free one.
pub fn port(text: &str) -> Result<u16, String> {
    whole(text, 0, u16::MAX)
}

/// Pixels an inch.
pub fn dots(text: &str) -> Result<u32, String> {
    whole(text, 0, u32::MAX)
}

/// An address to listen at.
pub fn address(text: &str) -> Result<IpAddr, String> {
    text.parse().map_err(|_| "an address is four numbers, as 192.168.7.20, or the form of IPv6".to_owned())
}

/// A number; the range is that of its use.
pub fn number(text: &str) -> Result<f64, String> {
    text.parse().map_err(|_| "allowed: a number, as 12.5".to_owned())
}

/// A ventricular rate.
pub fn rate(text: &str) -> Result<f32, String> {
    value(Field::RateBpm, text)
}

/// A rate of breathing.
pub fn breaths(text: &str) -> Result<f32, String> {
    value(Field::BreathsPerMin, text)
}

/// A pressure as systolic/diastolic.
pub fn pressure(text: &str) -> Result<(f32, f32), String> {
    let (systolic, diastolic) = text.split_once('/').ok_or("a pressure is systolic/diastolic in mmHg, as 120/80")?;
    let systolic = value(Field::ArterialSystolic, systolic).map_err(|message| format!("systolic: {message}"))?;
    let diastolic = value(Field::ArterialDiastolic, diastolic).map_err(|message| format!("diastolic: {message}"))?;
    if systolic < diastolic + 2.0 {
        return Err("systolic comes first and is at least 2 mmHg above diastolic, as 120/80".to_owned());
    }
    Ok((systolic, diastolic))
}

/// A field's path and its value.
pub fn setting(text: &str) -> Result<(Field, f32), String> {
    let (path, number) = text.split_once('=').ok_or("a setting is a field and its value, as ecg.gain=2")?;
    let field = typed::field(path).ok_or_else(|| unknown("field", path, typed::paths(), "fields"))?;
    Ok((field, value(field, number)?))
}

/// A message for a word that is none of `words`: the nearest one and where to find them all.
fn unknown<'a>(kind: &str, typed: &str, words: impl IntoIterator<Item = &'a str>, list: &str) -> String {
    let meant = nearest(typed, words).map_or(String::new(), |word| format!(" Did you mean '{word}'?"));
    format!("there is no {kind} '{typed}'.{meant} `pulsewright catalog {list}` lists them")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_numbers_are_held_to_their_limits_and_the_message_names_these() {
        assert_eq!((jobs("1"), jobs("65535"), port("0"), seed("0")), (Ok(1), Ok(65535), Ok(0), Ok(0)));
        for text in ["0", "65536", "-1", "1.5", "x", ""] {
            assert_eq!(jobs(text), Err("allowed: a whole number from 1 to 65535".to_owned()), "{text}");
        }
        assert!(number("x").is_err() && number("12.5") == Ok(12.5));
        assert!(address("999.1.1.1").is_err() && address("::1").is_ok());
    }

    #[test]
    fn numbers_are_held_to_their_range() {
        assert_eq!(rate("72.5"), Ok(72.5));
        for text in ["", "0", "-70", "10000", "1e40", "NaN", "inf", "72bpm"] {
            assert!(rate(text).unwrap_err().contains("5 to 400 bpm"), "{text}");
        }
        assert_eq!(pressure("120/80"), Ok((120.0, 80.0)));
        for text in ["120", "80/120", "nan/80", "120/", "/", "120/119", "120/80/60"] {
            assert!(pressure(text).is_err(), "{text}");
        }
        assert_eq!(setting("ecg.gain=2"), Ok((Field::EcgGain, 2.0)));
        assert!(setting("ecg.gian=2").unwrap_err().contains("'ecg.gain'"));
        for text in ["ecg.gain", "ecg.gain=", "=2", "ecg.gain=20"] {
            assert!(setting(text).is_err(), "{text}");
        }
    }

    #[test]
    fn lines_take_channels_groups_and_the_twelve_lead_arrangement() {
        let parts = |text| lines(text).map(|lines| lines.0.iter().map(|line| line.parts.len()).collect::<Vec<_>>());
        assert_eq!(parts("arterial,12-lead"), Ok(vec![4, 4, 4, 1, 1]));
        assert_eq!(parts("leads").map(|parts| parts.len()), Ok(12));
        assert!(parts("12-laed").unwrap_err().contains("'12-lead'"));
        assert_eq!(start("0s"), Ok(Span::ZERO));
        assert!(start("-1s").is_err());
    }

    #[test]
    fn channels_keep_their_order_and_are_named_once() {
        let ii = Channel::Lead(Lead::II);
        assert_eq!(channels("arterial,ii"), Ok(Channels(vec![Channel::find("arterial").unwrap(), ii])));
        assert_eq!(channels("leads,respiration").unwrap().0.len(), 13);
        for text in ["II,II", "leads,II", "all,usual"] {
            assert!(channels(text).unwrap_err().contains("twice"), "{text}");
        }
        assert!(channels("electrode-R").unwrap_err().contains("'electrode-RA'"));
        for text in ["", ",", "II,", "II;V1", "VX"] {
            assert!(channels(text).is_err(), "{text}");
        }
    }
}
