//! Circles of files: each of them imports the others, by way of others or not.

use super::source::{Crate, shown};
use std::collections::BTreeSet;

/// Pairs of files that import each other, with the reason.
const PAIRS: [([&str; 2], &str); 4] = [
    (
        ["crates/files/src/atomic.rs", "crates/files/src/atomic/claim.rs"],
        "a claim returns the transaction's errors, and the transaction holds its claim",
    ),
    (
        ["crates/firmware/src/host_lines.rs", "crates/firmware/src/main.rs"],
        "the board has one line writer, which its main program and the lines of the host share",
    ),
    (
        ["crates/rig/src/read.rs", "crates/rig/src/read/outputs.rs"],
        "the outputs of a rig are read with the number reader of its document",
    ),
    (
        ["crates/text/src/table.rs", "crates/text/src/table/json.rs"],
        "a table in JSON fills the rows of the table of all formats",
    ),
];

/// Circles of more than two files, pairs without a reason, and reasons without a pair.
pub fn check(crates: &[Crate]) -> Vec<String> {
    let mut found = Vec::new();
    let mut met = BTreeSet::new();
    for (one, circle) in crates.iter().flat_map(|one| one.circles().into_iter().map(move |circle| (one, circle))) {
        let names: Vec<String> = circle.iter().map(|i| shown(&one.files[*i].path)).collect();
        let pair = PAIRS.iter().position(|(files, _)| names.iter().all(|name| files.contains(&name.as_str())));
        match pair {
            Some(pair) => {
                met.insert(pair);
            }
            None => found.push(format!("a circle of {} files: {}", names.len(), names.join(", "))),
        }
    }
    let stale = (0..PAIRS.len()).filter(|i| !met.contains(i));
    found.extend(stale.map(|i| format!("no circle any more: {}", PAIRS[i].0.join(", "))));
    found
}
