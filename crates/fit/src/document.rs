//! A body's document as text: a list of numbers on a line of its own.

use serde_json::Value;

/// The text of a document, with a line break at its end.
pub fn text(document: &Value) -> String {
    let mut text = String::new();
    put(&mut text, document, 0);
    text.push('\n');
    text
}

fn put(text: &mut String, value: &Value, depth: usize) {
    let within = "  ".repeat(depth + 1);
    match value {
        Value::Object(entries) if !entries.is_empty() => {
            text.push('{');
            for (i, (key, value)) in entries.iter().enumerate() {
                text.push_str(if i == 0 { "\n" } else { ",\n" });
                text.push_str(&format!("{within}{}: ", Value::from(key.as_str())));
                put(text, value, depth + 1);
            }
            text.push_str(&format!("\n{}}}", "  ".repeat(depth)));
        }
        Value::Array(values) if values.iter().all(Value::is_number) => {
            let numbers: Vec<String> = values.iter().map(Value::to_string).collect();
            text.push_str(&format!("[{}]", numbers.join(", ")));
        }
        Value::Array(values) => {
            text.push('[');
            for (i, value) in values.iter().enumerate() {
                text.push_str(if i == 0 { "\n" } else { ",\n" });
                text.push_str(&within);
                put(text, value, depth + 1);
            }
            text.push_str(&format!("\n{}]", "  ".repeat(depth)));
        }
        value => text.push_str(&value.to_string()),
    }
}

#[cfg(test)]
mod tests {
    use super::text;
    use serde_json::{Value, json};

    #[test]
    fn numbers_stand_on_a_line_and_the_text_reads_back_as_the_document() {
        let document = json!({"name": "a \"b\"", "list": [{"uv": [1, -2, 3.5]}, {}], "none": [], "on": true});
        let written = text(&document);
        assert!(written.contains("\"uv\": [1, -2, 3.5]") && written.ends_with("}\n"), "{written}");
        assert_eq!(serde_json::from_str::<Value>(&written).expect("JSON"), document);
    }
}
