//! Inputs that the fuzzer found worth keeping, tried again without it: `crates/fuzz/README.md`.

use pulsewright_any_input::{TARGETS, Target};
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

/// Most bytes that all of the corpus may take.
const MOST_BYTES: u64 = 2 << 20;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../crates/fuzz/corpus")
}

fn inputs(target: &str) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder().join(target)).expect("each target has a corpus");
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.expect("an entry").path()).collect();
    paths.sort();
    paths
}

/// Tries every input of a target, and names those that fail.
fn replay(name: &str, target: Target) {
    let inputs = inputs(name);
    assert!(inputs.len() >= 20, "{name}: {} inputs", inputs.len());
    let fails = |path: &&PathBuf| {
        let bytes = fs::read(path).expect("a readable input");
        catch_unwind(AssertUnwindSafe(|| target(&bytes))).is_err()
    };
    let failed: Vec<&PathBuf> = inputs.iter().filter(fails).collect();
    assert!(failed.is_empty(), "{name}: {failed:?}");
}

/// A test for each target, so that they run beside each other and fail by name.
macro_rules! replays {
    ($($name:ident)*) => {
        $(#[test]
        fn $name() {
            let (name, target) = TARGETS.iter().find(|(name, _)| *name == stringify!($name)).expect("a target");
            replay(name, *target);
        })*

        #[test]
        fn every_target_is_replayed_and_fuzzed() {
            assert_eq!(TARGETS.map(|(name, _)| name), [$(stringify!($name)),*]);
            for (name, _) in TARGETS {
                let source = folder().join(format!("../fuzz_targets/{name}.rs"));
                let source = fs::read_to_string(source).expect("each target has a program");
                assert!(source.contains(&format!("pulsewright_any_input::{name}(")), "{source}");
            }
            let folders = fs::read_dir(folder()).expect("a corpus").count();
            assert_eq!(folders, TARGETS.len(), "a corpus without a target");
        }
    };
}
replays!(annotations image laws limits record record_csv rig script stream suite table);

#[test]
fn the_corpus_is_small() {
    let sizes = TARGETS.iter().flat_map(|(name, _)| inputs(name)).map(|path| fs::metadata(path).expect("a file").len());
    let bytes: u64 = sizes.sum();
    assert!(bytes < MOST_BYTES, "{bytes} bytes");
}
