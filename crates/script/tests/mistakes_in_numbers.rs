//! Mistakes in numbers and ramps, each with the whole message that its writer gets.

mod rendered;

use rendered::check;

#[test]
fn seeds() {
    check(
        r#"{"version": 1, "seed": -1, "steps": [{"duration_s": 5}]}"#,
        r#"
error: seed can't be -1
 --> x.json:1:24
  |
1 | {"version": 1, "seed": -1, "steps": [{"duration_s": 5}]}
  |                        ^^ at seed
  |
  = allowed: a whole number, 0 to 18446744073709551615
"#,
    );
}

#[test]
fn a_seed_with_a_fraction() {
    check(
        r#"{"version": 1, "seed": 1.5, "steps": [{"duration_s": 5}]}"#,
        r#"
error: seed can't be 1.5
 --> x.json:1:24
  |
1 | {"version": 1, "seed": 1.5, "steps": [{"duration_s": 5}]}
  |                        ^^^ at seed
  |
  = allowed: a whole number, 0 to 18446744073709551615
"#,
    );
}

#[test]
fn no_duration() {
    check(
        r#"{"version": 1, "steps": [{"rhythm": "sinus"}]}"#,
        r#"
error: "duration_s" is missing
 --> x.json:1:26
  |
1 | {"version": 1, "steps": [{"rhythm": "sinus"}]}
  |                          ^^^^^^^^^^^^^^^^^^^ at steps[0]
  |
  = allowed: "duration_s": seconds, or "hold"
"#,
    );
}

#[test]
fn zero_duration() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 0}]}"#,
        r#"
error: duration_s can't be 0 s
 --> x.json:1:41
  |
1 | {"version": 1, "steps": [{"duration_s": 0}]}
  |                                         ^ at steps[0].duration_s
  |
  = allowed: seconds from 0.01 to 4294967295, or "hold"
"#,
    );
}

#[test]
fn negative_duration() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": -3}]}"#,
        r#"
error: duration_s can't be -3 s
 --> x.json:1:41
  |
1 | {"version": 1, "steps": [{"duration_s": -3}]}
  |                                         ^^ at steps[0].duration_s
  |
  = allowed: seconds from 0.01 to 4294967295, or "hold"
"#,
    );
}

#[test]
fn endless_duration() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 1e400}]}"#,
        r#"
error: duration_s can't be 1e400 s
 --> x.json:1:41
  |
1 | {"version": 1, "steps": [{"duration_s": 1e400}]}
  |                                         ^^^^^ at steps[0].duration_s
  |
  = allowed: seconds from 0.01 to 4294967295, or "hold"
"#,
    );
}

#[test]
fn a_duration_in_words() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": "forever"}]}"#,
        r#"
error: duration_s can't be "forever"
 --> x.json:1:41
  |
1 | {"version": 1, "steps": [{"duration_s": "forever"}]}
  |                                         ^^^^^^^^^ at steps[0].duration_s
  |
  = allowed: seconds from 0.01 to 4294967295, or "hold"
"#,
    );
}

#[test]
fn an_absurd_rate() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "rate_bpm": 10000}]}"#,
        r#"
error: rate_bpm can't be 10000 bpm
 --> x.json:1:56
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "rate_bpm": 10000}]}
  |                                                        ^^^^^ at steps[0].rate_bpm
  |
  = allowed: 5 to 400 bpm
"#,
    );
}

#[test]
fn a_number_beyond_f32() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "rate_bpm": 1e40}]}"#,
        r#"
error: rate_bpm can't be 1e40 bpm
 --> x.json:1:56
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "rate_bpm": 1e40}]}
  |                                                        ^^^^ at steps[0].rate_bpm
  |
  = allowed: 5 to 400 bpm
"#,
    );
}

#[test]
fn a_number_beyond_f64() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "rate_bpm": -1e400}]}"#,
        r#"
error: rate_bpm can't be -1e400 bpm
 --> x.json:1:56
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "rate_bpm": -1e400}]}
  |                                                        ^^^^^^ at steps[0].rate_bpm
  |
  = allowed: 5 to 400 bpm
"#,
    );
}

#[test]
fn a_number_in_quotes() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "rate_bpm": "72"}]}"#,
        r#"
error: rate_bpm can't be text
 --> x.json:1:56
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "rate_bpm": "72"}]}
  |                                                        ^^^^ at steps[0].rate_bpm
  |
  = allowed: 5 to 400 bpm, or a ramp {"to": number}
"#,
    );
}

#[test]
fn a_number_for_a_group() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "breathing": 12}]}"#,
        r#"
error: breathing can't be a number
 --> x.json:1:57
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "breathing": 12}]}
  |                                                         ^^ at steps[0].breathing
  |
  = allowed: a group of settings: an object, {...}
"#,
    );
}

#[test]
fn a_ramp_of_what_cannot_ramp() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "ecg": {"pr_ms": {"to": 200}}}]}"#,
        r#"
error: ecg.pr_ms can't ramp
 --> x.json:1:61
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "ecg": {"pr_ms": {"to": 200}}}]}
  |                                                             ^^^^^^^^^^^ at steps[0].ecg.pr_ms
  |
  = allowed: one number, 60 to 600 ms, for the whole step
"#,
    );
}

#[test]
fn a_ramp_without_end() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "rate_bpm": {"from": 60}}]}"#,
        r#"
error: "to" is missing
 --> x.json:1:56
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "rate_bpm": {"from": 60}}]}
  |                                                        ^^^^^^^^^^^^ at steps[0].rate_bpm
  |
  = allowed: {"to": number} or {"from": number, "to": number}
"#,
    );
}

#[test]
fn a_ramp_out_of_range() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "rate_bpm": {"from": 60, "to": 401}}]}"#,
        r#"
error: rate_bpm can't be 401 bpm
 --> x.json:1:75
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "rate_bpm": {"from": 60, "to": 401}}]}
  |                                                                           ^^^ at steps[0].rate_bpm.to
  |
  = allowed: 5 to 400 bpm
"#,
    );
}

#[test]
fn a_ramp_in_a_hold() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": "hold", "rate_bpm": {"to": 100}}]}"#,
        r#"
error: rate_bpm ramps in a step that holds
 --> x.json:1:61
  |
1 | {"version": 1, "steps": [{"duration_s": "hold", "rate_bpm": {"to": 100}}]}
  |                                                             ^^^^^^^^^^^ at steps[0].rate_bpm
  |
  = allowed: ramps in steps with a duration in seconds, or that say how long they take, "over_s"
"#,
    );
}

#[test]
fn a_rate_that_the_rhythm_does_not_allow() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "rhythm": "ventricular-tachycardia", "rate_bpm": 72}]}"#,
        r#"
error: rate 72 bpm is outside the 100 to 300 bpm of this rhythm
 --> x.json:1:93
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "rhythm": "ventricular-tachycardia", "rate_bpm": 72}]}
  |                                                                                             ^^ at steps[0].rate_bpm
"#,
    );
}

#[test]
fn pressures_in_the_wrong_order() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "arterial": {"diastolic_mmhg": 130}}]}"#,
        r#"
error: arterial systolic 120 mmHg must be at least 2 mmHg above diastolic 130 mmHg
 --> x.json:1:75
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "arterial": {"diastolic_mmhg": 130}}]}
  |                                                                           ^^^ at steps[0].arterial.diastolic_mmhg
"#,
    );
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "pulmonary": {"systolic_mmhg": {"to": 8}}}]}"#,
        r#"
error: pulmonary systolic 8 mmHg must be at least 2 mmHg above diastolic 9 mmHg
 --> x.json:1:75
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "pulmonary": {"systolic_mmhg": {"to": 8}}}]}
  |                                                                           ^^^^^^^^^ at steps[0].pulmonary.systolic_mmhg
"#,
    );
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "femoral": {"systolic_mmhg": 70}}]}"#,
        r#"
error: femoral systolic 70 mmHg must be at least 2 mmHg above diastolic 80 mmHg
 --> x.json:1:73
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "femoral": {"systolic_mmhg": 70}}]}
  |                                                                         ^^ at steps[0].femoral.systolic_mmhg
"#,
    );
}
