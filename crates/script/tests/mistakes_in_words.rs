//! Mistakes in words and keys, each with the whole message that its writer gets.

mod rendered;

use rendered::check;

#[test]
fn an_unknown_rhythm() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "rhythm": "Ventricular Tachycardy"}]}"#,
        r#"
error: unknown rhythm "Ventricular Tachycardy"
 --> x.json:1:54
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "rhythm": "Ventricular Tachycardy"}]}
  |                                                      ^^^^^^^^^^^^^^^^^^^^^^^^ at steps[0].rhythm
  |
  = help: did you mean "ventricular-tachycardia"?
  = allowed: the words that `pulsewright catalog rhythms` lists
"#,
    );
}

#[test]
fn a_rhythm_that_no_word_is_like() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "rhythm": "qqqq"}]}"#,
        r#"
error: unknown rhythm "qqqq"
 --> x.json:1:54
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "rhythm": "qqqq"}]}
  |                                                      ^^^^^^ at steps[0].rhythm
  |
  = allowed: {rhythms}
"#,
    );
}

#[test]
fn a_long_list_is_shown_once() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "rhythm": "qqqq"}, {"duration_s": 5, "rhythm": "wwww"}]}"#,
        r#"
error: unknown rhythm "qqqq"
 --> x.json:1:54
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "rhythm": "qqqq"}, {"duration_s": 5, "rhythm": "wwww"}]}
  |                                                      ^^^^^^ at steps[0].rhythm
  |
  = allowed: {rhythms}

error: unknown rhythm "wwww"
 --> x.json:1:91
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "rhythm": "qqqq"}, {"duration_s": 5, "rhythm": "wwww"}]}
  |                                                                                           ^^^^^^ at steps[1].rhythm
  |
  = allowed: the same as at steps[0].rhythm

2 problems in x.json
"#,
    );
}

#[test]
fn an_unknown_body() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "body": "horse"}]}"#,
        r#"
error: unknown body "horse"
 --> x.json:1:52
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "body": "horse"}]}
  |                                                    ^^^^^^^ at steps[0].body
  |
  = allowed: {bodies}
"#,
    );
}

#[test]
fn a_key_without_its_unit() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "rate": 72}]}"#,
        r#"
error: unknown key "rate"
 --> x.json:1:44
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "rate": 72}]}
  |                                            ^^^^^^ at steps[0].rate
  |
  = help: did you mean "rate_bpm"?
  = allowed: {step keys}
"#,
    );
}

#[test]
fn a_key_outside_its_group() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "systolic_mmhg": 100}]}"#,
        r#"
error: unknown key "systolic_mmhg"
 --> x.json:1:44
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "systolic_mmhg": 100}]}
  |                                            ^^^^^^^^^^^^^^^ at steps[0].systolic_mmhg
  |
  = help: did you mean "systolic_mmhg" in "arterial"?
  = allowed: {step keys}
"#,
    );
}

#[test]
fn a_path_as_a_key() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": 5, "arterial.systolic_mmhg": 100}]}"#,
        r#"
error: unknown key "arterial.systolic_mmhg"
 --> x.json:1:44
  |
1 | {"version": 1, "steps": [{"duration_s": 5, "arterial.systolic_mmhg": 100}]}
  |                                            ^^^^^^^^^^^^^^^^^^^^^^^^ at steps[0].arterial.systolic_mmhg
  |
  = help: did you mean "systolic_mmhg" in "arterial"?
  = allowed: {step keys}
"#,
    );
}

#[test]
fn an_unknown_key() {
    check(
        r#"{"version": 1, "titel": "x", "steps": [{"duration_s": 5}]}"#,
        r#"
error: unknown key "titel"
 --> x.json:1:16
  |
1 | {"version": 1, "titel": "x", "steps": [{"duration_s": 5}]}
  |                ^^^^^^^ at titel
  |
  = help: did you mean "title"?
  = allowed: "version", "title", "notes", "seed", "asset_class", "kit", "cautions", "prepare", "limits", "alarm_limits", "bodies", "rhythms", "steps"
"#,
    );
}

#[test]
fn a_title_of_two_lines() {
    check(
        r#"{"version": 1, "title": "a\nb", "steps": [{"duration_s": 5}]}"#,
        r#"
error: title is too long or has more than one line
 --> x.json:1:25
  |
1 | {"version": 1, "title": "a\nb", "steps": [{"duration_s": 5}]}
  |                         ^^^^^^ at title
  |
  = allowed: one line of at most 200 characters
"#,
    );
}

#[test]
fn half_a_character() {
    check(
        r#"{"version": 1, "title": "\ud800", "steps": [{"duration_s": 5}]}"#,
        r#"
error: text with half a character
 --> x.json:1:25
  |
1 | {"version": 1, "title": "\ud800", "steps": [{"duration_s": 5}]}
  |                         ^^^^^^^^ at title
  |
  = allowed: \u escapes of characters outside the first 65 536 in pairs
"#,
    );
}
