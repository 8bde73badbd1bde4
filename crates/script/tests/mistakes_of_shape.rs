//! Mistakes in what a document is made of, each with the whole message that its writer gets.

mod rendered;

use rendered::check;

#[test]
fn no_object() {
    check(
        r"[1, 2]",
        r"
error: the document can't be a list
 --> x.json:1:1
  |
1 | [1, 2]
  | ^^^^^^
  |
  = allowed: a script document: an object, {...}
",
    );
}

#[test]
fn nothing_in_it() {
    check(
        r"{}",
        r#"
error: "version" is missing
 --> x.json:1:1
  |
1 | {}
  | ^^
  |
  = allowed: "version": 1

error: "steps" is missing
 --> x.json:1:1
  |
1 | {}
  | ^^
  |
  = allowed: "steps": [a list of steps]

2 problems in x.json
"#,
    );
}

#[test]
fn no_steps() {
    check(
        r#"{"version": 1, "steps": []}"#,
        r#"
error: no steps
 --> x.json:1:25
  |
1 | {"version": 1, "steps": []}
  |                         ^^ at steps
  |
  = allowed: a list of at least one step
"#,
    );
}

#[test]
fn another_version() {
    check(
        r#"{"version": 2, "steps": [{"duration_s": 5}]}"#,
        r#"
error: version 2 is not known here
 --> x.json:1:13
  |
1 | {"version": 2, "steps": [{"duration_s": 5}]}
  |             ^ at version
  |
  = allowed: 1
"#,
    );
}

#[test]
fn a_key_given_twice() {
    check(
        r#"{"version": 1, "seed": 1,
 "seed": 2, "steps": [{"duration_s": 5}]}"#,
        r#"
error: key "seed" is given twice
 --> x.json:2:2
  |
1 | {"version": 1, "seed": 1,
  |                ------ given here
2 |  "seed": 2, "steps": [{"duration_s": 5}]}
  |  ^^^^^^ at seed
"#,
    );
}

#[test]
fn a_repeat_of_none() {
    check(
        r#"{"version": 1, "steps": [{"repeat": 0, "steps": [{"duration_s": 5}]}]}"#,
        r#"
error: repeat can't be 0
 --> x.json:1:37
  |
1 | {"version": 1, "steps": [{"repeat": 0, "steps": [{"duration_s": 5}]}]}
  |                                     ^ at steps[0].repeat
  |
  = allowed: a whole number, 1 to 4294967295
"#,
    );
}

#[test]
fn a_repeat_without_steps() {
    check(
        r#"{"version": 1, "steps": [{"repeat": 2}]}"#,
        r#"
error: "steps" is missing
 --> x.json:1:26
  |
1 | {"version": 1, "steps": [{"repeat": 2}]}
  |                          ^^^^^^^^^^^^^ at steps[0]
  |
  = allowed: "steps": [a list of steps] beside "repeat"
"#,
    );
}

#[test]
fn a_repeat_with_a_duration() {
    check(
        r#"{"version": 1, "steps": [{"repeat": 2, "duration_s": 5, "steps": [{"duration_s": 5}]}]}"#,
        r#"
error: unknown key "duration_s"
 --> x.json:1:40
  |
1 | {"version": 1, "steps": [{"repeat": 2, "duration_s": 5, "steps": [{"duration_s": 5}]}]}
  |                                        ^^^^^^^^^^^^ at steps[0].duration_s
  |
  = allowed: "repeat", "steps"
"#,
    );
}

#[test]
fn repeats_nested_too_deeply() {
    check(
        r#"{"version": 1, "steps": [{"repeat": 2, "steps": [{"repeat": 2, "steps": [{"repeat": 2, "steps": [{"repeat": 2, "steps": [{"repeat": 2, "steps": [{"duration_s": 5}]}]}]}]}]}]}"#,
        r#"
error: repeats are nested too deeply
 --> x.json:1:123
  |
1 | ...teps": [{"repeat": 2, "steps": [{"repeat": 2, "steps": [{"duration_s": 5}]}]}]}]}]}]}
  |                                     ^^^^^^^^ at steps[0].steps[0].steps[0].steps[0].steps[0].repeat
  |
  = allowed: repeats in repeats up to 4 deep
"#,
    );
}

#[test]
fn longer_than_time() {
    check(
        r#"{"version": 1, "steps": [{"repeat": 4294967295, "steps": [{"repeat": 4294967295, "steps": [{"duration_s": 1}]}]}]}"#,
        r#"
error: the script plays for too long
 --> x.json:1:16
  |
1 | {"version": 1, "steps": [{"repeat": 4294967295, "steps": [{"repeat": 4294967295, "steps": [{"duration_s": 1}]}]}]}
  |                ^^^^^^^ at steps
  |
  = allowed: at most 136 years, the longest time of 64 bits
"#,
    );
}

#[test]
fn several_at_once() {
    check(
        r#"{"version": 1, "steps": [
 {"duration_s": 0, "rhythm": "sinsu"},
 {"duration_s": 5, "rate_bpm": 4}
]}"#,
        r#"
error: duration_s can't be 0 s
 --> x.json:2:17
  |
2 |  {"duration_s": 0, "rhythm": "sinsu"},
  |                 ^ at steps[0].duration_s
  |
  = allowed: seconds from 0.01 to 4294967295, or "hold"

error: unknown rhythm "sinsu"
 --> x.json:2:30
  |
2 |  {"duration_s": 0, "rhythm": "sinsu"},
  |                              ^^^^^^^ at steps[0].rhythm
  |
  = help: did you mean "sinus"?
  = allowed: the words that `pulsewright catalog rhythms` lists

error: rate_bpm can't be 4 bpm
 --> x.json:3:32
  |
3 |  {"duration_s": 5, "rate_bpm": 4}
  |                                ^ at steps[1].rate_bpm
  |
  = allowed: 5 to 400 bpm

3 problems in x.json
"#,
    );
}
