//! Compares whole messages.

use pulsewright_core::body::BODIES;
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::settings::Field;

/// Checks that the document `text` is refused with exactly this message, blanks at line ends aside.
///
/// `{rhythms}`, `{bodies}` and `{step keys}` stand for what the core's tables hold, so that these may grow.
#[track_caller]
pub fn check(text: &str, expected: &str) {
    let problems =
        pulsewright_script::parse(text.as_bytes(), "x.json").expect_err("a document with a mistake was read");
    let shown: Vec<String> = problems.to_string().lines().map(|line| line.trim_end().to_owned()).collect();
    let shown = shown.join("\n");
    let mut step_keys = vec![
        "name",
        "duration_s",
        "rhythm",
        "body",
        "beats",
        "series",
        "recording",
        "noise",
        "expect",
        "cautions",
        "prepare",
    ];
    for key in Field::ALL.iter().filter_map(|field| field.info().path.split('.').next()) {
        if !step_keys.contains(&key) {
            step_keys.push(key);
        }
    }
    let expected = expected
        .trim_matches('\n')
        .replace("{rhythms}", &quoted(RHYTHMS.iter().map(|rhythm| rhythm.id)))
        .replace("{bodies}", &quoted(BODIES.iter().map(|body| body.id)))
        .replace("{step keys}", &quoted(step_keys));
    assert!(shown == expected, "the message is now\n{shown}\n");
}

fn quoted<'w>(words: impl IntoIterator<Item = &'w str>) -> String {
    words.into_iter().map(|word| format!("{word:?}")).collect::<Vec<_>>().join(", ")
}
