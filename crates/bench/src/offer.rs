//! What a view offers: the rhythms with their words, the controls, the channels.

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
