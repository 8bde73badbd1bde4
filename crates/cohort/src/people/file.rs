//! The words of people in a plan.

use crate::distribution::Distribution;
use serde::{Deserialize, Deserializer};
use std::collections::BTreeMap;

/// People as a plan words them.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PeopleFile {
    /// Seed of everything that is drawn.
    #[serde(default)]
    pub seed: u64,
    /// Groups, each with its share of the patients.
    pub groups: Vec<GroupWords>,
    /// Variables of all groups; a group's own take their place.
    #[serde(default)]
    pub draw: BTreeMap<String, Distribution>,
    /// Variables that go together.
    #[serde(default)]
    pub correlation: Vec<CorrelationWords>,
}

/// A group of patients.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GroupWords {
    /// Its name in the index; its place in the plan where it has none.
    #[serde(default)]
    pub name: String,
    /// Its share of the patients, beside those of the others.
    #[serde(default = "one")]
    pub weight: f64,
    /// Rhythms, each as often as the others.
    #[serde(deserialize_with = "one_or_many")]
    pub rhythm: Vec<String>,
    /// Bodies, each as often as the others.
    #[serde(default = "adult", deserialize_with = "one_or_many")]
    pub body: Vec<String>,
    /// Its variables.
    #[serde(default)]
    pub draw: BTreeMap<String, Distribution>,
}

/// Variables with the correlations of their normal scores.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CorrelationWords {
    /// Names of the variables.
    pub of: Vec<String>,
    /// A row and a column for each.
    pub matrix: Vec<Vec<f64>>,
}

fn one() -> f64 {
    1.0
}

fn adult() -> Vec<String> {
    vec!["adult".to_owned()]
}

fn one_or_many<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<String>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged, expecting = "a word, or a list of words")]
    enum Words {
        One(String),
        Many(Vec<String>),
    }
    Words::deserialize(deserializer).map(|words| match words {
        Words::One(word) => vec![word],
        Words::Many(words) => words,
    })
}
