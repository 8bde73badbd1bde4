//! The expectations of steps: filled in from script, document and table; and every mistake with its message.

mod rendered;

use pulsewright_script::expect::{ExpectedReading, Quantity};
use pulsewright_script::{Document, parse};
use rendered::check;

fn document(text: &str) -> Document {
    parse(text.as_bytes(), "x.json").unwrap_or_else(|problems| panic!("{problems}"))
}

/// The readings of the first step, as `id value limit [source]`.
fn readings(text: &str) -> Vec<String> {
    let document = document(text);
    let show = |reading: &ExpectedReading| {
        let value = reading.value.map_or("-".to_owned(), |value| value.to_string());
        let words = reading.limit.words(reading.quantity.unit());
        format!("{} {value} {words} [{}]", reading.quantity.id(), reading.limit.source)
    };
    document.step(0).unwrap().expect.readings.iter().map(show).collect()
}

#[test]
fn values_come_from_the_step_and_limits_from_the_table() {
    let found = readings(
        r#"{"version": 1, "steps": [{"duration_s": 60, "rate_bpm": 80, "expect": {"readings":
            ["heart-rate", "respiration-rate", "arterial-systolic", "arterial-diastolic", "venous-mean"]}}]}"#,
    );
    let rate = "±5 bpm or ±10 %, the larger [IEC 60601-2-27 201.12.1.101.15 / EC13 4.2.7, from memory]";
    let line = "±4 mmHg or ±4 %, the larger [IEC 60601-2-34, from memory]";
    assert_eq!(found[0], format!("heart-rate 80 {rate}"));
    assert!(found[1].starts_with("respiration-rate 15 ±2 breaths/min [no standard"), "{}", found[1]);
    assert_eq!(found[2], format!("arterial-systolic 120 {line}"));
    assert_eq!(found[3], format!("arterial-diastolic 80 {line}"));
    assert_eq!(found[4], format!("venous-mean 3 {line}"));
}

#[test]
fn a_closed_transducer_reads_its_level_and_an_open_one_adds_it() {
    let found = readings(
        r#"{"version": 1, "steps": [{"duration_s": 60, "arterial": {"closed": 1, "level_mmhg": 100},
            "venous": {"level_mmhg": 7}, "expect": {"readings": ["arterial-mean", "arterial-systolic", "venous-mean"]}}]}"#,
    );
    let values: Vec<&str> = found.iter().map(|line| line.split(' ').nth(1).unwrap()).collect();
    assert_eq!(values, ["100", "100", "10"]);
}

#[test]
fn the_step_s_limit_goes_before_the_document_s_and_that_before_the_standard_s() {
    let found = readings(
        r#"{"version": 1, "steps": [{"duration_s": 5, "rate_bpm": 80, "expect": {"readings": [
            {"quantity": "heart-rate", "tolerance": 1, "source": "step"}, "arterial-mean", "cuff-leak", "venous-mean"]}}],
            "limits": {"heart-rate": {"tolerance": 2, "source": "document"}, "arterial-mean": {"tolerance_percent": 3, "source": "manual, 7.2"}}}"#,
    );
    assert_eq!(found[0], "heart-rate 80 ±1 bpm [step]");
    assert!(found[1].ends_with("±3 % [manual, 7.2]"), "{}", found[1]);
    assert_eq!(found[2], "cuff-leak - at most 6 mmHg/min [OIML R 16-2: 6 mmHg/min at 250 mmHg]");
    assert!(found[3].contains("60601-2-34"), "{}", found[3]);
}

#[test]
fn alarms_follow_what_is_played() {
    let document = document(
        r#"{"version": 1, "steps": [
            {"duration_s": 20, "rhythm": "asystole", "expect": {"alarms": "usual"}},
            {"duration_s": 60, "rhythm": "ventricular-bigeminy", "expect": {"alarms": [{}, {"priority": "medium"},
                {"name": "Low rate", "priority": "high", "within_s": 5, "source": "manual"}]}}]}"#,
    );
    let shown: Vec<String> = [0, 1]
        .iter()
        .flat_map(|item| &document.step(*item).unwrap().expect.alarms)
        .map(|alarm| format!("{} {} {}", alarm.name, alarm.priority.id(), alarm.within_s))
        .collect();
    assert_eq!(
        shown,
        ["Asystole high 6", "Ventricular bigeminy low 10", "Ventricular bigeminy medium 10", "Low rate high 5"]
    );
}

#[test]
fn written_back_it_is_the_same() {
    let text = r#"{"version": 1, "asset_class": "Transport monitor", "kit": ["cable"], "cautions": ["not on a limb"],
        "prepare": ["zero"], "limits": {"cuff-mean": {"min": 1, "max": 2, "source": "s"}}, "steps": [
        {"duration_s": 5, "rhythm": "asystole", "cautions": ["c"], "prepare": ["p", "q"],
         "expect": {"alarms": "usual", "readings": [{"quantity": "heart-rate", "value": 0}, "respiration-rate"]}}]}"#;
    let first = document(text);
    let again = document(&first.to_json().to_string());
    assert_eq!(format!("{first:?}"), format!("{again:?}"));
    assert_eq!(again.asset_class(), Some("Transport monitor"));
    assert!(again.expects());
}

#[test]
fn every_quantity_has_a_limit_or_says_that_nobody_gives_one() {
    for quantity in Quantity::ALL {
        let (words, source) = quantity.usual_words();
        assert!(!words.is_empty() && !source.is_empty());
        assert_eq!(Quantity::find(quantity.id()), Some(*quantity));
    }
}

#[test]
fn a_word_that_is_no_quantity() {
    let text = r#"{"version": 1, "steps": [{"duration_s": 5, "expect": {"readings": ["heart-rat"]}}]}"#;
    let problems = parse(text.as_bytes(), "x.json").unwrap_err();
    let problem = &problems.list()[0];
    assert_eq!(problem.what, "unknown quantity \"heart-rat\"");
    assert_eq!(problem.path, "steps[0].expect.readings[0]");
    assert_eq!(problem.nearest.as_deref(), Some("\"heart-rate\""));
    assert_eq!(problems.place(problem), Some((1, 68)));
}

/// A value that moves is a band with its mean and a reason; a value named in the document wins.
#[test]
fn what_moves_is_a_band() {
    let document = document(
        r#"{"version": 1, "steps": [
            {"duration_s": 120, "arterial": {"breathing_mmhg": 30}, "expect": {"readings": ["arterial-systolic", "arterial-mean"]}},
            {"duration_s": 60, "rate_bpm": {"from": 70, "to": 100}, "expect": {"readings": ["heart-rate"]}},
            {"duration_s": 60, "rate_bpm": 70, "expect": {"readings": [{"quantity": "heart-rate", "value": 71}]}}]}"#,
    );
    let reading = |step: usize, index: usize| document.step(step).unwrap().expect.readings[index].clone();
    let systolic = reading(0, 0);
    let [low, high] = systolic.band.unwrap();
    assert!((low - 90.0).abs() < 1.0 && (high - 120.0).abs() < 1.0, "{systolic:?}");
    assert!(systolic.why.contains("falls with each inspiration"), "{systolic:?}");
    let [low, high] = reading(1, 0).band.unwrap();
    assert!(low > 74.0 && low < 85.0 && high > 94.0 && high <= 101.0, "{low} {high}");
    assert_eq!(reading(2, 0).band, Some([71.0, 71.0]));
}

#[test]
fn alarms_that_stay_silent_and_that_clear() {
    let text = r#"{"version": 1, "alarm_limits": {"rate_high_bpm": {"value": 100, "source": "ward"}, "apnoea_s": {"value": "off", "source": "ward"}},
        "steps": [
        {"duration_s": 30, "rhythm": "ventricular-fibrillation", "expect": {"alarms": "usual", "silent": ["asystole", {"name": "Leads off"}]}},
        {"duration_s": 60, "rhythm": "sinus", "rate_bpm": 110, "breathing": {"rate_per_min": 0},
         "expect": {"alarms": ["high-rate"], "clears": ["ventricular-fibrillation"], "silent": ["apnoea"]}}]}"#;
    let document = document(text);
    let (first, second) = (&document.step(0).unwrap().expect, &document.step(1).unwrap().expect);
    assert_eq!((first.alarms[0].onset_s, first.alarms[0].within_s), (4.0, 6.0));
    assert_eq!(first.silent.iter().map(|silent| silent.name.as_str()).collect::<Vec<_>>(), ["Asystole", "Leads off"]);
    assert_eq!((second.clears[0].end_s, second.clears[0].within_s), (0.0, 30.0));
    assert!(second.alarms[0].onset_s > 1.0 && second.alarms[0].onset_s < 6.0, "{:?}", second.alarms);
    assert_eq!(document.alarm_settings().len(), 2);
    let again = self::document(&document.to_json().to_string());
    assert_eq!(format!("{document:?}"), format!("{again:?}"));
}

#[test]
fn nothing_to_read() {
    check(
        r#"{"version": 1, "steps": [
{"duration_s": 20, "rhythm": "ventricular-fibrillation", "expect": {"readings": ["heart-rate", "arterial-mean"]}},
{"duration_s": 20, "rhythm": "sinus", "expect": {"alarms": "usual"}},
{"duration_s": 20, "rhythm": "asystole", "expect": {"silent": ["asystole"], "clears": ["high-rate"]}}]}"#,
        r#"
error: heart-rate has no value in this step: the ventricles fibrillate or flutter, so there is no beat to count
 --> x.json:2:82
  |
2 | {"duration_s": 20, "rhythm": "ventricular-fibrillation", "expect": {"readings": ["heart-rate", "arterial-mean"]}},
  |                                                                                  ^^^^^^^^^^^^ at steps[0].expect.readings[0]
  |
  = allowed: "value": what the monitor should read, or "min" and "max"

error: no limit of an alarm is passed in this step
 --> x.json:3:60
  |
3 | {"duration_s": 20, "rhythm": "sinus", "expect": {"alarms": "usual"}},
  |                                                            ^^^^^^^ at steps[1].expect.alarms
  |
  = allowed: an alarm with a "name" of its own and its "priority"

error: asystole comes in this step, 3.578 s after its start; it can't be silent
 --> x.json:4:64
  |
4 | {"duration_s": 20, "rhythm": "asystole", "expect": {"silent": ["asystole"], "clears": ["high-rate"]}}]}
  |                                                                ^^^^^^^^^^ at steps[2].expect.silent[0]
  |
  = allowed: alarms whose limits this step does not pass

error: high-rate does not come from the step before
 --> x.json:4:88
  |
4 | {"duration_s": 20, "rhythm": "asystole", "expect": {"silent": ["asystole"], "clears": ["high-rate"]}}]}
  |                                                                                        ^^^^^^^^^^^ at steps[2].expect.clears[0]
  |
  = allowed: alarms of the step before whose condition ends in this one

4 problems in x.json
"#,
    );
}

#[test]
fn limits_without_a_source_and_alarms_without_a_class() {
    let whats = |text: &str| -> Vec<String> {
        let problems = parse(text.as_bytes(), "x.json").unwrap_err();
        problems.list().iter().map(|problem| format!("{} at {}", problem.what, problem.path)).collect()
    };
    let step = |expect: &str| format!(r#"{{"version": 1, "steps": [{{"duration_s": 5, "expect": {expect}}}]}}"#);
    let cases = [
        (
            r#"{"readings": [{"quantity": "heart-rate", "tolerance": 3}]}"#,
            "\"source\" is missing at steps[0].expect.readings[0]",
        ),
        (r#"{"readings": [{"value": 3}]}"#, "\"quantity\" is missing at steps[0].expect.readings[0]"),
        (
            r#"{"readings": ["heart-rate", "heart-rate"]}"#,
            "heart-rate is expected twice at steps[0].expect.readings[1]",
        ),
        (
            r#"{"readings": [{"quantity": "heart-rate", "min": 9, "max": 3, "source": "s"}]}"#,
            "min is above max at steps[0].expect.readings[0]",
        ),
        (
            r#"{"readings": [{"quantity": "heart-rate", "tolerance": -3, "source": "s"}]}"#,
            "steps[0].expect.readings[0].tolerance can't be -3 at steps[0].expect.readings[0].tolerance",
        ),
        (r#"{"reading": []}"#, "unknown key \"reading\" at steps[0].expect.reading"),
        (r#"{"alarms": [{}]}"#, "no limit of an alarm is passed in this step at steps[0].expect.alarms[0]"),
        (r#"{"alarms": [{"name": "Apnoea"}]}"#, "apnoea does not come in this step at steps[0].expect.alarms[0]"),
        (r#"{"alarms": [{"name": "Of our own"}]}"#, "\"priority\" is missing at steps[0].expect.alarms[0]"),
        (r#"{"alarms": ["asistole"]}"#, "unknown alarm \"asistole\" at steps[0].expect.alarms[0]"),
        (r#"{"silent": [{}]}"#, "\"name\" is missing at steps[0].expect.silent[0]"),
        (r#"{"clears": ["apnoea"]}"#, "apnoea does not come from the step before at steps[0].expect.clears[0]"),
        (
            r#"{"alarms": [{"name": "Apnoea", "priority": "hi", "within_s": 3}]}"#,
            "unknown priority \"hi\" at steps[0].expect.alarms[0].priority",
        ),
        (
            r#"{"alarms": [{"name": "Apnoea", "priority": "high", "within_s": 3}]}"#,
            "\"source\" is missing at steps[0].expect.alarms[0]",
        ),
        (r#"{"manual": [{"name": "case"}]}"#, "\"source\" is missing at steps[0].expect.manual[0]"),
        (r#"{"manual": [{"source": "s"}]}"#, "\"name\" is missing at steps[0].expect.manual[0]"),
        (
            r#"{"manual": [{"name": "current", "max": 100, "source": "s"}]}"#,
            "\"unit\" is missing at steps[0].expect.manual[0]",
        ),
        (
            r#"{"manual": [{"name": "saturation", "unit": "%", "tolerance": 2, "source": "s"}]}"#,
            "\"value\" is missing at steps[0].expect.manual[0]",
        ),
        (
            r#"{"manual": [{"name": "saturation", "unit": "%", "source": "s"}]}"#,
            "\"tolerance\" is missing at steps[0].expect.manual[0]",
        ),
        (r#"{"alarms": "usal"}"#, "alarms can't be \"usal\" at steps[0].expect.alarms"),
        (r#"7"#, "expect can't be a number at steps[0].expect"),
    ];
    for (expect, message) in cases {
        assert_eq!(whats(&step(expect)), [message], "{expect}");
    }
    let empty = whats(r#"{"version": 1, "kit": [""], "limits": {"heart-rate": {}}, "steps": [{"duration_s": 5}]}"#);
    assert_eq!(empty, ["an empty line at kit[0]", "\"tolerance\" is missing at limits.heart-rate"]);
}

#[test]
fn checks_by_hand_are_read_and_written() {
    let manual = r#"[{"name": "Case and cables", "source": "manual (invented), 2.1"},
        {"name": "Saturation", "unit": "%", "value": 90, "tolerance": 2, "source": "manual (invented), 4.2"},
        {"name": "Leakage current", "unit": "uA", "max": 100, "source": "ward rule (invented)"}]"#;
    let text = format!(r#"{{"version": 1, "steps": [{{"duration_s": 5, "expect": {{"manual": {manual}}}}}]}}"#);
    let document = parse(text.as_bytes(), "checks.json").unwrap();
    assert!(document.expects());
    let json = document.to_json();
    let written = &json["steps"][0]["expect"]["manual"];
    let read: serde_json::Value = serde_json::from_str(manual).unwrap();
    assert_eq!(written.to_string().replace(".0", ""), read.to_string());
    let again = parse(json.to_string().as_bytes(), "again.json").unwrap();
    assert_eq!(again.to_json(), json);
}
