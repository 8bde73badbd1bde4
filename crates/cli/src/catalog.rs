//! `catalog`: the lists to choose from, as tables for people or JSON for programs.

use crate::diagnostics::{VerbOutcome, print};
use crate::table::write_table;
use pulsewright_core::body::{ADULT, BODIES};
use pulsewright_core::frame::Channel;
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::settings::{Field, FieldKind};
use pulsewright_script::channel_groups::GROUPS;
use pulsewright_script::{bodies, rhythms};
use serde_json::{Value, json};
use std::io::{self, Write};

/// Lists of the catalogue.
pub struct Request {
    /// The one list; all without.
    pub list: Option<List>,
    /// As JSON instead of tables.
    pub json: bool,
}

/// A list of the catalogue.
#[derive(Clone, Copy)]
pub enum List {
    /// Rhythms with their rates and the alarm expected of a monitor.
    Rhythms,
    /// Bodies with their resting values.
    Bodies,
    /// Channels, and the words for groups of them.
    Channels,
    /// Settings of a step with unit and range.
    Fields,
}

const LISTS: [List; 4] = [List::Rhythms, List::Bodies, List::Channels, List::Fields];

/// Prints the lists asked for.
pub fn run(catalog: Request) -> VerbOutcome {
    let lists = catalog.list.as_ref().map_or(&LISTS[..], std::slice::from_ref);
    print(|out| if catalog.json { write_json(out, lists) } else { write_tables(out, lists) })
}

fn write_tables(out: &mut impl Write, lists: &[List]) -> io::Result<()> {
    for (i, list) in lists.iter().enumerate() {
        if i > 0 {
            writeln!(out)?;
        }
        let (heads, rows) = table(*list);
        write_table(out, &heads, &rows)?;
    }
    Ok(())
}

fn write_json(out: &mut impl Write, lists: &[List]) -> io::Result<()> {
    let value: Value = lists.iter().map(|list| (name(*list).to_owned(), as_json(*list))).collect();
    writeln!(out, "{value:#}")
}

fn name(list: List) -> &'static str {
    match list {
        List::Rhythms => "rhythms",
        List::Bodies => "bodies",
        List::Channels => "channels",
        List::Fields => "fields",
    }
}

fn table(list: List) -> (Vec<&'static str>, Vec<Vec<String>>) {
    match list {
        List::Rhythms => (
            vec!["rhythm", "name", "usual bpm", "allowed bpm", "alarm"],
            RHYTHMS
                .iter()
                .map(|rhythm| {
                    let (min, max) = rhythm.allowed_bpm(ADULT.resting_bpm, rhythm.usual_ratio());
                    // A rhythm without beats has no rate to set.
                    let (usual, allowed) = if rhythm.beats() {
                        (
                            rhythm.usual_rate(ADULT.resting_bpm, rhythm.usual_ratio()).to_string(),
                            format!("{min} to {max}"),
                        )
                    } else {
                        ("-".to_owned(), "-".to_owned())
                    };
                    vec![rhythm.id.into(), rhythm.name.into(), usual, allowed, rhythm.alarm.id().into()]
                })
                .collect(),
        ),
        List::Bodies => (
            vec!["body", "name", "resting bpm"],
            BODIES.iter().map(|body| vec![body.id.into(), body.name.into(), body.resting_bpm.to_string()]).collect(),
        ),
        List::Channels => (
            vec!["channel", "unit"],
            Channel::ALL
                .iter()
                .map(|channel| vec![channel.id().into(), channel.kind().unit().into()])
                .chain(GROUPS.iter().map(|group| vec![group.word.into(), format!("-  {}", group.doc)]))
                .collect(),
        ),
        List::Fields => (
            vec!["field", "range", "unit", "meaning"],
            Field::ALL
                .iter()
                .map(|field| {
                    let info = field.info();
                    vec![
                        info.path.into(),
                        match info.kind {
                            FieldKind::Number | FieldKind::Count => format!("{} to {}", info.min, info.max),
                            FieldKind::Switch => "0 or 1".to_owned(),
                            FieldKind::Choice(words) => words.join(", "),
                        },
                        info.unit.into(),
                        format!("{}{}", info.doc, if info.ramps { " Can ramp." } else { "" }),
                    ]
                })
                .collect(),
        ),
    }
}

fn as_json(list: List) -> Value {
    match list {
        List::Rhythms => RHYTHMS
            .iter()
            .map(|rhythm| {
                let (min, max) = rhythm.allowed_bpm(ADULT.resting_bpm, rhythm.usual_ratio());
                json!({
                    "id": rhythm.id, "name": rhythm.name, "beats": rhythm.beats(), "alarm": rhythm.alarm.id(),
                    "usual_bpm": rhythm.usual_rate(ADULT.resting_bpm, rhythm.usual_ratio()), "min_bpm": min, "max_bpm": max,
                    "document": rhythms::json(rhythm),
                })
            })
            .collect(),
        List::Bodies => BODIES
            .iter()
            .map(|body| {
                let values: Value =
                    body.values.iter().map(|(field, value)| (field.info().path.to_owned(), number(*value))).collect();
                json!({
                    "id": body.id, "name": body.name, "resting_bpm": number(body.resting_bpm), "values": values,
                    "document": bodies::json(body),
                })
            })
            .collect(),
        List::Channels => {
            Channel::ALL.iter().map(|channel| json!({ "id": channel.id(), "unit": channel.kind().unit() })).collect()
        }
        List::Fields => Field::ALL
            .iter()
            .map(|field| {
                let info = field.info();
                json!({
                    "path": info.path, "unit": info.unit, "min": number(info.min), "max": number(info.max), "ramps": info.ramps,
                    "doc": info.doc, "words": info.words(),
                })
            })
            .collect(),
    }
}

/// A number as short as its `f32` prints: widened to `f64` it would show digits that were never set.
fn number(value: f32) -> Value {
    value.to_string().parse::<f64>().map_or(Value::Null, Value::from)
}
