//! JSON as a table.
//!
//! Accepted: an array of numbers; an array of objects; an object of equally long arrays; an object in which
//! one member is such an array (`beats`, `pulses`, `breaths`, `readings`, `alarms`, `episodes`).

use serde_json::{Map, Value};

use super::table::{Row, Table};
use super::{Place, Problem};

/// Members that hold the list when the document is an object.
const LISTS: [&str; 7] = ["beats", "pulses", "breaths", "readings", "alarms", "episodes", "annotations"];

/// Most columns that an array of objects makes: every row may have them all, so that a short text of objects with a name
/// each would fill the memory.
const MOST_COLUMNS: usize = 256;

/// Reads a JSON text.
pub fn parse(text: &str) -> Result<Table, Problem> {
    let value: Value = serde_json::from_str(text).map_err(|error| {
        // The position stands in the place; the text repeats it.
        let what = error.to_string();
        let what = what.split(" at line ").next().unwrap_or(&what).to_owned();
        Problem::new(Place::LineColumn(error.line(), error.column()), what)
    })?;
    match value {
        Value::Array(items) => list(items, None),
        Value::Object(members) => object(members),
        other => Err(Problem::new(Place::Whole, format!("expected an array or an object, found {}", kind(&other)))),
    }
}

fn object(mut members: Map<String, Value>) -> Result<Table, Problem> {
    for name in LISTS {
        if let Some(value) = members.remove(name) {
            return match value {
                Value::Array(items) => list(items, None),
                Value::Object(members) => arrays(members),
                other => Err(Problem::new(Place::Whole, format!("'{name}' must be an array, found {}", kind(&other)))),
            };
        }
    }
    arrays(members)
}

/// An object of arrays: each member a column.
fn arrays(members: Map<String, Value>) -> Result<Table, Problem> {
    let mut columns: Vec<(String, Vec<Value>)> = Vec::new();
    for (name, value) in members {
        if let Value::Array(items) = value {
            columns.push((name, items));
        }
    }
    let rows = columns.iter().map(|(_, items)| items.len()).max().unwrap_or(0);
    if let Some((name, items)) = columns.iter().find(|(_, items)| items.len() != rows) {
        let what = format!("array '{name}' has {} items, another has {rows}", items.len());
        return Err(Problem::new(Place::Whole, what));
    }
    if columns.is_empty() {
        let what = format!("no array found; expected one of {} or an array per column", LISTS.join(", "));
        return Err(Problem::new(Place::Whole, what));
    }
    let mut table = Table { columns: Some(columns.iter().map(|(name, _)| name.clone()).collect()), ..Table::default() };
    for row in 0..rows {
        let place = Place::Item(row as u64 + 1);
        let cells = columns.iter().map(|(_, items)| items.get(row).map_or(Ok(String::new()), |item| cell(item, place)));
        table.rows.push(Row { place, cells: cells.collect::<Result<_, _>>()? });
    }
    Ok(table)
}

/// An array of numbers or of objects.
fn list(items: Vec<Value>, columns: Option<Vec<String>>) -> Result<Table, Problem> {
    let mut columns = columns.unwrap_or_default();
    let objects = items.first().is_some_and(Value::is_object);
    let mut rows = Vec::with_capacity(items.len());
    for (index, item) in items.iter().enumerate() {
        let place = Place::Item(index as u64 + 1);
        let cells = match item {
            Value::Object(members) if objects => {
                for name in members.keys() {
                    if !columns.iter().any(|column| column == name) {
                        columns.push(name.clone());
                    }
                    if columns.len() > MOST_COLUMNS {
                        let what = format!("the objects have more than {MOST_COLUMNS} different members");
                        return Err(Problem::new(place, what));
                    }
                }
                let cells = columns.iter().map(|name| members.get(name).map_or(Ok(String::new()), |v| cell(v, place)));
                cells.collect::<Result<_, _>>()?
            }
            Value::Number(_) if !objects => [cell(item, place)?].into_iter().collect(),
            other => {
                let expected = if objects { "an object" } else { "a number" };
                return Err(Problem::new(
                    place,
                    format!("expected {expected} like the items before, found {}", kind(other)),
                ));
            }
        };
        rows.push(Row { place, cells });
    }
    // An empty array is a detector that found nothing: a table without rows, whatever its columns.
    let columns = (objects || items.is_empty()).then_some(columns);
    Ok(Table { columns, rows, decimal_comma: false })
}

fn cell(value: &Value, place: Place) -> Result<String, Problem> {
    match value {
        Value::Null => Ok(String::new()),
        Value::String(text) => Ok(text.clone()),
        Value::Number(number) => Ok(number.to_string()),
        Value::Bool(flag) => Ok(flag.to_string()),
        other => Err(Problem::new(place, format!("expected a number or a text, found {}", kind(other)))),
    }
}

fn kind(value: &Value) -> &'static str {
    match value {
        Value::Null => "null",
        Value::Bool(_) => "a true or false",
        Value::Number(_) => "a number",
        Value::String(_) => "a text",
        Value::Array(_) => "an array",
        Value::Object(_) => "an object",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn accepted_shapes() {
        for text in [
            r#"[{"time_s":0.5,"code":"N"},{"time_s":1.25}]"#,
            r#"{"time_s":[0.5,1.25],"code":["N",null],"made_by":"us"}"#,
            r#"{"beats":[{"time_s":0.5,"code":"N"},{"code":null,"time_s":1.25}]}"#,
            r#"{"beats":{"time_s":[0.5,1.25],"code":["N",null]}}"#,
        ] {
            let table = parse(text).expect("reads");
            let time = table.column(&["time_s"]).expect("has times");
            let code = table.column(&["code"]).expect("has codes");
            assert_eq!(table.number(&table.rows[1], time), Ok(Some(1.25)), "{text}");
            assert_eq!((table.rows[0].cell(code), table.rows[1].cell(code)), ("N", ""), "{text}");
        }
        let bare = parse("[1, 2.5]").expect("reads");
        assert_eq!((bare.columns.as_ref(), bare.rows.len()), (None, 2));
        assert_eq!(parse("[]").expect("reads").rows.len(), 0);
    }

    #[test]
    fn objects_that_have_nothing_in_common_are_refused_early() {
        let objects: Vec<String> = (0..20_000).map(|i| format!("{{\"{i}\":1}}")).collect();
        let problem = parse(&format!("[{}]", objects.join(","))).expect_err("must fail");
        assert_eq!(problem.place, Place::Item(MOST_COLUMNS as u64 + 1));
    }

    #[test]
    fn broken_texts_say_where() {
        let place = |text| parse(text).expect_err("must fail").place;
        assert_eq!(place("[1,\n2,,3]"), Place::LineColumn(2, 3));
        assert_eq!(place("[1, \"x\"]"), Place::Item(2));
        assert_eq!(place("[{\"a\":1}, 3]"), Place::Item(2));
        assert_eq!(place("7"), Place::Whole);
        assert_eq!(place("{\"a\":[1],\"b\":[1,2]}"), Place::Whole);
        assert_eq!(place("{}"), Place::Whole);
        assert!(parse(&"[".repeat(100_000)).is_err());
    }
}
