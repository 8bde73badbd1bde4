//! Broken files, each with the whole message that its reader gets.

mod rendered;

use rendered::check;

#[test]
fn an_empty_file() {
    check(
        "",
        r"
error: the file is empty
 |
 = note: in x.json
 = allowed: a script document; docs/script.md shows one
",
    );
}

#[test]
fn a_file_of_blanks() {
    check(
        " \n\t\n",
        r"
error: the file is empty
 |
 = note: in x.json
 = allowed: a script document; docs/script.md shows one
",
    );
}

#[test]
fn a_truncated_file() {
    check(
        r#"{"version": 1,
 "steps": [{"duration_s": 5"#,
        r#"
error: the file ends too early (EOF while parsing an object)
 --> x.json:2:27
  |
2 |  "steps": [{"duration_s": 5
  |                           ^
  |
  = allowed: a whole document; was it cut off?
"#,
    );
}

#[test]
fn a_trailing_comma() {
    check(
        r#"{"version": 1,
 "steps": [{"duration_s": 5},]}"#,
        r#"
error: a comma before the end of a list or object
 --> x.json:2:30
  |
2 |  "steps": [{"duration_s": 5},]}
  |                              ^
  |
  = allowed: commas only between two of its members
"#,
    );
}

#[test]
fn a_comment() {
    check(
        r#"{"version": 1, // first
 "steps": []}"#,
        r#"
error: JSON has no comments
 --> x.json:1:16
  |
1 | {"version": 1, // first
  |                ^
  |
  = allowed: a "notes" text at the top of the document
"#,
    );
}

#[test]
fn single_quotes() {
    check(
        r"{'version': 1}",
        r"
error: single quotes around text
 --> x.json:1:2
  |
1 | {'version': 1}
  |  ^
  |
  = allowed: double quotes
",
    );
}

#[test]
fn not_a_number() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": NaN}]}"#,
        r#"
error: not a number that JSON has
 --> x.json:1:41
  |
1 | {"version": 1, "steps": [{"duration_s": NaN}]}
  |                                         ^
  |
  = allowed: finite numbers such as 72 or 0.5
"#,
    );
}

#[test]
fn infinity() {
    check(
        r#"{"version": 1, "steps": [{"duration_s": -Infinity}]}"#,
        r#"
error: not a number that JSON has
 --> x.json:1:42
  |
1 | {"version": 1, "steps": [{"duration_s": -Infinity}]}
  |                                          ^
  |
  = allowed: finite numbers such as 72 or 0.5
"#,
    );
}

#[test]
fn two_documents() {
    check(
        r#"{"version": 1}
{"version": 1}"#,
        r#"
error: broken JSON: trailing characters
 --> x.json:2:1
  |
2 | {"version": 1}
  | ^
"#,
    );
}

#[test]
fn something_else() {
    check(
        r"time,lead I
0,0.1
",
        r"
error: the file is not JSON
 --> x.json:1:2
  |
1 | time,lead I
  |  ^
  |
  = allowed: a script document, which starts with {
",
    );
}
