//! The crates: which may use which, as the table of DEVELOPERS.md says.

use super::source::root;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

/// Names of crates, and of the crates that each may use or uses.
pub type Arrows = BTreeMap<String, BTreeSet<String>>;

const OURS: &str = "pulsewright-";

/// The crates' table in the text of DEVELOPERS.md: `core`'s own dependencies are not ours and do not count.
pub fn allowed(text: &str) -> Arrows {
    let rows: Vec<(String, &str)> = text
        .lines()
        .skip_while(|line| !line.starts_with("| crate |"))
        .skip(2)
        .take_while(|line| line.starts_with('|'))
        .filter_map(|line| {
            let mut cells = line.trim_matches('|').split(" | ");
            let name = cells.next()?.trim().trim_matches('`').to_owned();
            Some((name, cells.last()?.trim()))
        })
        .collect();
    let names: BTreeSet<String> = rows.iter().map(|(name, _)| name.clone()).collect();
    rows.iter()
        .map(|(name, uses)| {
            let mut uses: BTreeSet<String> = if *uses == "all of them" {
                names.clone()
            } else {
                // Brackets hold the reason, and may name other crates.
                let plain = uses.split('(').flat_map(|part| part.rsplit(')').next()).collect::<String>();
                plain.split([',', ' ', '`', ';']).filter(|word| names.contains(*word)).map(str::to_owned).collect()
            };
            uses.remove(name);
            (name.clone(), uses)
        })
        .collect()
}

/// The packages of a workspace, as cargo reads their manifests.
pub fn packages(manifest: &str) -> Vec<Value> {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--no-deps", "--offline", "--format-version", "1", "--manifest-path"])
        .arg(root().join(manifest))
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let metadata: Value = serde_json::from_slice(&output.stdout).expect("cargo prints JSON");
    metadata["packages"].as_array().cloned().unwrap_or_default()
}

/// A package's name in the table.
pub fn short_name(package: &Value) -> String {
    let name = package["name"].as_str().unwrap_or_default();
    match name.strip_prefix(OURS) {
        Some(short) => short.to_owned(),
        None => "cli".to_owned(),
    }
}

/// The dependencies of a package that ship with it.
pub fn dependencies(package: &Value) -> impl Iterator<Item = &str> {
    let all = package["dependencies"].as_array().into_iter().flatten();
    all.filter(|dependency| dependency["kind"].is_null()).filter_map(|dependency| dependency["name"].as_str())
}

/// Our crates that each of these packages uses.
pub fn used(packages: &[Value]) -> Arrows {
    packages
        .iter()
        .map(|package| {
            let ours = dependencies(package).filter_map(|name| name.strip_prefix(OURS)).map(str::to_owned).collect();
            (short_name(package), ours)
        })
        .collect()
}

/// Arrows that the table does not have, and arrows of the table that no crate has; `broad` crates may use all of them.
pub fn check(allowed: &Arrows, used: &Arrows, broad: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    for (name, theirs) in used {
        let Some(may) = allowed.get(name) else {
            found.push(format!("the crate `{name}` is not in the table"));
            continue;
        };
        found.extend(
            theirs.difference(may).map(|other| format!("`{name}` uses `{other}`, which the table does not allow")),
        );
        if !broad.contains(&name.as_str()) {
            found.extend(may.difference(theirs).map(|other| format!("`{name}` may use `{other}` and does not")));
        }
    }
    found
}
