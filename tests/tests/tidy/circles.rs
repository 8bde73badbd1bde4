//! Circles of files: each of them imports the others, by way of others or not.

use super::source::{Crate, shown};
use std::collections::BTreeSet;

/// Circles that may stay for now: one of its files, how many files it has at most, the reason. The core has none.
const LARGE: [(&str, usize, &str); 5] = [
    (
        "crates/files/src/plan.rs",
        3,
        "the plan of a render asks each format for its parts, and a format its plan for scales",
    ),
    (
        "crates/record/src/judge.rs",
        7,
        "plans take the tolerance of verdicts, verdicts ask which instruments are missing",
    ),
    ("crates/score/src/read.rs", 6, "the readers take places and problems from the module that calls them"),
    ("crates/script/src/lib.rs", 17, "limits and documents are named at the crate's root"),
    ("crates/suite/src/lib.rs", 11, "plans, folders and errors are named at the crate's root"),
];

/// Pairs of files that import each other, with the reason.
const PAIRS: [([&str; 2], &str); 7] = [
    (
        ["crates/files/src/atomic.rs", "crates/files/src/atomic/claim.rs"],
        "a claim returns the transaction's errors, and the transaction holds its claim",
    ),
    (
        ["crates/files/src/truth.rs", "crates/files/src/truth/foreseen.rs"],
        "the tables of expectations quote cells as the tables of events do",
    ),
    (
        ["crates/firmware/src/host_lines.rs", "crates/firmware/src/main.rs"],
        "the board has one line writer, which its main program and the lines of the host share",
    ),
    (
        ["crates/record/src/session.rs", "crates/record/src/session/asking.rs"],
        "the questions of a session end with the errors of the session",
    ),
    (
        ["crates/rig/src/read.rs", "crates/rig/src/read/outputs.rs"],
        "the outputs of a rig are read with the number reader of its document",
    ),
    (
        ["crates/score/src/limits.rs", "crates/score/src/report.rs"],
        "a report has the verdict of its limits, and limits read the figures of a report",
    ),
    (
        ["crates/text/src/table.rs", "crates/text/src/table/json.rs"],
        "a table in JSON fills the rows of the table of all formats",
    ),
];

/// Circles without a reason, and reasons without a circle.
pub fn check(crates: &[Crate]) -> Vec<String> {
    let mut found = Vec::new();
    let (mut large, mut pairs) = (BTreeSet::new(), BTreeSet::new());
    for (names, circle) in crates.iter().flat_map(|one| {
        one.circles().into_iter().map(|circle| {
            let names: Vec<String> = circle.iter().map(|i| shown(&one.files[*i].path)).collect();
            (names, circle)
        })
    }) {
        let known = if circle.len() == 2 {
            let pair = PAIRS.iter().position(|(files, _)| names.iter().all(|name| files.contains(&name.as_str())));
            pair.map(|pair| pairs.insert(pair))
        } else {
            let has = |file: &str| names.iter().any(|name| name == file);
            let entry = LARGE.iter().position(|(file, most, _)| names.len() <= *most && has(file));
            entry.map(|entry| large.insert(entry))
        };
        if known.is_none() {
            found.push(format!("a circle of {} files: {}", names.len(), names.join(", ")));
        }
    }
    let unmet = |i: &usize, met: &BTreeSet<usize>| !met.contains(i);
    found.extend((0..LARGE.len()).filter(|i| unmet(i, &large)).map(|i| format!("no circle any more: {}", LARGE[i].0)));
    found.extend(
        (0..PAIRS.len()).filter(|i| unmet(i, &pairs)).map(|i| format!("no circle any more: {}", PAIRS[i].0.join(", "))),
    );
    found
}
