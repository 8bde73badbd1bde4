//! Digests that show a change: of a script's text, of a plan, of a record.
//!
//! They show changes made by mistake or in passing. A forger can compute a digest anew; a copy of the digest kept elsewhere,
//! such as on the signed paper, hinders that.

use serde_json::Value;
use sha2::{Digest, Sha256};
use std::fmt::Write as _;

/// SHA-256 of bytes, as `sha256:` and 64 hexadecimal digits.
pub fn digest(bytes: &[u8]) -> String {
    let mut text = String::from("sha256:");
    for byte in Sha256::digest(bytes) {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
    }
    text
}

/// The one text of a JSON value: keys in order, no blanks, numbers as the shortest decimal, whole ones without a point.
///
/// Layout and key order of a file do not count; 120 and 120.0 are the same.
pub fn canonical(value: &Value) -> String {
    let mut text = String::new();
    write(value, &mut text);
    text
}

fn write(value: &Value, text: &mut String) {
    match value {
        Value::Object(map) => {
            let mut keys: Vec<&String> = map.keys().collect();
            keys.sort();
            text.push('{');
            for (index, key) in keys.into_iter().enumerate() {
                if index > 0 {
                    text.push(',');
                }
                write(&Value::String(key.clone()), text);
                text.push(':');
                write(map.get(key).unwrap_or(&Value::Null), text);
            }
            text.push('}');
        }
        Value::Array(list) => {
            text.push('[');
            for (index, item) in list.iter().enumerate() {
                if index > 0 {
                    text.push(',');
                }
                write(item, text);
            }
            text.push(']');
        }
        Value::Number(number) => {
            let value = number.as_f64().unwrap_or(f64::NAN);
            // A number beyond 2^53 stays as it was written.
            let whole = value.fract() == 0.0 && value.abs() < 9_007_199_254_740_992.0;
            let _ = match (whole, number.as_u64(), number.as_i64()) {
                (true, ..) => write!(text, "{}", value as i64),
                (false, Some(number), _) => write!(text, "{number}"),
                (false, _, Some(number)) => write!(text, "{number}"),
                _ => write!(text, "{value}"),
            };
        }
        other => text.push_str(&other.to_string()),
    }
}

/// The digest of an object without its own `digest`.
pub fn of_object(value: &Value) -> String {
    let mut value = value.clone();
    if let Value::Object(map) = &mut value {
        map.shift_remove("digest");
    }
    digest(canonical(&value).as_bytes())
}

/// The digest of a record: its plan counts by the plan's own digest.
pub fn of_record(record: &Value) -> String {
    let mut record = record.clone();
    if let Some(plan) = record.get_mut("plan") {
        *plan = plan.get("digest").cloned().unwrap_or(Value::Null);
    }
    of_object(&record)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn known_digest() {
        // FIPS 180-4, example of "abc" (value from memory).
        assert_eq!(digest(b"abc"), "sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn layout_does_not_count_and_content_does() {
        let one: Value = serde_json::from_str(r#"{"b": 120.0, "a": [1, "x\n\u00e9"], "digest": "q"}"#).unwrap();
        let other: Value = serde_json::from_str("{\"a\":[1.0,\"x\\n\u{e9}\"],\"b\":120}").unwrap();
        assert_eq!(of_object(&one), of_object(&other));
        assert_eq!(canonical(&other), "{\"a\":[1,\"x\\n\u{e9}\"],\"b\":120}");
        assert_ne!(of_object(&one), of_object(&json!({"a": [1, "x"], "b": 120})));
        assert_eq!(canonical(&json!({"n": 0.5, "s": 1_i64 - 3})), r#"{"n":0.5,"s":-2}"#);
    }

    #[test]
    fn a_plan_counts_by_its_digest() {
        let record = |plan: Value| json!({"record": 1, "plan": plan, "items": {}});
        let one = of_record(&record(json!({"title": "a", "digest": "d"})));
        assert_eq!(one, of_record(&record(json!({"title": "b", "digest": "d"}))));
        assert_ne!(one, of_record(&record(json!({"title": "a", "digest": "e"}))));
    }
}
