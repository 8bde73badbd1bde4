//! Calls that are forbidden, by place.

use super::source::{Code, Use};
use pulsewright_core::heart::catalogue::RHYTHMS;

/// Macros that print.
const PRINTS: [&str; 5] = ["print", "println", "eprint", "eprintln", "dbg"];

/// Methods and functions of `f32` whose last bit depends on the platform or a library's version, and the fused operation.
const ELEMENTARY: [&str; 34] = [
    "acos",
    "acosh",
    "asin",
    "asinh",
    "atan",
    "atan2",
    "atanh",
    "cbrt",
    "cos",
    "cosh",
    "exp",
    "exp2",
    "exp_m1",
    "hypot",
    "ln",
    "ln_1p",
    "log",
    "log10",
    "log2",
    "mul_add",
    "pow",
    "powf",
    "powi",
    "rem_euclid",
    "sin",
    "sin_cos",
    "sinh",
    "sqrt",
    "tan",
    "tanh",
    "algebraic_add",
    "algebraic_mul",
    "to_degrees",
    "to_radians",
];

/// Methods that panic.
const PANICKING_METHODS: [&str; 4] = ["expect", "expect_err", "unwrap", "unwrap_err"];

/// Macros that panic at run time; `panic!` and `assert!` in constants are found by the compiler.
const PANICKING_MACROS: [&str; 3] = ["todo", "unimplemented", "unreachable"];

fn named<'a>(uses: &'a [Use], names: &'a [&str]) -> impl Iterator<Item = (usize, String)> + 'a {
    uses.iter().filter_map(|used| {
        let last = used.path.last()?;
        names.contains(&last.as_str()).then(|| (used.line, used.path.join("::")))
    })
}

/// Paths that begin with one of these crates.
fn of_crates<'a>(code: &'a Code, crates: &'a [&str]) -> impl Iterator<Item = (usize, String)> + 'a {
    let begins = |used: &Use| used.path.first().is_some_and(|first| crates.contains(&first.as_str()));
    code.paths.iter().filter(move |(_, used)| begins(used)).map(|(_, used)| (used.line, used.path.join("::")))
}

/// Printing.
pub fn prints(code: &Code) -> Vec<(usize, String)> {
    named(&code.macros, &PRINTS).map(|(line, name)| (line, format!("`{name}!` prints"))).collect()
}

/// Files, lines and JSON that are read past the bounded reader: `fs::read`, `File::open`, `read_line`, `serde_json::from_str` and their kin.
pub fn reads(code: &Code) -> Vec<(usize, String)> {
    let found = code.paths.iter().map(|(_, used)| used).filter(|used| {
        let mut last = used.path.iter().rev().map(String::as_str);
        match (last.next(), last.next()) {
            (Some("read" | "read_to_string"), Some("fs")) | (Some("open"), Some("File")) => true,
            (Some("Deserializer"), Some("serde_json")) => true,
            (Some(name), Some("serde_json")) => name.starts_with("from_"),
            _ => false,
        }
    });
    let lines = named(&code.methods, &["read_line"]).map(|(line, name)| (line, format!("`{name}` has no bound")));
    found.map(|used| (used.line, used.path.join("::"))).chain(lines).collect()
}

/// Files that are made, changed or renamed: `fs::write`, `File::create`, `OpenOptions` and their kin.
pub fn writes(code: &Code) -> Vec<(usize, String)> {
    let found = code.paths.iter().map(|(_, used)| used).filter(|used| {
        let mut last = used.path.iter().rev().map(String::as_str);
        matches!(
            (last.next(), last.next()),
            (Some("write" | "rename" | "copy" | "hard_link" | "OpenOptions"), Some("fs"))
                | (Some("create" | "create_new" | "options"), Some("File"))
        )
    });
    found.map(|used| (used.line, used.path.join("::"))).collect()
}

/// Standard output and standard error, taken hold of by their functions.
pub fn terminals(code: &Code) -> Vec<(usize, String)> {
    let found = code.paths.iter().map(|(_, used)| used).filter(|used| {
        let mut last = used.path.iter().rev().map(String::as_str);
        matches!((last.next(), last.next()), (Some("stdout" | "stderr"), Some("io" | "anstream" | "std")))
    });
    found.map(|used| (used.line, used.path.join("::"))).collect()
}

/// The flags of the command line and the library that reads them.
pub fn flags(code: &Code) -> Vec<(usize, String)> {
    let flags = code.paths.iter().filter(|(_, used)| {
        let path: Vec<&str> = used.path.iter().map(String::as_str).collect();
        matches!(path.as_slice(), ["clap", ..] | ["crate", "args", ..] | ["super", "args", ..])
    });
    flags.map(|(_, used)| (used.line, format!("`{}` is for the flags alone", used.path.join("::")))).collect()
}

/// The crate of elementary functions, called past the one module that may.
pub fn libm(code: &Code) -> Vec<(usize, String)> {
    of_crates(code, &["libm"]).map(|(line, path)| (line, format!("`{path}` is not by way of math.rs"))).collect()
}

/// Elementary functions of the platform.
pub fn elementary(code: &Code) -> Vec<(usize, String)> {
    let functions = code.paths.iter().filter_map(|(_, used)| match used.path.as_slice() {
        [kind, name] if (kind == "f32" || kind == "f64") && ELEMENTARY.contains(&name.as_str()) => {
            Some((used.line, used.path.join("::")))
        }
        _ => None,
    });
    named(&code.methods, &ELEMENTARY)
        .chain(functions)
        .map(|(line, name)| (line, format!("`{name}` is a function of the platform; math.rs has ours")))
        .collect()
}

/// The operating system and the heap.
pub fn system(code: &Code) -> Vec<(usize, String)> {
    of_crates(code, &["std", "alloc"])
        .map(|(line, path)| (line, format!("`{path}` needs an operating system or a heap")))
        .collect()
}

/// Panics of a running program.
pub fn panics(code: &Code) -> Vec<(usize, String)> {
    named(&code.methods, &PANICKING_METHODS)
        .chain(named(&code.macros, &PANICKING_MACROS))
        .map(|(line, name)| (line, format!("`{name}` panics")))
        .collect()
}

/// Calls of an observer.
pub fn observes(code: &Code) -> Vec<(usize, String)> {
    named(&code.methods, &["observe"]).map(|(line, name)| (line, format!("`{name}` makes an event"))).collect()
}

/// Names of rhythms.
pub fn rhythms(code: &Code) -> Vec<(usize, String)> {
    let names: Vec<&str> = RHYTHMS.iter().map(|rhythm| rhythm.id).collect();
    named(&code.literals, &names)
        .map(|(line, name)| (line, format!("the rhythm `{name}` is asked for by name")))
        .collect()
}
