//! A part of a plan that runs by itself.

use crate::record::SuiteRecord;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// Part `part` of `of`: every `of`th record, starting with the `part`th.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shard {
    part: u32,
    of: u32,
}

impl Shard {
    /// Which part, from 1.
    pub fn part(self) -> u32 {
        self.part
    }

    /// Number of parts.
    pub fn parts(self) -> u32 {
        self.of
    }

    /// The records that belong to the shard.
    pub fn of(self, records: &[SuiteRecord]) -> Vec<&SuiteRecord> {
        records.iter().skip(self.part as usize - 1).step_by(self.of as usize).collect()
    }
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Shard, String> {
        let shard =
            text.split_once('/').and_then(|(part, of)| Some(Shard { part: part.parse().ok()?, of: of.parse().ok()? }));
        shard
            .filter(|shard| (1..=shard.of).contains(&shard.part))
            .ok_or_else(|| "a shard is part/parts, as 1/4 to 4/4".to_owned())
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.part, self.of)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::SuitePlan;

    #[test]
    fn shards_are_parts_of_a_whole() {
        for bad in ["", "1", "0/2", "3/2", "1/0", "-1/2", "1/2/3", "a/b"] {
            assert!(bad.parse::<Shard>().is_err(), "{bad}");
        }
        let text = r#"{"version": 1, "duration_s": 10, "score": {"learning_s": 0},
            "blocks": [{"rhythm": ["sinus"], "seed": {"from": 0, "count": 7}}]}"#;
        let plan = SuitePlan::parse(text, "plan").unwrap();
        let mut names: Vec<String> = Vec::new();
        for shard in ["1/3", "2/3", "3/3"] {
            let shard: Shard = shard.parse().unwrap();
            names.extend(shard.of(&plan.records).iter().map(|record| record.name.clone()));
        }
        names.sort();
        assert_eq!(names, plan.records.iter().map(|record| record.name.clone()).collect::<Vec<_>>());
    }
}
