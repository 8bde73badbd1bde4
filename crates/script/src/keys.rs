//! The keys of a step as a tree: the dotted paths of the core's field table, and the words beside it.

use pulsewright_core::settings::Field;

/// A key that the field table puts at some level of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Child {
    /// The key.
    pub(crate) key: &'static str,
    /// The content behind it.
    pub(crate) what: Branch,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Branch {
    /// A number or a ramp.
    Field(Field),
    /// More keys, below this path with its dot.
    Group(&'static str),
}

/// Keys of a step that are not fields, in the order in which they are written.
pub(crate) const STEP_WORDS: [&str; 11] =
    ["name", "duration_s", "rhythm", "body", "beats", "series", "recording", "noise", "expect", "cautions", "prepare"];

/// The word that plays every rhythm in turn.
pub(crate) const EACH: &str = "each";

/// The keys below `group` ("" for the step itself, else a path with its dot), in the order of the table.
pub(crate) fn children(group: &str) -> Vec<Child> {
    let mut found: Vec<Child> = Vec::new();
    for &field in Field::ALL {
        let path = field.info().path;
        let Some(rest) = path.strip_prefix(group) else {
            continue;
        };
        let key = rest.split('.').next().unwrap_or(rest);
        let child = Child { key, what: branch(field, group.len() + key.len()) };
        if !found.contains(&child) {
            found.push(child);
        }
    }
    found
}

/// The content behind `key` below `group`.
pub(crate) fn find(group: &str, key: &str) -> Option<Branch> {
    let matches = |field: &&Field| {
        let rest = field.info().path.strip_prefix(group).and_then(|rest| rest.strip_prefix(key));
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
    };
    // No path has an empty part, or a dot in one.
    if key.is_empty() || key.contains('.') {
        return None;
    }
    Field::ALL.iter().find(matches).map(|field| branch(*field, group.len() + key.len()))
}

/// The content behind the part of a field's path that ends at `end`.
fn branch(field: Field, end: usize) -> Branch {
    match field.info().path.get(..end + 1) {
        Some(below) => Branch::Group(below),
        None => Branch::Field(field),
    }
}

/// The field with this path.
pub(crate) fn field(path: &str) -> Option<Field> {
    Field::ALL.iter().copied().find(|field| field.info().path == path)
}

/// The last part of a field's path: the key that carries its unit.
pub(crate) fn leaf(field: Field) -> &'static str {
    let path = field.info().path;
    path.rsplit('.').next().unwrap_or(path)
}
