//! The distribution of one variable, as the plan words it.
//!
//! | in the plan | values |
//! |---|---|
//! | `72` | always 72 |
//! | `{"uniform": [50, 90]}` | every value of the range alike |
//! | `{"normal": {"mean": 75, "sd": 12, "min": 45, "max": 120}}` | normal; what lies outside the bounds is left out |
//! | `{"log_normal": {"median": 0.05, "sigma": 0.4}}` | its logarithm is normal; `sigma` is that of the natural logarithm |
//! | `{"choice": [[0, 3], [1, 1]]}` | 0 three times as often as 1; a word of the setting in place of a number |
//! | `{"by_body": {"adult": 75, "neonate": {"uniform": [110, 160]}}}` | one for each body |
//!
//! `normal` and `log_normal` may follow other variables: `"follows": {"person.age_years": {"slope": 0.5, "from": 50}}` adds half a
//! unit to the mean for each year over 50; of a log-normal variable the slope is that of the logarithm. A distribution without
//! bounds ends where the setting's range ends.

use crate::normal;
use serde::de::{self, MapAccess, Visitor};
use serde::{Deserialize, Deserializer};
use std::collections::BTreeMap;
use std::fmt;

/// The distribution of one variable.
#[derive(Clone, Debug, PartialEq)]
pub enum Distribution {
    /// Always this value.
    Fixed(f64),
    /// Every value from the first to the second alike.
    Uniform(f64, f64),
    /// Normal, within bounds.
    Normal(NormalDistribution),
    /// The logarithm is normal, within bounds of the value.
    LogNormal(NormalDistribution),
    /// One of these, each with its weight.
    Choice(Vec<(WeightedChoice, f64)>),
    /// One for each body, by its word.
    ByBody(BTreeMap<String, Distribution>),
}

/// A value of a choice.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(untagged, expecting = "a value of a choice is a number or a word")]
pub enum WeightedChoice {
    /// A number.
    Number(f64),
    /// A word of the setting.
    Word(String),
}

/// A normal distribution, of a value or of its logarithm.
#[derive(Clone, Debug, PartialEq)]
pub struct NormalDistribution {
    /// Mean, or median of a log-normal variable.
    pub centre: f64,
    /// Standard deviation, or that of the natural logarithm.
    pub spread: f64,
    /// Lowest value; infinite where the plan gives none.
    pub min: f64,
    /// Highest value; infinite where the plan gives none.
    pub max: f64,
    /// Variables that move the centre.
    pub follows: BTreeMap<String, LinearShift>,
}

/// How a variable moves the centre of another.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LinearShift {
    /// By how much for each unit.
    pub slope: f64,
    /// Value at which it moves nothing.
    pub from: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NormalWords {
    mean: f64,
    sd: f64,
    min: Option<f64>,
    max: Option<f64>,
    #[serde(default)]
    follows: BTreeMap<String, LinearShift>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LogNormalWords {
    median: f64,
    sigma: f64,
    min: Option<f64>,
    max: Option<f64>,
    #[serde(default)]
    follows: BTreeMap<String, LinearShift>,
}

const KINDS: [&str; 5] = ["uniform", "normal", "log_normal", "choice", "by_body"];

impl<'de> Deserialize<'de> for Distribution {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Distribution, D::Error> {
        deserializer.deserialize_any(Words)
    }
}

/// Reads a number or an object with one member; places of mistakes are kept.
struct Words;

impl<'de> Visitor<'de> for Words {
    type Value = Distribution;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a number, or an object with one of {}", KINDS.join(", "))
    }

    fn visit_f64<E>(self, value: f64) -> Result<Distribution, E> {
        Ok(Distribution::Fixed(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Distribution, E> {
        Ok(Distribution::Fixed(value as f64))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Distribution, E> {
        Ok(Distribution::Fixed(value as f64))
    }

    fn visit_map<M: MapAccess<'de>>(self, mut map: M) -> Result<Distribution, M::Error> {
        let kind: String =
            map.next_key()?.ok_or_else(|| de::Error::custom(format!("expected {}", KINDS.join(", "))))?;
        let distribution = match kind.as_str() {
            "uniform" => {
                let (from, to) = map.next_value()?;
                Distribution::Uniform(from, to)
            }
            "normal" => {
                let NormalWords { mean, sd, min, max, follows } = map.next_value()?;
                Distribution::Normal(NormalDistribution::new(mean, sd, (min, max), follows))
            }
            "log_normal" => {
                let LogNormalWords { median, sigma, min, max, follows } = map.next_value()?;
                Distribution::LogNormal(NormalDistribution::new(median, sigma, (min, max), follows))
            }
            "choice" => Distribution::Choice(map.next_value()?),
            "by_body" => Distribution::ByBody(map.next_value()?),
            other => return Err(de::Error::unknown_variant(other, &KINDS)),
        };
        match map.next_key::<String>()? {
            None => Ok(distribution),
            Some(key) => Err(de::Error::custom(format!("`{key}` beside `{kind}`: a variable has one distribution"))),
        }
    }
}

impl NormalDistribution {
    fn new(
        centre: f64,
        spread: f64,
        (min, max): (Option<f64>, Option<f64>),
        follows: BTreeMap<String, LinearShift>,
    ) -> NormalDistribution {
        NormalDistribution {
            centre,
            spread,
            min: min.unwrap_or(f64::NEG_INFINITY),
            max: max.unwrap_or(f64::INFINITY),
            follows,
        }
    }

    /// How far other variables move the centre.
    fn shift(&self, value_of: impl Fn(&str) -> f64) -> f64 {
        self.follows.iter().map(|(name, slope)| slope.slope * (value_of(name) - slope.from)).sum()
    }

    /// The value of share `u` of a normal variable about `centre` between two bounds.
    fn within(&self, centre: f64, (min, max): (f64, f64), u: f64) -> f64 {
        let (low, high) = ((min - centre) / self.spread, (max - centre) / self.spread);
        // So far from everything likely that no probability is left: the nearest bound.
        if low > 37.0 {
            return min;
        }
        if high < -37.0 {
            return max;
        }
        // In the upper tail the probability above has more digits than that below.
        let z = if low > 0.0 {
            let (above_low, above_high) = (normal::probability(-low), normal::probability(-high));
            -normal::quantile(above_low - u * (above_low - above_high))
        } else {
            let (below_low, below_high) = (normal::probability(low), normal::probability(high));
            normal::quantile(below_low + u * (below_high - below_low))
        };
        (centre + self.spread * z).clamp(min, max)
    }
}

impl Distribution {
    /// The value of share `u`, above 0 and below 1; `value_of` gives those of other variables. The body is chosen already.
    pub fn value(&self, u: f64, value_of: impl Fn(&str) -> f64) -> f64 {
        match self {
            Distribution::Fixed(value) => *value,
            Distribution::Uniform(from, to) => from + u * (to - from),
            Distribution::Normal(bell) => bell.within(bell.centre + bell.shift(value_of), (bell.min, bell.max), u),
            Distribution::LogNormal(bell) => {
                let centre = libm::log(bell.centre) + bell.shift(value_of);
                let bounds = (libm::log(bell.min.max(0.0)), libm::log(bell.max));
                libm::exp(bell.within(centre, bounds, u)).clamp(bell.min, bell.max)
            }
            Distribution::Choice(items) => {
                let all: f64 = items.iter().map(|(_, weight)| weight).sum();
                let mut below = 0.0;
                let chosen = items.iter().find(|(_, weight)| {
                    below += weight / all;
                    u < below
                });
                match chosen.or(items.last()) {
                    Some((WeightedChoice::Number(value), _)) => *value,
                    // Words were made numbers when the plan was read.
                    _ => f64::NAN,
                }
            }
            Distribution::ByBody(_) => f64::NAN,
        }
    }

    /// The distribution for a body.
    pub fn of_body(&self, body: &str) -> Option<&Distribution> {
        match self {
            Distribution::ByBody(bodies) => bodies.get(body),
            other => Some(other),
        }
    }

    /// Variables that it follows.
    pub fn follows(&self) -> Vec<&str> {
        match self {
            Distribution::Normal(bell) | Distribution::LogNormal(bell) => {
                bell.follows.keys().map(String::as_str).collect()
            }
            Distribution::ByBody(bodies) => bodies.values().flat_map(Distribution::follows).collect(),
            _ => Vec::new(),
        }
    }

    /// Checks its numbers and bounds it by a range; `word` gives the number of a word.
    ///
    /// # Errors
    /// The mistake, with the allowed values.
    pub fn bounded(
        self,
        (min, max): (f64, f64),
        word: &dyn Fn(&str) -> Result<f64, String>,
    ) -> Result<Distribution, String> {
        let inside = |value: f64| {
            let ok = value >= min && value <= max;
            if ok { Ok(value) } else { Err(format!("{value}; allowed {min} to {max}")) }
        };
        Ok(match self {
            Distribution::Fixed(value) => Distribution::Fixed(inside(value)?),
            Distribution::Uniform(from, to) if from > to => {
                return Err(format!("uniform: {from} to {to}; the first is the lower one"));
            }
            Distribution::Uniform(from, to) => Distribution::Uniform(inside(from)?, inside(to)?),
            Distribution::Normal(bell) => Distribution::Normal(bell.bounded((min, max), "normal")?),
            Distribution::LogNormal(bell) if !(bell.centre > 0.0 && bell.centre.is_finite()) => {
                return Err(format!("log_normal: a median of {}; it is above 0", bell.centre));
            }
            Distribution::LogNormal(bell) => Distribution::LogNormal(bell.bounded((min.max(0.0), max), "log_normal")?),
            Distribution::Choice(items) => {
                let mut known = Vec::with_capacity(items.len());
                for (item, weight) in items {
                    if !(weight >= 0.0 && weight.is_finite()) {
                        return Err(format!("choice: a weight of {weight}; it is a number from 0 on"));
                    }
                    let value = match item {
                        WeightedChoice::Number(value) => value,
                        WeightedChoice::Word(text) => word(&text)?,
                    };
                    known.push((WeightedChoice::Number(inside(value)?), weight));
                }
                if known.iter().all(|(_, weight)| *weight == 0.0) {
                    return Err("choice: no value has a weight above 0".to_owned());
                }
                Distribution::Choice(known)
            }
            Distribution::ByBody(bodies) => {
                let bounded = bodies.into_iter().map(|(body, one)| match one {
                    Distribution::ByBody(_) => Err(format!("by_body.{body}: another by_body")),
                    one => one
                        .bounded((min, max), word)
                        .map(|one| (body.clone(), one))
                        .map_err(|what| format!("by_body.{body}: {what}")),
                });
                Distribution::ByBody(bounded.collect::<Result<_, _>>()?)
            }
        })
    }

    /// Whether all of its values are among a few.
    pub fn is_discrete(&self) -> bool {
        match self {
            Distribution::Fixed(_) | Distribution::Choice(_) => true,
            Distribution::ByBody(bodies) => bodies.values().all(Distribution::is_discrete),
            _ => false,
        }
    }
}

impl NormalDistribution {
    fn bounded(self, (min, max): (f64, f64), kind: &str) -> Result<NormalDistribution, String> {
        if !(self.spread > 0.0 && self.spread.is_finite() && self.centre.is_finite()) {
            return Err(format!("{kind}: a spread of {} about {}; the spread is above 0", self.spread, self.centre));
        }
        if self.follows.values().any(|slope| !slope.slope.is_finite() || !slope.from.is_finite()) {
            return Err(format!("{kind}: a slope or its origin is no finite number"));
        }
        for bound in [self.min, self.max] {
            if bound.is_nan() || (bound.is_finite() && !(bound >= min && bound <= max)) {
                return Err(format!("{kind}: a bound of {bound}; allowed {min} to {max}"));
            }
        }
        let bell = NormalDistribution { min: self.min.max(min), max: self.max.min(max), ..self };
        if bell.min < bell.max {
            Ok(bell)
        } else {
            Err(format!("{kind}: nothing lies between {} and {}", bell.min, bell.max))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Distribution, String> {
        let read: Distribution = pulsewright_text::json::parse(text).map_err(|broken| broken.to_string())?;
        read.bounded((0.0, 100.0), &|word| if word == "on" { Ok(1.0) } else { Err(format!("no word '{word}'")) })
    }

    fn at(distribution: &Distribution, u: f64) -> f64 {
        distribution.value(u, |_| 60.0)
    }

    #[test]
    fn shares_become_values() {
        assert_eq!(at(&read("7").unwrap(), 0.3), 7.0);
        assert_eq!(at(&read(r#"{"uniform": [10, 20]}"#).unwrap(), 0.25), 12.5);
        let bell = read(r#"{"normal": {"mean": 50, "sd": 10}}"#).unwrap();
        assert!((at(&bell, 0.5) - 50.0).abs() < 1e-4);
        // Half of what lies above the mean: the upper quartile.
        let half = read(r#"{"normal": {"mean": 50, "sd": 10, "min": 50}}"#).unwrap();
        assert!((at(&half, 0.5) - 56.744897501960816).abs() < 1e-4);
        let far = read(r#"{"normal": {"mean": -500, "sd": 1}}"#).unwrap();
        assert_eq!(at(&far, 0.5), 0.0);
        let log = read(r#"{"log_normal": {"median": 2, "sigma": 0.5}}"#).unwrap();
        assert!((at(&log, 0.8413447460685429) - 2.0 * 0.5_f64.exp()).abs() < 1e-9);
        let choice = read(r#"{"choice": [[0, 3], ["on", 1]]}"#).unwrap();
        assert_eq!([0.1, 0.74, 0.76, 0.999].map(|u| at(&choice, u)), [0.0, 0.0, 1.0, 1.0]);
        let follows =
            read(r#"{"normal": {"mean": 50, "sd": 10, "follows": {"age": {"slope": 0.5, "from": 40}}}}"#).unwrap();
        assert!((at(&follows, 0.5) - 60.0).abs() < 1e-3);
        assert_eq!(follows.follows(), ["age"]);
    }

    #[test]
    fn mistakes_name_what_is_allowed() {
        for (text, why) in [
            ("500", "allowed 0 to 100"),
            (r#"{"uniform": [20, 10]}"#, "lower one"),
            (r#"{"uniform": [20, 400]}"#, "allowed 0 to 100"),
            (r#"{"normal": {"mean": 5, "sd": 0}}"#, "above 0"),
            (r#"{"normal": {"mean": 5, "sd": 1, "max": 300}}"#, "a bound of 300; allowed 0 to 100"),
            (r#"{"normal": {"mean": 5, "sd": 1, "min": 9, "max": 8}}"#, "nothing lies between"),
            (r#"{"normal": {"mean": 5, "spread": 1}}"#, "unknown field `spread`"),
            (r#"{"log_normal": {"median": -1, "sigma": 1}}"#, "above 0"),
            (r#"{"choice": [["off", 1]]}"#, "no word 'off'"),
            (r#"{"choice": []}"#, "no value has a weight"),
            (r#"{"choice": [[1, -1]]}"#, "a weight of -1"),
            (r#"{"gauss": [1, 2]}"#, "unknown variant `gauss`"),
            (r#"{"uniform": [1, 2], "normal": {}}"#, "one distribution"),
            (r#"{"by_body": {"adult": 500}}"#, "by_body.adult: 500"),
            ("\"x\"", "a number, or an object"),
            ("{}", "uniform, normal"),
        ] {
            let found = read(text).expect_err(text);
            assert!(found.contains(why), "{text}: {found}");
        }
    }
}
