//! Commands: a line of words each.

use pulsewright_core::body::{BODIES, Body};
use pulsewright_core::heart::catalogue::{self, RHYTHMS};
use pulsewright_core::heart::rhythm::{EctopicSite, Rhythm};
use pulsewright_core::settings::{Field, Settings};
use pulsewright_script::rhythm_words::{self, RhythmGroup};
use pulsewright_script::typed::{self, unknown, unknown_of, value};

/// A command while frames are sent.
#[derive(Clone, Debug)]
pub enum Command {
    /// Another rhythm, at its usual rate.
    Rhythm(&'static Rhythm),
    /// Another body, with its resting values.
    Body(&'static Body),
    /// Fields take these values.
    Set(Vec<(Field, f32)>),
    /// A premature beat, at once.
    Beat(EctopicSite),
    /// Hold the present state: ramps stop, the script's next step waits.
    Hold,
    /// The script's next step.
    Next,
    /// End.
    Stop,
}

impl Command {
    /// The settings after the command; one that changes no settings leaves them.
    ///
    /// # Errors
    /// Settings that exclude each other.
    pub fn change(&self, settings: Settings) -> Result<Settings, String> {
        match self {
            Command::Rhythm(rhythm) => Ok(settings.with_rhythm(rhythm)),
            Command::Body(body) => Ok(settings.with_body(body)),
            Command::Set(values) => values
                .iter()
                .try_fold(settings, |settings, (field, value)| settings.with(*field, *value))
                .map_err(|error| error.to_string()),
            Command::Beat(_) | Command::Hold | Command::Next | Command::Stop => Ok(settings),
        }
    }
}

/// How commands are written, a line each.
pub const HELP: &str = "\
rhythm WORD          another rhythm, at its usual rate; everyday words will do, as vf or chb
body WORD            another body, with its resting values
rate BPM             ventricular rate
pressure 120/80      arterial pressure, mmHg
breaths PER_MIN      breathing rate; 0 is apnoea
set FIELD=VALUE      any other setting
beat SITE            a premature beat at once
hold                 hold the present state
next                 the script's next step
stop                 end
list                 the rhythms
help                 these commands";

/// The rhythms, a line for each group.
pub fn list() -> impl Iterator<Item = String> {
    RhythmGroup::ALL.iter().map(|group| {
        let words = rhythm_words::ALL.iter().filter(|row| row.group == *group).map(|row| row.id);
        format!("{}: {}", group.name(), words.collect::<Vec<_>>().join(", "))
    })
}

/// A remark for the person about a command that was carried out and changes nothing in these settings.
pub fn remark(command: &Command, settings: &Settings) -> Option<String> {
    let Command::Set(values) = command else { return None };
    let rate = values.iter().any(|(field, _)| *field == Field::RateBpm);
    rate.then(|| unused_rate(settings.rhythm())).flatten()
}

/// The remark about a rate that was set for a rhythm without beats.
pub fn unused_rate(rhythm: &Rhythm) -> Option<String> {
    let name = rhythm.name.to_lowercase();
    (!rhythm.beats()).then(|| format!("{name} has no beats, so the rate changes nothing"))
}

const VERBS: [&str; 10] = ["rhythm", "body", "rate", "pressure", "breaths", "set", "beat", "hold", "next", "stop"];

impl Command {
    /// Reads a line; `None` for an empty line or one that starts with `#`.
    ///
    /// # Errors
    /// The mistake, the allowed values and the nearest word.
    pub fn parse(line: &str) -> Result<Option<Command>, String> {
        let mut words = line.split_whitespace();
        let Some(verb) = words.next().filter(|verb| !verb.starts_with('#')) else {
            return Ok(None);
        };
        let rest: Vec<&str> = words.collect();
        let one = |what: &str| match rest.as_slice() {
            [word] => Ok(*word),
            _ => Err(format!("{verb} takes one {what}, as in '{verb} {}'", example(verb))),
        };
        let none = |command: Command| match rest.as_slice() {
            [] => Ok(command),
            _ => Err(format!("{verb} takes nothing more")),
        };
        let command = match verb {
            "rhythm" => {
                let typed = rest.join(" ");
                let word = rhythm_words::in_full(&typed).map_or_else(|| one("word"), Ok)?;
                Command::Rhythm(find("rhythm", word, RHYTHMS, |rhythm| rhythm.id)?)
            }
            "body" => Command::Body(find("body", one("word")?, BODIES, |body| body.id)?),
            "rate" => Command::Set(vec![(Field::RateBpm, value(Field::RateBpm, one("number")?)?)]),
            "breaths" => Command::Set(vec![(Field::BreathsPerMin, value(Field::BreathsPerMin, one("number")?)?)]),
            "pressure" => {
                let (high, low) =
                    one("pair")?.split_once('/').ok_or("a pressure is two numbers, as in 'pressure 120/80'")?;
                let pair = [(Field::ArterialSystolic, high), (Field::ArterialDiastolic, low)];
                Command::Set(pair.into_iter().map(|(f, text)| Ok((f, value(f, text)?))).collect::<Result<_, String>>()?)
            }
            "set" => {
                let (path, text) =
                    one("setting")?.split_once('=').ok_or("a setting is FIELD=VALUE, as in 'set ecg.gain=2'")?;
                let field = typed::field(path).ok_or_else(|| unknown("field", path, typed::paths()))?;
                Command::Set(vec![(field, value(field, text)?)])
            }
            "beat" => {
                let word = one("site")?;
                let site = EctopicSite::ALL.iter().copied().find(|site| site.id() == word);
                let sites = EctopicSite::ALL.iter().map(|site| site.id());
                Command::Beat(site.ok_or_else(|| unknown_of("site", word, sites))?)
            }
            "hold" => none(Command::Hold)?,
            "next" => none(Command::Next)?,
            "stop" => none(Command::Stop)?,
            _ => return Err(unknown_of("command", verb, VERBS)),
        };
        Ok(Some(command))
    }
}

/// An example of a verb's argument.
fn example(verb: &str) -> &'static str {
    match verb {
        "rhythm" => catalogue::ATRIAL_FIBRILLATION.id,
        "body" => "child",
        "rate" => "110",
        "breaths" => "12",
        "pressure" => "120/80",
        "beat" => "right-ventricular",
        _ => "ecg.gain=2",
    }
}

fn find<T>(kind: &str, word: &str, all: &[&'static T], id: fn(&T) -> &'static str) -> Result<&'static T, String> {
    let found = all.iter().copied().find(|one| id(one) == word);
    found.ok_or_else(|| unknown(kind, word, all.iter().map(|one| id(one))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_read_or_refused_with_the_reason() {
        assert!(
            matches!(Command::parse("rhythm asystole"), Ok(Some(Command::Rhythm(rhythm))) if rhythm.id == "asystole")
        );
        assert!(matches!(Command::parse("  hold "), Ok(Some(Command::Hold))));
        for line in ["rhythm vf", "rhythm V-Fib", "rhythm v fib", "rhythm ventricular-fibrillation"] {
            let read = Command::parse(line);
            assert!(
                matches!(read, Ok(Some(Command::Rhythm(rhythm))) if rhythm.id == "ventricular-fibrillation"),
                "{line}"
            );
        }
        assert!(matches!(Command::parse("set test.signal=sine"), Ok(Some(Command::Set(values))) if values[0].1 == 5.0));
        assert!(matches!(Command::parse(""), Ok(None)) && matches!(Command::parse("# later"), Ok(None)));
        for (line, part) in [
            ("rythm sinus", "did you mean 'rhythm'"),
            ("rhythm sinsu", "did you mean 'sinus'"),
            ("rhythm", "takes one word"),
            ("rate 9000", "5 to 400"),
            ("rate nan", "5 to 400"),
            ("pressure 120", "120/80"),
            ("beat left", "left-ventricular"),
            ("hold on", "nothing more"),
            ("set ecg.gian=1", "'ecg.gain'"),
        ] {
            let message = Command::parse(line).expect_err(line);
            assert!(message.contains(part), "{line}: {message}");
        }
    }
}
