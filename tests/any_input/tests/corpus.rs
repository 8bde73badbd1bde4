//! Inputs that the fuzzer found worth keeping, tried again without it: `crates/fuzz/README.md`.

use flate2::read::GzDecoder;
use pulsewright_any_input::{TARGETS, Target};
use std::fs::{self, File};
use std::io::Read;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

/// Most bytes that all inputs of the corpus may have together.
const MOST_BYTES: usize = 3 << 20;

/// An input: its name and its bytes.
type Input = (String, Vec<u8>);

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../crates/fuzz/corpus")
}

/// Inputs with a name of their own, a file each.
fn named(target: &str) -> Vec<Input> {
    let Ok(entries) = fs::read_dir(folder().join(target)) else { return Vec::new() };
    let read = |path: PathBuf| (path.display().to_string(), fs::read(&path).expect("a readable input"));
    entries.map(|entry| read(entry.expect("an entry").path())).collect()
}

/// Inputs named by their digest, of every target, in one archive.
fn packed() -> Vec<Input> {
    let file = File::open(folder().join("packed.tar.gz")).expect("the packed corpus");
    let mut archive = tar::Archive::new(GzDecoder::new(file));
    let mut read = |entry: std::io::Result<tar::Entry<'_, _>>| {
        let mut entry = entry.expect("an entry of the archive");
        let name = entry.path().expect("a name").display().to_string();
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes).expect("a whole entry");
        (name, bytes)
    };
    archive.entries().expect("an archive").map(&mut read).filter(|(name, _)| !name.ends_with('/')).collect()
}

fn inputs(target: &str) -> Vec<Input> {
    let mut inputs = named(target);
    inputs.extend(packed().into_iter().filter(|(name, _)| name.split('/').next() == Some(target)));
    inputs.sort();
    inputs
}

/// Tries every input of a target, and names those that fail.
fn replay(name: &str, target: Target) {
    let inputs = inputs(name);
    assert!(inputs.len() >= 20, "{name}: {} inputs", inputs.len());
    let fails = |(_, bytes): &&Input| catch_unwind(AssertUnwindSafe(|| target(bytes))).is_err();
    let failed: Vec<&String> = inputs.iter().filter(fails).map(|(path, _)| path).collect();
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
            let strangers: Vec<String> = packed()
                .into_iter()
                .map(|(name, _)| name)
                .filter(|name| !TARGETS.iter().any(|(target, _)| name.split('/').next() == Some(target)))
                .collect();
            assert!(strangers.is_empty(), "inputs without a target: {strangers:?}");
        }
    };
}
replays!(annotations image laws limits record record_csv recording rig script stream suite table);

/// Recordings with some bytes changed, left out or doubled: readers of samples meet files that are cut off or damaged. Three hundred in
/// every run; PULSEWRIGHT_MUTATIONS says how many.
#[test]
fn damaged_recordings_get_an_answer() {
    let count = std::env::var("PULSEWRIGHT_MUTATIONS").ok().and_then(|count| count.parse().ok()).unwrap_or(300_u64);
    let inputs = inputs("recording");
    // Numbers that look random, the same in every run (xorshift, Marsaglia 2003).
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut draw = move |below: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as usize % below.max(1)
    };
    for round in 0..count {
        let (name, bytes) = &inputs[draw(inputs.len())];
        let mut bytes = bytes.clone();
        for _ in 0..=draw(4) {
            let at = draw(bytes.len());
            let to = (at + draw(9)).min(bytes.len());
            match draw(5) {
                0 => bytes.truncate(at.max(1)),
                1 => drop(bytes.drain(at..to)),
                2 => {
                    let part = bytes[at..to].to_vec();
                    bytes.splice(at..at, part);
                }
                3 => bytes[at] = b"0123456789-+.,eE/()\n \x00\xff"[draw(23)],
                _ => bytes[at] ^= 1 << draw(8),
            }
            if bytes.is_empty() {
                bytes.push(b'h');
            }
        }
        let answer = catch_unwind(AssertUnwindSafe(|| pulsewright_any_input::recording(&bytes)));
        assert!(answer.is_ok(), "round {round}, from {name}: {bytes:?}");
    }
}

#[test]
fn the_corpus_is_small() {
    let bytes: usize = TARGETS.iter().flat_map(|(name, _)| inputs(name)).map(|(_, bytes)| bytes.len()).sum();
    assert!(bytes < MOST_BYTES, "{bytes} bytes");
}
