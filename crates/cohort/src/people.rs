//! People: groups of patients with a distribution for each setting, and one patient of them by number.

mod file;

use crate::correlation::Correlation;
use crate::distribution::Distribution;
use crate::normal;
use crate::one_step::one_step;
use file::{CorrelationWords, GroupWords};
use pulsewright_core::body::{BODIES, Body};
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::settings::Field;
use pulsewright_files::sha256::Sha256Writer;
use pulsewright_script::Document;
use pulsewright_script::typed::{self, unknown_of};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use std::collections::BTreeSet;
use std::io::Write;

pub use file::PeopleFile;

/// Draws until one makes a script; a plan that needs more asks for what can hardly be.
pub const MOST_DRAWS: u32 = 100;

/// Most groups, and most variables, of people.
const MOST_GROUPS: usize = 200;
const MOST_VARIABLES: usize = 500;

/// Start of the name of a variable that is no setting, such as `person.age_years`.
pub const PERSON: &str = "person.";

/// Limits of a variable that is no setting.
const PERSON_LIMITS: (f64, f64) = (-1e6, 1e6);

/// A population.
#[derive(Clone, Debug)]
pub struct People {
    group: Key,
    rhythm: Key,
    body: Key,
    signal: Key,
    variables: Vec<Variable>,
    groups: Vec<Group>,
    correlations: Vec<Correlation>,
}

/// A variable.
#[derive(Clone, Debug)]
struct Variable {
    name: String,
    means: Means,
    key: Key,
}

/// The meaning of a variable.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Means {
    /// A setting.
    Setting(Field),
    /// The ratio of the signal to an artefact, by its path, and the amplitude that follows from it.
    Ratio(&'static str, Field),
    /// A property of the person, which others follow.
    Person,
}

#[derive(Clone, Debug)]
struct Group {
    name: String,
    weight: f64,
    rhythms: Vec<&'static Rhythm>,
    bodies: Vec<&'static Body>,
    /// Of each variable, in the order of the people's.
    draws: Vec<Option<Distribution>>,
    /// The variables that are drawn, each after those that it follows.
    order: Vec<usize>,
}

/// One patient.
#[derive(Clone, Debug)]
pub struct Patient {
    /// Number, from 0.
    pub number: u64,
    /// Name of the group.
    pub group: String,
    /// Rhythm.
    pub rhythm: &'static Rhythm,
    /// Body.
    pub body: &'static Body,
    /// Seed of the signal.
    pub seed: u64,
    /// Draws before the one that made a script.
    pub redraws: u32,
    /// Value of each variable, in the order of [`People::names`]; `None` where the group does not draw it, or the rhythm has none.
    pub values: Vec<Option<f32>>,
    /// The script of one step.
    pub document: Document,
}

impl Patient {
    /// The settings that were drawn, by their paths.
    pub fn settings<'p>(&'p self, people: &'p People) -> impl Iterator<Item = (&'static str, f32)> + 'p {
        people.settings(&self.values)
    }
}

/// Key of the draws of one name: a stream for each patient, a place in it for each attempt.
#[derive(Clone, Copy, Debug)]
struct Key([u8; 32]);

impl Key {
    fn of(seed: u64, name: &str) -> Key {
        let mut digest = Sha256Writer::default();
        // Writing to a digest cannot fail.
        let _ = digest.write_all(b"pulsewright patient 1\0");
        let _ = digest.write_all(&seed.to_le_bytes());
        let _ = digest.write_all(name.as_bytes());
        Key(digest.digest().bytes())
    }

    fn word(&self, patient: u64, attempt: u32) -> u64 {
        let mut words = ChaCha8Rng::from_seed(self.0);
        words.set_stream(patient);
        words.set_word_pos(2 * u128::from(attempt));
        words.next_u64()
    }

    /// A number above 0 and below 1.
    fn share(&self, patient: u64, attempt: u32) -> f64 {
        ((self.word(patient, attempt) >> 12) as f64 + 0.5) / (1_u64 << 52) as f64
    }

    fn pick<'t, T>(&self, patient: u64, of: &'t [T]) -> Option<&'t T> {
        of.get((self.share(patient, 0) * of.len() as f64) as usize)
    }
}

impl People {
    /// Makes people from their words in a plan.
    ///
    /// # Errors
    /// The mistake with its place below `people`, and the allowed values.
    pub fn new(file: &PeopleFile) -> Result<People, String> {
        if file.groups.is_empty() {
            return Err("groups: none; people need at least one".to_owned());
        }
        let names: BTreeSet<&str> = file
            .draw
            .keys()
            .chain(file.groups.iter().flat_map(|group| group.draw.keys()))
            .map(String::as_str)
            .collect();
        if file.groups.len() > MOST_GROUPS || names.len() > MOST_VARIABLES {
            return Err(format!("groups: at most {MOST_GROUPS} groups and {MOST_VARIABLES} variables"));
        }
        let variables: Vec<Variable> =
            names.into_iter().map(|name| variable(name, file.seed)).collect::<Result<_, _>>()?;
        let mut groups = Vec::with_capacity(file.groups.len());
        for (index, words) in file.groups.iter().enumerate() {
            let name = if words.name.is_empty() { (index + 1).to_string() } else { words.name.clone() };
            groups.push(group(name, words, file, &variables).map_err(|what| format!("groups[{index}].{what}"))?);
        }
        if groups.iter().all(|group: &Group| group.weight == 0.0) {
            return Err("groups: no group has a weight above 0".to_owned());
        }
        let key = |name: &str| Key::of(file.seed, name);
        Ok(People {
            group: key("group"),
            rhythm: key("rhythm"),
            body: key("body"),
            signal: key("seed"),
            correlations: correlations(&file.correlation, &variables)?,
            variables,
            groups,
        })
    }

    /// Names of the variables: paths of settings, and names that start with `person.`.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.variables.iter().map(|variable| variable.name.as_str())
    }

    /// The patient of a number, whose script lasts so long.
    ///
    /// # Errors
    /// When none of [`MOST_DRAWS`] draws makes a script; the reason of the last one.
    pub fn patient(&self, number: u64, duration_s: f64) -> Result<Patient, String> {
        let Some((group, rhythm, body)) = self.kind(number) else {
            return Err("there is no group".to_owned());
        };
        let seed = self.signal.word(number, 0);
        let mut why = String::new();
        for attempt in 0..MOST_DRAWS {
            let mut values = self.values(number, attempt, group, body);
            if !rhythm.beats() {
                let of_beats = self.variables.iter().zip(&mut values).filter(|(variable, _)| variable.is_of_beats());
                of_beats.for_each(|(_, value)| *value = None);
            }
            let settings: Vec<(&str, f32)> = self.settings(&values).collect();
            match one_step(seed, rhythm, body, &settings, duration_s) {
                Ok(document) => {
                    let group = group.name.clone();
                    return Ok(Patient { number, group, rhythm, body, seed, redraws: attempt, values, document });
                }
                Err(what) => why = what,
            }
        }
        Err(format!("none of {MOST_DRAWS} draws makes a script of {}, {}: {why}", rhythm.id, body.id))
    }

    fn settings<'p>(&'p self, values: &'p [Option<f32>]) -> impl Iterator<Item = (&'static str, f32)> + 'p {
        self.variables.iter().zip(values).filter_map(|(variable, value)| Some((variable.path()?, (*value)?)))
    }

    fn kind(&self, number: u64) -> Option<(&Group, &'static Rhythm, &'static Body)> {
        let all: f64 = self.groups.iter().map(|group| group.weight).sum();
        let share = self.group.share(number, 0) * all;
        let mut below = 0.0;
        let chosen = self.groups.iter().find(|group| {
            below += group.weight;
            share < below
        });
        let group = chosen.or(self.groups.last())?;
        Some((group, self.rhythm.pick(number, &group.rhythms)?, self.body.pick(number, &group.bodies)?))
    }

    fn values(&self, number: u64, attempt: u32, group: &Group, body: &Body) -> Vec<Option<f32>> {
        let mut shares: Vec<f64> = self.variables.iter().map(|one| one.key.share(number, attempt)).collect();
        for correlation in &self.correlations {
            let scores: Vec<f64> = correlation.of.iter().map(|place| normal::quantile(shares[*place])).collect();
            for (place, score) in correlation.of.iter().zip(correlation.apply(&scores)) {
                // Never 0 or 1, where bounds are infinitely far.
                shares[*place] = normal::probability(score).clamp(1e-300, 1.0 - f64::EPSILON);
            }
        }
        let mut drawn: Vec<Option<f64>> = vec![None; self.variables.len()];
        for place in &group.order {
            let variable = &self.variables[*place];
            let Some(distribution) = group.draws[*place].as_ref().and_then(|draw| draw.of_body(body.id)) else {
                continue;
            };
            let value_of = |name: &str| {
                let other = self.variables.iter().position(|other| other.name == name);
                other.and_then(|other| drawn[other]).unwrap_or(f64::NAN)
            };
            let value = distribution.value(shares[*place], value_of);
            // A slope may lead beyond all numbers.
            if value.is_nan() {
                continue;
            }
            // The nearest float may lie beyond the end of a range.
            let (min, max) = variable.limits();
            drawn[*place] = Some(f64::from((value as f32).clamp(min as f32, max as f32)));
        }
        drawn.into_iter().map(|value| value.map(|value| value as f32)).collect()
    }
}

impl Variable {
    fn limits(&self) -> (f64, f64) {
        match self.means {
            Means::Setting(field) => (decimal(field.info().min), decimal(field.info().max)),
            Means::Ratio(..) => (*typed::RANGE_DB.start(), *typed::RANGE_DB.end()),
            Means::Person => PERSON_LIMITS,
        }
    }

    /// Path of its setting.
    fn path(&self) -> Option<&'static str> {
        match self.means {
            Means::Setting(field) => Some(field.info().path),
            Means::Ratio(path, _) => Some(path),
            Means::Person => None,
        }
    }

    /// Whether a rhythm without beats has no such setting.
    fn is_of_beats(&self) -> bool {
        matches!(self.means, Means::Setting(Field::RateBpm) | Means::Ratio(..))
    }
}

/// The number whose shortest decimals a float has: 0.05 instead of 0.05000000074505806.
fn decimal(value: f32) -> f64 {
    value.to_string().parse().unwrap_or(f64::from(value))
}

fn variable(name: &str, seed: u64) -> Result<Variable, String> {
    let key = Key::of(seed, name);
    if let Some(rest) = name.strip_prefix(PERSON) {
        let fits = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'_';
        if rest.is_empty() || rest.len() > 40 || !rest.bytes().all(fits) {
            return Err(format!(
                "draw.{name}: the name of a person's variable is small letters, digits and _ after {PERSON}"
            ));
        }
        return Ok(Variable { name: name.to_owned(), means: Means::Person, key });
    }
    let ratio = || typed::ratio(name).map(|(path, field)| Means::Ratio(path, field));
    let means = typed::field(name).map(Means::Setting).or_else(ratio).ok_or_else(|| {
        let unknown = typed::unknown("setting", name, typed::paths());
        format!("draw: {unknown} (variables that are no setting start with {PERSON})")
    })?;
    Ok(Variable { name: name.to_owned(), means, key })
}

fn group(name: String, words: &GroupWords, file: &PeopleFile, variables: &[Variable]) -> Result<Group, String> {
    if !(words.weight >= 0.0 && words.weight.is_finite()) {
        return Err(format!("weight: {}; a weight is a number from 0 on", words.weight));
    }
    let rhythms = found("rhythm", &words.rhythm, RHYTHMS, |rhythm| rhythm.id)?;
    let bodies = found("body", &words.body, BODIES, |body| body.id)?;
    let mut draws = Vec::with_capacity(variables.len());
    for variable in variables {
        let words = words.draw.get(&variable.name).or_else(|| file.draw.get(&variable.name));
        let draw = words.map(|words| bounded(variable, words, &bodies)).transpose();
        draws.push(draw.map_err(|what| format!("draw.{}: {what}", variable.name))?);
    }
    for (variable, _) in variables.iter().zip(&draws).filter(|(_, draw)| draw.is_some()) {
        let Means::Ratio(ratio, field) = variable.means else { continue };
        let amplitude = variables.iter().zip(&draws).find(|(other, _)| other.means == Means::Setting(field));
        if amplitude.is_some_and(|(_, draw)| draw.is_some()) {
            let path = field.info().path;
            return Err(format!("draw.{ratio}: {path} is drawn too, and the ratio decides it; draw one of the two"));
        }
    }
    let order = order(variables, &draws)?;
    Ok(Group { name, weight: words.weight, rhythms, bodies, draws, order })
}

fn bounded(variable: &Variable, words: &Distribution, bodies: &[&'static Body]) -> Result<Distribution, String> {
    let word = |text: &str| match variable.means {
        Means::Setting(field) => typed::value(field, text).map(f64::from),
        Means::Ratio(..) => Err(format!("'{text}' is a word; a ratio is a number of dB")),
        Means::Person => Err(format!("'{text}' is a word; a person's variable is a number")),
    };
    let draw = words.clone().bounded(variable.limits(), &word)?;
    let number = match variable.means {
        Means::Setting(field) => matches!(field.info().kind, pulsewright_core::settings::FieldKind::Number),
        Means::Ratio(..) | Means::Person => true,
    };
    if !number && !draw.is_discrete() {
        return Err("takes whole numbers or words; draw it by choice".to_owned());
    }
    if let Distribution::ByBody(known) = &draw {
        let words = || BODIES.iter().map(|body| body.id);
        if let Some(odd) = known.keys().find(|key| !words().any(|word| word == key.as_str())) {
            return Err(format!("by_body: {}", unknown_of("body", odd, words())));
        }
        if let Some(missing) = bodies.iter().find(|body| !known.contains_key(body.id)) {
            return Err(format!("by_body: no distribution for {}", missing.id));
        }
    }
    Ok(draw)
}

/// The variables that are drawn, each after those that it follows.
fn order(variables: &[Variable], draws: &[Option<Distribution>]) -> Result<Vec<usize>, String> {
    let mut order: Vec<usize> = Vec::new();
    let mut waiting: Vec<usize> = (0..draws.len()).filter(|place| draws[*place].is_some()).collect();
    for place in &waiting {
        for name in draws[*place].iter().flat_map(Distribution::follows) {
            let known = waiting.iter().any(|other| variables[*other].name == name);
            if !known {
                return Err(format!("draw.{}: follows '{name}', which is not drawn", variables[*place].name));
            }
        }
    }
    while !waiting.is_empty() {
        let ready = |place: &usize| {
            draws[*place]
                .iter()
                .flat_map(Distribution::follows)
                .all(|name| order.iter().any(|done| variables[*done].name == name))
        };
        let Some(next) = waiting.iter().position(ready) else {
            return Err(format!("draw.{}: follows itself, by way of others", variables[waiting[0]].name));
        };
        order.push(waiting.remove(next));
    }
    Ok(order)
}

fn correlations(words: &[CorrelationWords], variables: &[Variable]) -> Result<Vec<Correlation>, String> {
    let mut used = BTreeSet::new();
    let mut all = Vec::with_capacity(words.len());
    for (index, words) in words.iter().enumerate() {
        let at = |what: String| format!("correlation[{index}].{what}");
        let mut places = Vec::with_capacity(words.of.len());
        for name in &words.of {
            let place = variables.iter().position(|variable| variable.name == *name);
            let place = place.ok_or_else(|| at(format!("of: '{name}' is not drawn")))?;
            if !used.insert(place) {
                return Err(at(format!("of: '{name}' stands in two places; a variable has one place in one matrix")));
            }
            places.push(place);
        }
        all.push(Correlation::new(places, &words.matrix).map_err(at)?);
    }
    Ok(all)
}

fn found<T>(
    key: &str,
    words: &[String],
    all: &[&'static T],
    id: fn(&T) -> &'static str,
) -> Result<Vec<&'static T>, String> {
    if words.is_empty() {
        return Err(format!("{key}: an empty list makes no patient; name at least one"));
    }
    let find = |word: &String| {
        let one = all.iter().copied().find(|one| id(one) == word.as_str());
        one.ok_or_else(|| format!("{key}: {}", unknown_of(key, word, all.iter().map(|one| id(one)))))
    };
    words.iter().map(find).collect()
}

#[cfg(test)]
mod tests;
