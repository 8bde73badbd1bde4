//! Names of types: each says what the type holds, also away from its module.

use super::source::{Crate, shown};
use std::collections::{BTreeMap, BTreeSet};
use syn::{Attribute, Ident, Item, Visibility};

/// Names that say too little: participles, and words for anything.
const TOO_LITTLE: [&str; 30] = [
    "Asked", "Bell", "Beside", "Desk", "Did", "Ended", "Form", "Found", "Heard", "Holds", "Kept", "Kind", "Left",
    "Made", "Making", "Named", "Over", "Own", "Place", "Planned", "Played", "Row", "Said", "Served", "Shared", "Shown",
    "Tail", "Thing", "Typed", "What",
];

/// Names that may stand in several crates; the number can only fall.
const MOST_SHARED: usize = 10;

/// A name with the place where it is declared.
pub struct Name {
    pub krate: String,
    pub file: String,
    pub name: String,
}

fn for_tests(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        let text = quote::ToTokens::to_token_stream(&attribute.meta).to_string();
        text.starts_with("cfg") && text.contains("test")
    })
}

/// The types of items that others may use: public ones, and those of a crate or a module.
fn take(items: &[Item], found: &mut Vec<String>) {
    let mut keep = |visibility: &Visibility, name: &Ident| {
        if !matches!(visibility, Visibility::Inherited) {
            found.push(name.to_string());
        }
    };
    for item in items {
        match item {
            Item::Struct(item) => keep(&item.vis, &item.ident),
            Item::Enum(item) => keep(&item.vis, &item.ident),
            Item::Union(item) => keep(&item.vis, &item.ident),
            Item::Trait(item) => keep(&item.vis, &item.ident),
            Item::Type(item) => keep(&item.vis, &item.ident),
            _ => {}
        }
    }
    for item in items {
        if let Item::Mod(item) = item
            && let (false, Some((_, items))) = (for_tests(&item.attrs), &item.content)
        {
            take(items, found);
        }
    }
}

/// The types that a text of Rust declares for others.
pub fn of_text(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    take(&syn::parse_file(text).expect("a file of Rust").items, &mut found);
    found
}

/// The types of crates.
pub fn of_crates(crates: &[Crate]) -> Vec<Name> {
    let files = crates.iter().flat_map(|one| &one.files).map(|file| shown(&file.path));
    let files: BTreeSet<String> = files.filter(|path| path.starts_with("crates/")).collect();
    let names = files.into_iter().flat_map(|file| {
        let krate = file.split('/').nth(1).unwrap_or_default().to_owned();
        let text = std::fs::read_to_string(super::root().join(&file)).expect("it was read before");
        of_text(&text).into_iter().map(move |name| Name { krate: krate.clone(), file: file.clone(), name })
    });
    names.collect()
}

/// Names that say too little.
pub fn too_little(names: &[Name]) -> Vec<String> {
    let found = names.iter().filter(|name| TOO_LITTLE.contains(&name.name.as_str()));
    found.map(|name| format!("{}: the name `{}` does not say what the type holds", name.file, name.name)).collect()
}

/// The names that stand in several crates, when they are more than `most`, or fewer.
pub fn shared(names: &[Name], most: usize) -> Vec<String> {
    let mut crates: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for name in names {
        crates.entry(&name.name).or_default().insert(&name.krate);
    }
    crates.retain(|_, crates| crates.len() > 1);
    if crates.len() == most {
        return Vec::new();
    }
    let mut found = vec![format!("{} names of types stand in several crates, not {most}:", crates.len())];
    found.extend(crates.iter().map(|(name, crates)| format!("  {name}: {crates:?}")));
    found
}

/// Names of types that break a rule.
pub fn check(crates: &[Crate]) -> Vec<String> {
    let names = of_crates(crates);
    assert!(names.len() > 500, "the types were not found");
    let mut found = too_little(&names);
    found.extend(shared(&names, MOST_SHARED));
    found
}
