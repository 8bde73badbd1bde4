//! The guide for contributors: files, items, steps, targets and switches that it names exist.

use super::source::{files, root};
use std::path::Path;

/// Folders that names of files start from.
const FOLDERS: [&str; 3] = ["", "crates/core/src", "tests/conformance"];

/// Items that the guide names because nobody may use them.
const FORBIDDEN: [&str; 1] = ["Float::exp"];

/// The tree that the guide speaks of.
pub struct Tree {
    /// Whether a file or folder exists at a path from the root.
    pub exists: fn(&Path) -> bool,
    /// All sources and tests.
    pub sources: String,
    /// The script that runs the tests.
    pub steps: String,
}

impl Tree {
    pub fn read() -> Tree {
        let folders = ["crates", "tests", "examples"];
        let all =
            folders.iter().flat_map(|folder| [".rs", ".py", ".js"].iter().flat_map(|ending| files(folder, ending)));
        Tree {
            exists: |path| root().join(path).exists(),
            sources: all.filter_map(|path| std::fs::read_to_string(path).ok()).collect::<Vec<_>>().join("\n"),
            steps: std::fs::read_to_string(root().join(".ci/test")).expect("the script of the tests"),
        }
    }
}

/// What a text names that the tree does not have.
pub fn missing(text: &str, tree: &Tree) -> Vec<String> {
    // A fence is three marks, so a block is one piece of code like a word.
    let code: Vec<&str> = text.split('`').skip(1).step_by(2).collect();
    let blocks: Vec<&str> = text.split("```").skip(1).step_by(2).collect();
    let mut found: Vec<String> = Vec::new();
    let words = code.iter().filter_map(|word| word.split_whitespace().next());
    found.extend(words.filter(|word| is_path(word) && !is_there(word, tree)).map(str::to_owned));
    found.extend(code.iter().filter(|word| !item_exists(word, tree)).map(|word| (*word).to_owned()));
    for line in code.iter().copied().chain(blocks.iter().flat_map(|block| block.lines())) {
        let words: Vec<&str> = line.split('#').next().unwrap_or_default().split_whitespace().collect();
        let pairs = words.iter().zip(words.iter().skip(1));
        found.extend(
            pairs.filter(|(flag, name)| !target_exists(flag, name, tree)).map(|(flag, name)| format!("{flag} {name}")),
        );
    }
    let switches =
        text.split(|c: char| !(c.is_ascii_uppercase() || c == '_')).filter(|word| word.starts_with("PULSEWRIGHT_"));
    found.extend(switches.filter(|switch| !tree.sources.contains(*switch)).map(str::to_owned));
    found
}

/// Whether a word of code is the path of a file or folder of the repository. A build makes the target folder.
fn is_path(word: &str) -> bool {
    let plain = !word.starts_with("target/") && !word.starts_with("-") && !word.contains(['*', '=', '(', ':', '+']);
    plain && (word.contains('/') || word.ends_with(".rs") || word.ends_with(".py"))
}

fn is_there(path: &str, tree: &Tree) -> bool {
    FOLDERS.iter().any(|folder| (tree.exists)(&Path::new(folder).join(path)))
}

/// Whether the sources have an item such as `Player::pass`; true of a word that is no such path.
fn item_exists(word: &str, tree: &Tree) -> bool {
    let Some((of, name)) = word.split_once("::") else { return true };
    let is_name = |text: &str| !text.is_empty() && text.chars().all(|c| c.is_alphanumeric() || c == '_');
    if !is_name(of) || !is_name(name) || FORBIDDEN.contains(&word) {
        return true;
    }
    let kinds = ["fn", "struct", "enum", "trait", "const", "mod"];
    let defined = |name: &str| {
        kinds.iter().any(|kind| {
            let ends = |rest: &str| !rest.starts_with(|c: char| c.is_alphanumeric() || c == '_');
            tree.sources.split(&format!("{kind} {name}")).skip(1).any(ends)
        })
    };
    defined(name) && (defined(of) || (tree.exists)(&Path::new("crates").join(of)))
}

/// Whether the repository has the target of a command: `-p NAME`, `--test NAME`, `.ci/test STEP` and the like.
fn target_exists(flag: &str, name: &str, tree: &Tree) -> bool {
    let any = |path: &dyn Fn(&str) -> String| {
        let crates = std::fs::read_dir(root().join("crates")).into_iter().flatten().flatten();
        let folders = crates.map(|entry| format!("crates/{}", entry.file_name().to_string_lossy()));
        folders.chain(["tests".to_owned()]).any(|folder| (tree.exists)(Path::new(&path(&folder))))
    };
    match flag {
        "-p" if name == "pulsewright" => true,
        "-p" => name.strip_prefix("pulsewright-").is_some_and(|name| {
            ["crates", "", "tests", "tests/tests"].iter().any(|folder| (tree.exists)(&Path::new(folder).join(name)))
        }),
        "--test" => {
            any(&|folder| format!("{folder}/tests/{name}.rs")) || any(&|folder| format!("{folder}/tests/{name}"))
        }
        "--example" => {
            any(&|folder| format!("{folder}/examples/{name}.rs")) || any(&|folder| format!("{folder}/examples/{name}"))
        }
        "--bench" => any(&|folder| format!("{folder}/benches/{name}.rs")),
        ".ci/test" => {
            name.starts_with(|c: char| !c.is_ascii_lowercase()) || tree.steps.contains(&format!("wanted {name}"))
        }
        _ => true,
    }
}
