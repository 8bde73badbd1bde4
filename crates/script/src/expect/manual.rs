//! Reading checks by hand: what no signal is played for, such as a saturation at a finger simulator, a leakage current, a look at the case.

use super::expected::ManualCheck;
use super::read::LIMIT_KEYS;
use crate::reader::{JsonNode, Path};
use crate::walk::DocumentWalk;
use crate::words::{nearest, quoted};

const KEYS: [&str; 8] = ["name", "unit", "value", "tolerance", "tolerance_percent", "min", "max", "source"];

impl DocumentWalk<'_> {
    /// The checks by hand of a step.
    pub(super) fn manual(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Vec<ManualCheck> {
        let mut checks = Vec::new();
        for (index, node) in self.entries_of(node, path, "a list of checks by hand").into_iter().enumerate() {
            checks.extend(self.manual_check(node, &Path::Index(path, index)));
        }
        checks
    }

    fn manual_check(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<ManualCheck> {
        let entries = self.entries(node, path, "a check by hand: an object with \"name\" and \"source\"")?;
        let before = self.found.count();
        let mut check = ManualCheck::default();
        for entry in &entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "name" => check.name = self.line(entry.value, &path).unwrap_or_default(),
                "unit" => check.unit = self.line(entry.value, &path).unwrap_or_default(),
                "value" => check.value = self.plain_number(entry.value, &path, -1e6, 1e6),
                "source" => check.source = self.line(entry.value, &path).unwrap_or_default(),
                key if LIMIT_KEYS.contains(&key) => {}
                key => self.unknown(entry, &path, &KEYS, nearest(key, KEYS).map(quoted)),
            }
        }
        let has = |key: &str| entries.iter().any(|entry| entry.key == key);
        check.limit = self.limit(&entries, node, path);
        if check.name.trim().is_empty() {
            self.missing(node, path, "name", "\"name\": what to check");
        }
        if check.limit.is_none() && check.source.trim().is_empty() && self.found.count() == before {
            self.missing(node, path, "source", "\"source\": where it comes from, such as the service manual's section");
        }
        if let Some(limit) = &check.limit {
            if check.unit.trim().is_empty() {
                self.missing(node, path, "unit", "\"unit\": the unit of the number, such as \"%\"");
            }
            if limit.is_around_a_value() && check.value.is_none() && !has("value") {
                self.missing(node, path, "value", "\"value\": the number that the tolerance lies around");
            }
        } else if (has("unit") || has("value")) && self.found.count() == before {
            self.missing(node, path, "tolerance", "\"tolerance\", \"tolerance_percent\", \"min\" or \"max\"");
        }
        (self.found.count() == before).then_some(check)
    }
}
