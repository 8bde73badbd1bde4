//! Properties of script documents: any text gets an answer; a document that is read gives a core script that writes back.

use proptest::prelude::*;
use pulsewright_core::body::BODIES;
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::script::Script;
use pulsewright_core::settings::Field;
use pulsewright_script::{Document, DocumentPart, parse};
use serde_json::{Map, Value, json};

/// The items of a document, comparable.
fn played(document: &Document) -> Vec<String> {
    let part = |part: &DocumentPart| match part {
        DocumentPart::Step(step) => {
            let values: Vec<u32> = Field::ALL.iter().map(|field| step.settings.get(*field).to_bits()).collect();
            let (rhythm, body) = (step.settings.rhythm().id, step.settings.body().id);
            format!("{:?} {:?} {rhythm} {body} {values:?} {:?}", step.name, step.duration, step.ramps)
        }
        DocumentPart::Repeat { first, times, level } => format!("repeat {first} {times} {level}"),
    };
    document.parts().iter().map(part).collect()
}

/// A number somewhere about a field's range, mostly within it, or one of its words.
fn number(field: Field) -> BoxedStrategy<Value> {
    let (min, max) = (field.info().min, field.info().max);
    if !field.info().words().is_empty() {
        return proptest::sample::select(field.info().words()).prop_map(|word| json!(word)).boxed();
    }
    prop_oneof![
        40 => (min..=max).prop_map(|value| json!(value)),
        20 => (min..=max).prop_map(|value| json!(value.round().clamp(value.floor(), value.ceil()))),
        1 => any::<f64>().prop_map(|value| json!(value)),
    ]
    .boxed()
}

fn value(field: Field) -> impl Strategy<Value = Value> {
    // A few of what can't ramp try to.
    let ramps = if field.info().ramps { 20 } else { 1 };
    prop_oneof![
        40 => number(field),
        ramps => number(field).prop_map(|to| json!({"to": to})),
        ramps => (number(field), number(field)).prop_map(|(from, to)| json!({"from": from, "to": to})),
    ]
}

fn field() -> impl Strategy<Value = (String, Value)> {
    (0..Field::ALL.len()).prop_flat_map(|index| {
        let field = Field::ALL[index];
        value(field).prop_map(move |value| (field.info().path.to_owned(), value))
    })
}

fn step() -> impl Strategy<Value = Value> {
    let duration = prop_oneof![
        20 => (0.01..1e6_f64).prop_map(|seconds| json!(seconds)),
        20 => (1..5000_u32).prop_map(|hundredths| json!(f64::from(hundredths) * 0.01)),
        1 => Just(json!("hold")),
    ];
    let rhythm = prop::option::weighted(0.3, 0..RHYTHMS.len());
    let body = prop::option::weighted(0.2, 0..BODIES.len());
    let name = prop::option::of("[ -~é€😀]{0,12}");
    (duration, rhythm, body, name, prop::collection::vec(field(), 0..3)).prop_map(
        |(duration, rhythm, body, name, fields)| {
            let mut step = Map::new();
            step.insert("duration_s".into(), duration);
            if let Some(rhythm) = rhythm {
                step.insert("rhythm".into(), RHYTHMS[rhythm].id.into());
            }
            if let Some(body) = body {
                step.insert("body".into(), BODIES[body].id.into());
            }
            if let Some(name) = name {
                step.insert("name".into(), name.into());
            }
            for (path, value) in fields {
                let mut place = &mut step;
                let mut parts: Vec<&str> = path.split('.').collect();
                let leaf = parts.pop().unwrap_or_default();
                for part in parts {
                    let group = place.entry(part).or_insert_with(|| json!({}));
                    place = group.as_object_mut().expect("a group is an object");
                }
                place.insert(leaf.to_owned(), value);
            }
            Value::Object(step)
        },
    )
}

fn steps() -> impl Strategy<Value = Value> {
    let leaf = step().boxed();
    let item = leaf.prop_recursive(3, 8, 2, |inner| {
        (1..9_u32, prop::collection::vec(inner, 1..3))
            .prop_map(|(times, steps)| json!({"repeat": times, "steps": steps}))
    });
    prop::collection::vec(item, 1..4).prop_map(Value::Array)
}

fn document() -> impl Strategy<Value = Value> {
    (any::<u64>(), steps()).prop_map(|(seed, steps)| json!({"version": 1, "seed": seed, "steps": steps}))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, failure_persistence: None, ..ProptestConfig::default() })]

    /// A document that is read makes a core script; written and read again it is the same.
    #[test]
    fn what_is_read_plays_and_writes_back(value in document()) {
        match parse(value.to_string().as_bytes(), "made") {
            Ok(document) => {
                let items = document.items();
                prop_assert!(Script::new(document.seed(), &items).is_ok());
                let written = document.to_json().to_string();
                let again = parse(written.as_bytes(), "written");
                prop_assert!(again.is_ok(), "{}\n{written}", again.unwrap_err());
                let again = again.unwrap();
                prop_assert_eq!(played(&document), played(&again));
                prop_assert_eq!(document.seed(), again.seed());
                prop_assert_eq!(written, again.to_json().to_string());
            }
            Err(problems) => {
                prop_assert!(!problems.list().is_empty());
                for problem in problems.list() {
                    prop_assert!(problems.place(problem).is_some(), "{problems}");
                }
                prop_assert!(problems.to_string().starts_with("error: "));
            }
        }
    }

    /// Text that is nearly a document gets an answer, and the answer can be shown.
    #[test]
    fn damaged_documents_get_an_answer(
        value in document(),
        at in any::<prop::sample::Index>(),
        cut in 0..40_usize,
        put in prop_oneof![any::<Vec<u8>>(), r#"[{}\[\]",:0-9eE+\-.a-z \\😀]{0,12}"#.prop_map(String::into_bytes)],
    ) {
        let mut text = value.to_string().into_bytes();
        let at = at.index(text.len());
        let end = (at + cut).min(text.len());
        text.splice(at..end, put);
        if let Err(problems) = parse(&text, "damaged") {
            prop_assert!(problems.render(true).contains("damaged"));
        }
    }

    /// Any bytes get an answer.
    #[test]
    fn any_bytes_get_an_answer(text in any::<Vec<u8>>()) {
        if let Err(problems) = parse(&text, "bytes") {
            prop_assert!(problems.render(false).contains("bytes"));
        }
    }
}

/// Made documents are mostly good, or the first property would prove little.
#[test]
fn most_made_documents_are_read() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let made = |_| document().new_tree(&mut runner).expect("a document can be made").current();
    let good = (0..200).map(made).filter(|value| parse(value.to_string().as_bytes(), "made").is_ok()).count();
    assert!((40..200).contains(&good), "{good} of 200");
}
