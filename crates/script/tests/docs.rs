//! The script reference and the shipped schema say what the tables of the core say.
//!
//! After a change of those tables, `BLESS=1 cargo test -p pulsewright-script --test docs` writes both anew.

use pulsewright_core::body::{ADULT, BODIES};
use pulsewright_core::expect::{AlarmKind, AlarmLimit};
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::parameter::Parameter;
use pulsewright_core::settings::{Field, FieldKind};
use pulsewright_script::expect::Quantity;
use pulsewright_script::units;
use std::fs;
use std::path::{Path, PathBuf};

fn docs(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs").join(file)
}

/// Compares, or writes when asked to.
fn check(file: &str, expected: &str) {
    let path = docs(file);
    if std::env::var_os("BLESS").is_some() {
        fs::write(path, expected).unwrap();
        return;
    }
    let found = fs::read_to_string(path).unwrap();
    let differs = found.lines().zip(expected.lines()).position(|(found, expected)| found != expected);
    assert!(
        found == expected,
        "docs/{file} is out of date from line {}: run `BLESS=1 cargo test -p pulsewright-script --test docs`",
        differs.map_or(found.lines().count(), |line| line + 1),
    );
}

#[test]
fn the_schema_is_up_to_date() {
    check("script.schema.json", &format!("{:#}\n", pulsewright_script::schema()));
}

#[test]
fn the_reference_has_the_tables_of_the_core() {
    let page = fs::read_to_string(docs("script.md")).unwrap();
    let page = with_table(&page, "fields", &fields());
    let page = with_table(&page, "rhythms", &rhythms());
    let page = with_table(&page, "bodies", &bodies());
    let page = with_table(&page, "parameters", &parameters());
    let page = with_table(&page, "alarms", &alarms());
    let page = with_table(&page, "alarm limits", &alarm_limits());
    check("script.md", &page);
}

#[test]
fn the_tolerances_are_the_table_s() {
    let page = fs::read_to_string(docs("tolerances.md")).unwrap();
    let row = |quantity: &Quantity| {
        let (limit, source) = quantity.usual_words();
        format!("| `{}` | {} | {} | {limit} | {source} |", quantity.id(), quantity.name(), quantity.unit())
    };
    let table = rows("| word | quantity | unit | limit | source |", Quantity::ALL.iter().map(row));
    check("tolerances.md", &with_table(&page, "tolerances", &table));
}

#[test]
fn the_documents_of_the_reference_are_good() {
    let page = fs::read_to_string(docs("script.md")).unwrap();
    let mut count = 0;
    for block in page.split("```json\n").skip(1) {
        let text = block.split("```").next().unwrap();
        // Recordings that a document names are those of the tests.
        let beside = |file: &str| {
            let recorded = fs::read(docs("../tests/data/recordings").join(file));
            recorded.or_else(|_| fs::read(docs("../examples/noise").join(file))).map_err(|why| why.to_string())
        };
        let document = pulsewright_script::parse_beside(text.as_bytes(), "script.md", &beside);
        document.unwrap_or_else(|problems| panic!("{problems}"));
        count += 1;
    }
    assert!(count > 0);
}

/// The page with what stands between the marks of a table replaced.
fn with_table(page: &str, name: &str, table: &str) -> String {
    let mark = format!("<!-- table of {name} -->\n");
    let (before, rest) = page.split_once(&mark).unwrap();
    let (_, after) = rest.split_once("<!-- end -->").unwrap();
    format!("{before}{mark}{table}<!-- end -->{after}")
}

fn rows(head: &str, rows: impl Iterator<Item = String>) -> String {
    let rule = "|---".repeat(head.matches('|').count() - 1);
    let rows: String = rows.map(|row| format!("{row}\n")).collect();
    format!("{head}\n{rule}|\n{rows}")
}

fn fields() -> String {
    let row = |field: &Field| {
        let info = field.info();
        let unit = if info.kind == FieldKind::Switch { "" } else { units::shown(info.unit) };
        let ramps = if info.ramps { "yes" } else { "" };
        let range = match info.kind {
            FieldKind::Number => format!("{} to {}", info.min, info.max),
            FieldKind::Count => format!("{} to {}, whole", info.min, info.max),
            FieldKind::Switch => "0 or 1".to_owned(),
            FieldKind::Choice(words) => words.iter().map(|word| format!("`{word}`")).collect::<Vec<_>>().join(", "),
        };
        format!("| `{}` | {range} | {unit} | {ramps} | {} |", info.path, info.doc)
    };
    rows("| field | range | unit | ramps | meaning |", Field::ALL.iter().map(row))
}

fn rhythms() -> String {
    let row = |rhythm: &&pulsewright_core::heart::rhythm::Rhythm| {
        let (min, max) = rhythm.allowed_bpm(ADULT.resting_bpm, rhythm.usual_ratio());
        let (usual, allowed) = if rhythm.beats() {
            (rhythm.usual_rate(ADULT.resting_bpm, rhythm.usual_ratio()).to_string(), format!("{min} to {max}"))
        } else {
            (String::new(), String::new())
        };
        format!("| `{}` | {} | {usual} | {allowed} | {} |", rhythm.id, rhythm.name, rhythm.alarm.id())
    };
    rows("| word | rhythm | usual bpm (adult) | allowed bpm | alarm |", RHYTHMS.iter().map(row))
}

fn parameters() -> String {
    let row = |parameter: &Parameter| {
        let info = parameter.info();
        let unit = units::shown(info.unit);
        let words: Vec<String> = info.words.iter().map(|word| format!("`{word}`")).collect();
        let whole = if info.whole { ", whole" } else { "" };
        let range = if words.is_empty() { format!("{} to {}{whole}", info.min, info.max) } else { words.join(", ") };
        format!("| `{}` | {range} | {unit} | {} |", info.path, info.doc)
    };
    rows("| parameter | range | unit | meaning |", Parameter::ALL.iter().map(row))
}

fn alarms() -> String {
    let row = |kind: &AlarmKind| format!("| `{}` | {} | {} |", kind.id(), kind.name(), kind.priority().id());
    rows("| word | alarm | priority |", AlarmKind::ALL.iter().map(row))
}

fn alarm_limits() -> String {
    let row = |limit: &AlarmLimit| {
        let usual = limit.usual().map(|value| if value.is_nan() { "off".to_owned() } else { value.to_string() });
        format!(
            "| `{}` | {} | {} | {} | {} |",
            limit.id(),
            limit.words(),
            limit.unit(),
            usual.join(", "),
            limit.source()
        )
    };
    rows("| word | alarm | unit | adult, child, neonate | source |", AlarmLimit::ALL.iter().map(row))
}

fn bodies() -> String {
    let row = |body: &&pulsewright_core::body::Body| {
        let value = |(field, value): &(Field, f32)| format!("`{}` {value}", field.info().path);
        let values: Vec<String> = body.values.iter().map(value).collect();
        format!("| `{}` | {} | {} | {} |", body.id, body.name, body.resting_bpm, values.join(", "))
    };
    rows("| word | body | resting bpm | values |", BODIES.iter().map(row))
}
