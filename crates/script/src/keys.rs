//! The keys of a step as a tree: what the core's field table makes of its dotted paths, and the words beside it.

use pulsewright_core::settings::Field;

/// A key that the field table puts at some level of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Child {
    /// The key.
    pub(crate) key: &'static str,
    /// What stands behind it.
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
pub(crate) const STEP_WORDS: [&str; 4] = ["name", "duration_s", "rhythm", "body"];

/// The keys below `group` ("" for the step itself, else a path with its dot), in the order of the table.
pub(crate) fn children(group: &str) -> Vec<Child> {
    let mut found: Vec<Child> = Vec::new();
    for &field in Field::ALL {
        let path = field.info().path;
        let Some(rest) = path.strip_prefix(group) else {
            continue;
        };
        let child = match rest.find('.') {
            None => Child { key: rest, what: Branch::Field(field) },
            Some(dot) => {
                let (key, _) = rest.split_at(dot);
                let (below, _) = path.split_at(group.len() + dot + 1);
                Child { key, what: Branch::Group(below) }
            }
        };
        if !found.contains(&child) {
            found.push(child);
        }
    }
    found
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
