//! The ready plans: they make worksheets, and the adult one plays every rhythm that must raise an alarm.

use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::Priority;
use pulsewright_record::Plan;
use pulsewright_script::{Document, DocumentPart};
use std::path::Path;

fn ready(name: &str) -> (Vec<u8>, Document) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples").join(name);
    let text = std::fs::read(path).unwrap();
    let document = pulsewright_script::parse(&text, name).unwrap_or_else(|problems| panic!("{problems}"));
    (text, document)
}

#[test]
fn every_ready_plan_is_whole() {
    for (name, least) in
        [("plan-adult-monitor.json", 60), ("plan-neonatal-monitor.json", 25), ("plan-transport-monitor.json", 18)]
    {
        let (text, document) = ready(name);
        let plan = Plan::new(&document, &text, None).unwrap();
        assert!(plan.items().count() >= least, "{name}: {}", plan.items().count());
        assert!(!plan.kit.is_empty() && !plan.cautions.is_empty() && !plan.prepare.is_empty(), "{name}");
        assert!(plan.notes.contains("Invented") && plan.title.contains("Invented"), "{name}");
        let sources = plan.steps.iter().flat_map(|step| &step.readings).map(|reading| &reading.source);
        assert!(sources.into_iter().all(|source| !source.is_empty()), "{name}");
    }
}

#[test]
fn the_adult_plan_plays_every_rhythm_of_high_and_medium_priority() {
    let (_, document) = ready("plan-adult-monitor.json");
    for rhythm in RHYTHMS.iter().filter(|rhythm| rhythm.alarm >= Priority::Medium) {
        let heard = document.parts().iter().any(|part| match part {
            DocumentPart::Step(step) => {
                step.settings.rhythm().id == rhythm.id
                    // Its priority is that of the alarm that the signal raises.
                    && !step.expect.alarms.is_empty()
            }
            DocumentPart::Repeat { .. } => false,
        });
        assert!(heard, "{} must raise an alarm and is not in the plan", rhythm.id);
    }
}

/// The whole numbers of a text, in order.
fn numbers(text: &str) -> Vec<usize> {
    text.split(|c: char| !c.is_ascii_digit()).filter_map(|digits| digits.parse().ok()).collect()
}

#[test]
fn the_guide_names_the_steps_of_the_adult_plan_whose_alarm_has_high_priority() {
    let (text, document) = ready("plan-adult-monitor.json");
    let plan = Plan::new(&document, &text, None).unwrap();
    let guide = include_str!("../../../docs/bench.md");
    let line = guide.lines().find_map(|line| line.strip_prefix("In the adult plan steps ")).unwrap();
    let (rhythms, rest) = line.split_once(" play the arrhythmias (").unwrap();
    let (medium, apnoea) = rest.split_once(" have medium priority)").unwrap();
    let (medium, apnoea) = (numbers(medium), numbers(apnoea));
    let named = |number: usize| {
        numbers(rhythms).chunks(2).any(|range| (range[0]..=range[1]).contains(&number)) || apnoea.contains(&number)
    };

    let mut alarms = 0;
    for (number, step) in plan.steps.iter().enumerate().map(|(index, step)| (index + 1, step)) {
        for alarm in &step.alarms {
            alarms += 1;
            let high = named(number) && !medium.contains(&number);
            assert_eq!(alarm.priority == "high", high, "step {number}, {}: {}", step.name, alarm.priority);
        }
        assert!(
            !medium.contains(&number) || (named(number) && !step.alarms.is_empty()),
            "step {number}, {}",
            step.name
        );
    }
    assert!(alarms > 30, "{alarms}");
}
