//! Orders: requests of a view, read.

use crate::controls;
use pulsewright_core::body::BODIES;
use pulsewright_core::heart::catalogue::{RHYTHMS, find};
use pulsewright_core::heart::rhythm::{EctopicSite, Rhythm};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_record::record::{Instrument, ItemEntry};
use pulsewright_script::typed::{self, unknown, unknown_of};
use pulsewright_stream::Command;
use serde::Deserialize;
use std::collections::BTreeMap;

/// Longest time of one rhythm in a sequence, s.
const MOST_SECONDS: f64 = 86_400.0;

/// Most rhythms in a sequence.
const MOST_ENTRIES: usize = 100;

/// Something to do, with all its words known and its numbers in range.
#[derive(Clone, Debug)]
pub enum Order {
    /// Another rhythm at its usual rate, another body, or other settings.
    Change(Command),
    /// A premature beat at once.
    Beat(EctopicSite),
    /// Rhythms one after the other, each for so many seconds; the last one holds.
    Sequence(Vec<(&'static Rhythm, f64)>),
    /// The next rhythm of the sequence.
    Next,
    /// The sequence waits, or goes on.
    Pause(bool),
    /// A step of the plan, by its place.
    Step(usize),
    /// Every output to rest.
    Stop,
}

/// A request of a person: a press, a key, an entry.
#[derive(Clone, Debug, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case")]
pub enum Request {
    /// No person is connected and the outputs were verified: opens the outputs.
    Confirm {
        /// No person is connected.
        person: bool,
        /// The outputs were verified with a calibrated meter.
        output: bool,
    },
    /// Plays this rhythm at its usual rate, and holds it.
    Rhythm {
        /// Its word in the catalogue.
        rhythm: String,
    },
    /// Another body with its resting values.
    Body {
        /// Its word.
        body: String,
    },
    /// Settings take these values.
    Set {
        /// By path.
        values: BTreeMap<String, f32>,
    },
    /// A premature beat at once.
    Beat {
        /// Its word.
        site: String,
    },
    /// Rhythms one after the other; the last one holds.
    Sequence {
        /// Rhythms and seconds.
        steps: Vec<(String, f64)>,
    },
    /// The next rhythm of the sequence.
    Next,
    /// The sequence waits, or goes on.
    Pause {
        /// Whether it waits.
        on: bool,
    },
    /// A step of the plan.
    Step {
        /// Its place, from 0.
        step: usize,
    },
    /// Every output to rest.
    Stop,
    /// Begins the check of a piece of equipment, or takes its draft up.
    Begin {
        /// Its asset number, and what else is known of it.
        about: BTreeMap<String, String>,
    },
    /// Closes the record; its draft stays.
    Leave,
    /// An instrument that is used.
    Instrument {
        /// Its kind, number and calibration.
        instrument: Instrument,
    },
    /// A piece of kit is out, or back, or is not.
    Kit {
        /// Its number in the plan, from 1.
        number: String,
        /// Back rather than out.
        back: bool,
        /// Whether it is.
        on: bool,
    },
    /// Which piece of kit is used.
    Piece {
        /// Its number in the plan, from 1.
        number: String,
        /// Its own number.
        id: String,
        /// Where it belongs.
        place: String,
    },
    /// A photo of an item, of a piece of kit (`kit.1`), or of the equipment (empty). No message of a page: a view hands it in.
    #[serde(skip)]
    Photo {
        /// The item, the piece of kit or the equipment that it shows.
        item: String,
        /// The file.
        bytes: Vec<u8>,
    },
    /// A photo is none of the record any more.
    DropPhoto {
        /// The item, the piece of kit or the equipment that it shows.
        item: String,
        /// Its digest.
        digest: String,
    },
    /// A preparation is made, or is not.
    Prepared {
        /// Its id.
        id: String,
        /// Whether it is.
        on: bool,
    },
    /// The entry of an item.
    Enter {
        /// The item's id.
        item: String,
        /// The entry.
        entry: ItemEntry,
    },
    /// Words about the equipment, beside those that the record has.
    About {
        /// The words, by their names in the record.
        about: BTreeMap<String, String>,
    },
    /// Takes back the last entry.
    Undo,
    /// Signs the record and writes it.
    Sign {
        /// Who did the work.
        name: String,
        /// When the next check is due; may be empty.
        next_due: String,
    },
    /// A rhythm becomes a favourite, or is one no more.
    Favourite {
        /// Its word in the catalogue.
        rhythm: String,
        /// Whether it is one.
        on: bool,
    },
}

/// The rhythm with this word.
pub fn rhythm(word: &str) -> Result<&'static Rhythm, String> {
    find(word).ok_or_else(|| unknown("rhythm", word, RHYTHMS.iter().map(|rhythm| rhythm.id)))
}

impl Request {
    /// The order for the player; `None` for a request that is no matter of the player.
    ///
    /// # Errors
    /// The first word that is unknown, or the first number out of its range.
    pub(crate) fn order(&self) -> Result<Option<Order>, String> {
        Ok(Some(match self {
            Request::Confirm { .. }
            | Request::Favourite { .. }
            | Request::Begin { .. }
            | Request::Leave
            | Request::Instrument { .. }
            | Request::Kit { .. }
            | Request::Piece { .. }
            | Request::Photo { .. }
            | Request::DropPhoto { .. }
            | Request::Prepared { .. }
            | Request::Enter { .. }
            | Request::About { .. }
            | Request::Undo
            | Request::Sign { .. } => return Ok(None),
            Request::Rhythm { rhythm: word } => Order::Change(Command::Rhythm(rhythm(word)?)),
            Request::Body { body } => {
                let found = BODIES.iter().copied().find(|one| one.id == body);
                let found = found.ok_or_else(|| unknown_of("body", body, BODIES.iter().map(|body| body.id)))?;
                Order::Change(Command::Body(found))
            }
            Request::Set { values } => {
                let read = |(path, value): (&String, &f32)| {
                    let field = typed::field(path).ok_or_else(|| unknown("setting", path, typed::paths()))?;
                    Ok((field, typed::value(field, &value.to_string())?))
                };
                Order::Change(Command::Set(values.iter().map(read).collect::<Result<_, String>>()?))
            }
            Request::Beat { site: word } => {
                let sites = || EctopicSite::ALL.iter();
                let site = sites().copied().find(|site| site.id() == word);
                Order::Beat(site.ok_or_else(|| unknown_of("site", word, sites().map(|site| site.id())))?)
            }
            Request::Sequence { steps } => {
                if steps.is_empty() || steps.len() > MOST_ENTRIES {
                    return Err(format!("a sequence has 1 to {MOST_ENTRIES} rhythms"));
                }
                let read = |(word, seconds): &(String, f64)| {
                    let allowed = (1.0..=MOST_SECONDS).contains(seconds);
                    let refused = || format!("a rhythm of a sequence plays 1 to {MOST_SECONDS} s, not {seconds}");
                    Ok((rhythm(word)?, if allowed { *seconds } else { return Err(refused()) }))
                };
                Order::Sequence(steps.iter().map(read).collect::<Result<_, String>>()?)
            }
            Request::Next => Order::Next,
            Request::Pause { on } => Order::Pause(*on),
            Request::Step { step } => Order::Step(*step),
            Request::Stop => Order::Stop,
        }))
    }
}

/// The patient after a change.
///
/// # Errors
/// A rate in a rhythm without beats or beyond those that it allows, settings that exclude each other.
pub fn changed(patient: &Settings, change: &Command) -> Result<Settings, String> {
    let settings = change.change(*patient)?;
    if let Command::Set(values) = change {
        let mut rates = values.iter().filter(|(field, _)| *field == Field::RateBpm);
        rates.try_for_each(|(_, bpm)| rate_allowed(&settings, *bpm))?;
    }
    Ok(settings)
}

fn rate_allowed(settings: &Settings, bpm: f32) -> Result<(), String> {
    let name = settings.rhythm().name;
    match controls::rate(settings) {
        None => Err(format!("{name} has no beats, so it has no rate to set")),
        Some((min, max)) if !(min..=max).contains(&bpm) => Err(format!("{name} allows {min} to {max} bpm")),
        Some(_) => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::ADULT;
    use pulsewright_core::heart::catalogue::named;

    fn order(text: &str) -> Result<Option<Order>, String> {
        let request: Request = serde_json::from_str(text).map_err(|error| error.to_string())?;
        request.order()
    }

    #[test]
    fn messages_are_read_or_refused_with_the_reason() {
        assert!(matches!(
            order(r#"{"do": "rhythm", "rhythm": "asystole"}"#),
            Ok(Some(Order::Change(Command::Rhythm(rhythm)))) if rhythm.id == "asystole"
        ));
        assert!(matches!(order(r#"{"do": "stop"}"#), Ok(Some(Order::Stop))));
        for (text, part) in [
            (r#"{"do": "rhythm", "rhythm": "vfib"}"#, "ventricular-fibrillation"),
            (r#"{"do": "set", "values": {"rate_bpm": 9000}}"#, "5 to 400"),
            (r#"{"do": "set", "values": {"rate": 70}}"#, "no setting 'rate'"),
            (r#"{"do": "sequence", "steps": []}"#, "1 to 100"),
            (r#"{"do": "sequence", "steps": [["sinus", 0.1]]}"#, "1 to 86400"),
            (r#"{"do": "beat", "site": "left"}"#, "left-ventricular"),
            (r#"{"do": "burn"}"#, "unknown variant"),
        ] {
            let message = order(text).expect_err(text);
            assert!(message.contains(part), "{text}: {message}");
        }
    }

    #[test]
    fn a_rate_is_for_a_rhythm_that_has_one() {
        let rate = Command::Set(vec![(Field::RateBpm, 300.0)]);
        let refused = |id: &str| changed(&Settings::new(&ADULT, named(id)), &rate).map(|_| ()).expect_err(id);
        assert!(refused("ventricular-fibrillation").contains("has no rate"));
        assert!(refused("av-block-1").contains("30 to 120 bpm"));
        assert!(changed(&Settings::new(&ADULT, named("ventricular-tachycardia")), &rate).is_ok());
    }
}
