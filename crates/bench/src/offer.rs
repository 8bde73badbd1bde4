//! The offer of a view: the rhythms with their words, the controls, the channels.

use crate::controls;
use pulsewright_core::body::BODIES;
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::EctopicSite;
use pulsewright_script::{catalogue_text, rhythm_words};
use serde_json::{Value, json};

pub use crate::controls::plain;
pub use crate::tee::{channels, every};

/// Everything that a view offers, as JSON: rhythms by group, controls, channels with their units, bodies, sites of premature beats.
pub fn all() -> Value {
    let channels: Vec<Value> = channels().map(|of| json!({"id": of.id(), "unit": of.kind().unit()})).collect();
    json!({
        "rhythms": rhythms(), "controls": controls::list(), "channels": channels,
        "bodies": BODIES.iter().map(|body| json!({"id": body.id, "name": body.name})).collect::<Vec<_>>(),
        "sites": EctopicSite::ALL.iter().map(|site| site.id()).collect::<Vec<_>>(),
    })
}

/// The rhythms that are meant by what was typed, the likeliest first; all of them for nothing typed. The page finds by the same
/// rule (`rhythms.js`), and both are held against one table.
pub fn search(typed: &str) -> Vec<&'static str> {
    let typed = typed.trim().to_lowercase().replace('-', " ");
    let groups = rhythm_words::RhythmGroup::ALL.iter();
    let rows = groups.flat_map(|group| rhythm_words::ALL.iter().filter(move |row| row.group == *group));
    let mut found: Vec<(usize, &'static str)> = rows.filter_map(|row| Some((rank(row, &typed)?, row.id))).collect();
    // The sort keeps the order of equals.
    found.sort_by_key(|(rank, _)| *rank);
    found.into_iter().map(|(_, id)| id).collect()
}

/// How likely a rhythm is meant, 0 the likeliest; `None` when it is not.
fn rank(row: &rhythm_words::RhythmWords, typed: &str) -> Option<usize> {
    let name = RHYTHMS.iter().find(|rhythm| rhythm.id == row.id)?.name.to_lowercase();
    let id = row.id.replace('-', " ");
    let mut words = [id.as_str(), name.as_str()].into_iter().chain(row.words.iter().copied());
    let begins = |word: &str| word.split([' ', ',']).any(|part| part.starts_with(typed));
    if typed.is_empty() || words.clone().any(|word| word == typed) {
        Some(0)
    } else if row.words.iter().any(|word| word.starts_with(typed)) {
        Some(1)
    } else if words.clone().any(begins) {
        Some(2)
    } else {
        words.any(|word| word.contains(typed)).then_some(3)
    }
}

/// The rhythms by group, each with its words.
fn rhythms() -> Value {
    let group = |group: &rhythm_words::RhythmGroup| {
        let rows = rhythm_words::ALL.iter().filter(|row| row.group == *group);
        let rows: Vec<Value> = rows
            .filter_map(|row| {
                let rhythm = RHYTHMS.iter().find(|rhythm| rhythm.id == row.id)?;
                let criteria = catalogue_text::find(row.id).map_or("", |text| text.criteria);
                Some(json!({"id": row.id, "name": rhythm.name, "words": row.words, "criteria": criteria}))
            })
            .collect();
        json!({"name": group.name(), "rhythms": rows})
    };
    rhythm_words::RhythmGroup::ALL.iter().map(group).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;
    use std::{env, fs};

    /// `cases/search.json` has what a search finds, for the page too (`tests/conformance/test_console.py`); `BLESS=1` writes the found
    /// rhythms anew.
    #[test]
    fn a_search_finds_what_people_mean() {
        for (typed, first) in [
            ("vf", "ventricular-fibrillation"),
            ("VFib", "ventricular-fibrillation"),
            ("nsr", "sinus"),
            ("flatline", "asystole"),
            ("vt", "ventricular-tachycardia"),
            ("torsade", "torsades"),
            ("asys", "asystole"),
        ] {
            assert_eq!(search(typed).first(), Some(&first), "{typed}");
        }
        assert_eq!(search("no such rhythm"), Vec::<&str>::new());
        assert_eq!(search("").len(), rhythm_words::ALL.len());
        assert_eq!(search("").first(), Some(&"sinus"), "in the order of the groups");
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/cases/search.json");
        let typed = [
            "vf",
            "VFib",
            "v",
            "a",
            "block",
            "av block",
            "ventricular-t",
            "nsr",
            "flat",
            "tachy",
            "paced",
            "pvc",
            "ibri",
            "2",
            "q",
        ];
        let found: BTreeMap<&str, Vec<&str>> = typed.into_iter().map(|typed| (typed, search(typed))).collect();
        let text = serde_json::to_string_pretty(&found).expect("JSON") + "\n";
        if env::var_os("BLESS").is_some() {
            fs::write(path, &text).expect("written");
        }
        assert_eq!(fs::read_to_string(path).unwrap_or_default(), text, "BLESS=1 writes it anew");
    }
}
