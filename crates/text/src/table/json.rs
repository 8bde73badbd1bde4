//! JSON as a table.

use super::{Body, Each, InputPosition, Table, TableProblem, TableRow};
use crate::fit;
use crate::json::check;
use crate::node::{JsonNode, NodeKind};
use crate::number::counted;
use csv::StringRecord;
use std::ops::Range;

/// Members that hold the list when the document is an object.
const LISTS: [&str; 7] = ["beats", "pulses", "breaths", "readings", "alarms", "episodes", "annotations"];

/// Most columns that a list of objects makes: every row may have them all, so that a short text of objects with a name
/// each would fill the memory.
const MOST_COLUMNS: usize = 256;

/// Most members of an object that is looked at.
const MOST_MEMBERS: usize = 1000;

pub(super) fn parse(text: String) -> Result<Table, TableProblem> {
    check(&text)
        .map_err(|broken| TableProblem::new(InputPosition::LineColumn(broken.line, broken.column), broken.what))?;
    let (columns, body) = shape(&text)?;
    Table::new(text, columns, false, body)
}

type Shape = (Option<Vec<String>>, Body);

fn shape(text: &str) -> Result<Shape, TableProblem> {
    let whole = |what: String| TableProblem::new(InputPosition::Whole, what);
    let root = JsonNode::root(text).map_err(|error| whole(error.to_string()))?;
    match root.kind() {
        NodeKind::List => list(root),
        NodeKind::Object => {
            let (members, _) = root.object(MOST_MEMBERS).unwrap_or_default();
            let named = LISTS.iter().find_map(|name| members.iter().find(|member| member.key == *name));
            match named.map(|member| (member, member.value.kind())) {
                None => lists(root),
                Some((member, NodeKind::List)) => list(member.value),
                Some((member, NodeKind::Object)) => lists(member.value),
                Some((member, kind)) => Err(whole(format!("'{}' must be an array, found {}", member.key, noun(kind)))),
            }
        }
        kind => Err(whole(format!("expected an array or an object, found {}", noun(kind)))),
    }
}

/// An object of lists: each member a column.
fn lists(object: JsonNode<'_>) -> Result<Shape, TableProblem> {
    let whole = |what: String| TableProblem::new(InputPosition::Whole, what);
    let (members, _) = object.object(MOST_MEMBERS).unwrap_or_default();
    let mut columns: Vec<(String, Range<usize>)> = Vec::new();
    let mut rows: Option<usize> = None;
    for member in members.into_iter().filter(|member| member.value.kind() == NodeKind::List) {
        let count = member.value.list(0).map_or(0, |(_, count)| count);
        if let Some(rows) = rows.filter(|rows| *rows != count) {
            let name = fit::cut(&member.key, 40).into_owned();
            return Err(whole(format!("array '{name}' has {}, another has {rows}", counted(count as u64, "item"))));
        }
        rows = Some(count);
        columns.push((member.key, member.value.span()));
        if columns.len() > MOST_COLUMNS {
            return Err(whole(format!("more than {MOST_COLUMNS} arrays")));
        }
    }
    if columns.is_empty() {
        return Err(whole(format!("no array found; expected one of {} or an array per column", LISTS.join(", "))));
    }
    let (names, ranges) = columns.into_iter().unzip();
    Ok((Some(names), Body::Columns(ranges)))
}

/// A list of numbers or of objects; the columns are the members of all objects.
fn list(node: JsonNode<'_>) -> Result<Shape, TableProblem> {
    let mut columns: Vec<String> = Vec::new();
    let mut objects = None;
    let mut item = 0;
    node.each(&mut |value| {
        item += 1;
        let place = InputPosition::Item(item);
        let kind = value.kind();
        let is_object = kind == NodeKind::Object;
        if *objects.get_or_insert(is_object) != is_object || !matches!(kind, NodeKind::Object | NodeKind::Number) {
            let expected = if objects == Some(true) { "an object" } else { "a number" };
            let what = format!("expected {expected} like the items before, found {}", noun(kind));
            return Err(TableProblem::new(place, what));
        }
        for member in value.object(MOST_MEMBERS).map(|(members, _)| members).unwrap_or_default() {
            if !columns.contains(&member.key) {
                columns.push(member.key);
            }
            if columns.len() > MOST_COLUMNS {
                let what = format!("the objects have more than {MOST_COLUMNS} different members");
                return Err(TableProblem::new(place, what));
            }
        }
        Ok(())
    })?;
    // An empty list is a detector that found nothing: a table without rows, whatever its columns.
    let columns = (objects != Some(false)).then_some(columns);
    Ok((columns, Body::List(node.span())))
}

/// The rows of a list of numbers, or of objects whose members go under `columns`.
pub(super) fn list_rows(
    text: &str,
    list: &Range<usize>,
    columns: Option<&[String]>,
    each: Each<'_>,
) -> Result<(), TableProblem> {
    let mut cells = StringRecord::new();
    let mut item = 0;
    JsonNode::cut(text, list).each(&mut |value| {
        item += 1;
        let place = InputPosition::Item(item);
        cells.clear();
        match columns {
            None => cells.push_field(&cell(value, place)?),
            Some(columns) => {
                let (members, _) = value.object(MOST_MEMBERS).unwrap_or_default();
                for name in columns {
                    let member = members.iter().find(|member| member.key == *name);
                    cells.push_field(&member.map_or(Ok(String::new()), |member| cell(member.value, place))?);
                }
            }
        }
        each(&TableRow { place, cells: &cells })
    })
}

/// The rows of lists that stand side by side.
pub(super) fn column_rows(text: &str, lists: &[Range<usize>], each: Each<'_>) -> Result<(), TableProblem> {
    // Where each item is: eight bytes for one that takes two at least.
    let mut columns: Vec<Vec<(u32, u32)>> = Vec::with_capacity(lists.len());
    for list in lists {
        let mut items = Vec::new();
        JsonNode::cut(text, list).each(&mut |value| {
            let span = value.span();
            items.push((span.start as u32, span.end as u32));
            Ok::<(), TableProblem>(())
        })?;
        columns.push(items);
    }
    let rows = columns.first().map_or(0, Vec::len);
    let mut cells = StringRecord::new();
    for row in 0..rows {
        let place = InputPosition::Item(row as u64 + 1);
        cells.clear();
        for items in &columns {
            let (start, end) = items.get(row).copied().unwrap_or_default();
            cells.push_field(&cell(JsonNode::cut(text, &(start as usize..end as usize)), place)?);
        }
        each(&TableRow { place, cells: &cells })?;
    }
    Ok(())
}

fn cell(value: JsonNode<'_>, place: InputPosition) -> Result<String, TableProblem> {
    match value.kind() {
        NodeKind::Null => Ok(String::new()),
        NodeKind::Number | NodeKind::Bool => Ok(value.raw().to_owned()),
        NodeKind::Text => value.text().ok_or_else(|| TableProblem::new(place, "text with half a character")),
        kind => Err(TableProblem::new(place, format!("expected a number or a text, found {}", noun(kind)))),
    }
}

fn noun(kind: NodeKind) -> &'static str {
    match kind {
        NodeKind::List => "an array",
        NodeKind::Text => "a text",
        NodeKind::Bool => "a true or false",
        kind => kind.noun(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::cells;
    use super::*;

    fn parse(text: &str) -> Result<Table, TableProblem> {
        super::parse(text.to_owned())
    }

    #[test]
    fn accepted_shapes() {
        for text in [
            r#"[{"time_s":0.5,"code":"N"},{"time_s":1.25}]"#,
            r#"{"time_s":[0.5,1.25],"code":["N",null],"made_by":"us"}"#,
            r#"{"beats":[{"time_s":0.5,"code":"N"},{"code":null,"time_s":1.25}]}"#,
            r#"{"beats":{"time_s":[0.5,1.25],"code":["N",null]}}"#,
        ] {
            let table = parse(text).expect("reads");
            let rows = cells(&table);
            let (time, code) = (table.column(&["time_s"]).unwrap(), table.column(&["code"]).unwrap());
            assert_eq!((rows[0][time].as_str(), rows[1][time].as_str()), ("0.5", "1.25"), "{text}");
            assert_eq!((rows[0][code].as_str(), rows[1][code].as_str()), ("N", ""), "{text}");
        }
        let bare = parse("[1, 2.5]").expect("reads");
        assert_eq!((bare.columns.clone(), cells(&bare).len()), (None, 2));
        assert!(parse("[]").expect("reads").is_blank());
    }

    #[test]
    fn objects_that_have_nothing_in_common_are_refused_early() {
        let objects: Vec<String> = (0..20_000).map(|i| format!("{{\"{i}\":1}}")).collect();
        let problem = parse(&format!("[{}]", objects.join(","))).expect_err("must fail");
        assert_eq!(problem.place, InputPosition::Item(MOST_COLUMNS as u64 + 1));
    }

    #[test]
    fn broken_texts_say_where() {
        let place = |text: &str| parse(text).expect_err("must fail").place;
        assert_eq!(place("[1,\n2,,3]"), InputPosition::LineColumn(2, 3));
        assert_eq!(place("[1, \"x\"]"), InputPosition::Item(2));
        assert_eq!(place("[{\"a\":1}, 3]"), InputPosition::Item(2));
        assert_eq!(place("7"), InputPosition::Whole);
        assert_eq!(place("{\"a\":[1],\"b\":[1,2]}"), InputPosition::Whole);
        assert_eq!(place("{}"), InputPosition::Whole);
        assert_eq!(place("[{\"a\":1,\"a\":2}]"), InputPosition::LineColumn(1, 11));
        assert!(parse(&"[".repeat(100_000)).is_err());
    }
}
