//! Tidiness: the rules of DEVELOPERS.md that a machine can see.
//!
//! Each rule is checked on the tree, and on a few lines of text that break it.

mod api;
mod arrows;
mod book;
mod calls;
mod circles;
mod floors;
mod guide;
mod names;
mod source;

use pulsewright_core::PressureSite;
use pulsewright_core::settings::Field;
use source::{Code, Crate, File, files, root, shown};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Public items of the core at most: those that a path can name, without methods and fields.
const MOST_PUBLIC: usize = 200;

/// Lines of a file at most.
const LONGEST: usize = 600;

fn core() -> Crate {
    Crate::read(&root().join("crates/core/src/lib.rs"))
}

/// The crates, by folder and by the file that everything else hangs on.
fn crates() -> Vec<Crate> {
    let roots = files("crates", ".rs").into_iter().filter(|path| {
        let parent = path.parent().and_then(Path::file_name);
        let name = path.file_name().unwrap_or_default();
        parent.is_some_and(|parent| parent == "src") && (name == "lib.rs" || name == "main.rs")
    });
    roots.map(|path| Crate::read(&path)).collect()
}

/// Fails with all that was found.
fn none(found: Vec<String>) {
    assert!(found.is_empty(), "\n{}\n", found.join("\n"));
}

/// Applies a rule to files.
fn each<'a>(files: impl IntoIterator<Item = &'a File>, rule: fn(&Code) -> Vec<(usize, String)>) -> Vec<String> {
    let found = files.into_iter().flat_map(|file| {
        rule(&file.code).into_iter().map(|(line, what)| format!("{}:{line}: {what}", shown(&file.path)))
    });
    found.collect()
}

#[test]
fn imports_of_the_core_go_down_or_stay() {
    let core = core();
    none(floors::check(&core));
    none(floors::stale(&core));
}

#[test]
fn no_circle_of_files_without_a_reason() {
    none(circles::check(&crates()));
}

#[test]
fn types_have_names_of_their_own() {
    none(names::check(&crates()));
}

#[test]
fn crates_use_what_the_table_allows() {
    let text = std::fs::read_to_string(root().join("DEVELOPERS.md")).expect("the guide");
    let allowed = arrows::allowed(&text);
    assert!(allowed.len() > 10, "the table was not found");
    let mut packages = arrows::packages("Cargo.toml");
    packages.retain(|package| {
        let path = package["manifest_path"].as_str().unwrap_or_default();
        ["any_input", "benches", "examples/suite", "tests/tidy"].iter().all(|aside| !path.contains(aside))
    });
    packages
        .extend(["firmware", "python"].iter().flat_map(|name| arrows::packages(&format!("crates/{name}/Cargo.toml"))));
    none(arrows::check(&allowed, &arrows::used(&packages), &["cli", "tests"]));
}

/// No other program runs these tests.
#[test]
fn the_program_of_all_tests_has_every_test_file() {
    let all = std::fs::read_to_string(root().join("tests/all.rs")).expect("the program of all tests");
    let tests = std::fs::read_dir(root().join("tests/tests")).expect("the tests").flatten();
    let names =
        tests.map(|entry| entry.file_name().to_string_lossy().into_owned()).filter(|name| name.ends_with(".rs"));
    let missing = names.filter(|name| !all.contains(&format!("#[path = \"tests/{name}\"]")));
    none(missing.map(|name| format!("tests/all.rs has no module for tests/tests/{name}")).collect());
}

#[test]
fn no_file_is_too_long() {
    let long = ["crates", "tests", "examples"].into_iter().flat_map(|folder| {
        [".rs", ".py", ".js"].into_iter().flat_map(move |ending| files(folder, ending)).filter_map(|path| {
            let lines = std::fs::read_to_string(&path).ok()?.lines().count();
            (lines > LONGEST).then(|| format!("{}: {lines} lines, at most {LONGEST}", shown(&path)))
        })
    });
    none(long.collect());
}

#[test]
fn only_the_command_line_prints() {
    let crates = crates();
    let others = crates.iter().flat_map(|one| &one.files).filter(|file| {
        let path = shown(&file.path);
        !path.starts_with("crates/cli/") && !path.starts_with("crates/firmware/") && !path.starts_with("crates/fuzz/")
    });
    none(each(others, calls::prints));
}

/// Files that read past the bounded reader, with the reason.
const READERS: [(&str, &str); 4] = [
    ("crates/text/", "it is the bounded reader"),
    ("crates/files/src/sha256.rs", "a digest goes over a signal of any size, piece by piece"),
    ("crates/files/src/atomic/", "folders are opened to be synced; journals and locks are our own, and not for people"),
    ("crates/fuzz/", "tools of the tests"),
];

/// Files that write past `files::atomic`, with the reason.
const WRITERS: [(&str, &str); 7] = [
    ("crates/files/src/atomic", "it is the one way"),
    ("crates/bench/src/log/file.rs", "the last page of a log is written over"),
    ("crates/record/src/session/draft.rs", "a draft grows by a synced line for each answer"),
    ("crates/cli/src/signal_output.rs", "a program that follows the file sees frames as they are due"),
    ("crates/cli/src/render.rs", "a device is no file to replace"),
    ("crates/cli/src/calibrate.rs", "codes go to a device"),
    ("crates/fuzz/", "tools of the tests"),
];

/// Files that take hold of a terminal, with the reason.
const TERMINALS: [(&str, &str); 5] = [
    ("crates/cli/src/terminal.rs", "it asks whether standard output is one, and how wide"),
    ("crates/cli/src/diagnostics.rs", "it makes text fit for the terminal"),
    ("crates/cli/src/stream.rs", "frames go to standard output, which is no terminal"),
    ("crates/cli/src/stream/sink.rs", "it is where they go"),
    ("crates/cli/src/render.rs", "a signal goes to standard output"),
];

/// The flags make requests of plain values; a verb takes its request, and the flags' words stay behind.
#[test]
fn verbs_know_no_flags() {
    let crates = crates();
    let files = crates.iter().flat_map(|one| &one.files).filter(|file| shown(&file.path).starts_with("crates/cli/"));
    let verbs = files.filter(|file| {
        // The root hands the command to the manual page, which knows its library's type.
        let root = file.module.is_empty();
        !root && !matches!(file.module[0].as_str(), "args" | "manual" | "diagnostics")
    });
    none(each(verbs, calls::flags));
}

#[test]
fn foreign_text_is_read_and_shown_in_one_place_and_files_are_written_in_one() {
    let crates = crates();
    let besides = |list: &'static [(&str, &str)]| {
        crates.iter().flat_map(|one| &one.files).filter(move |file| {
            let path = shown(&file.path);
            let other = ["crates/python/", "crates/firmware/"].iter().any(|folder| path.starts_with(folder));
            !other && !list.iter().any(|(known, _)| path.starts_with(known))
        })
    };
    none(each(besides(&READERS), calls::reads));
    none(each(besides(&TERMINALS), calls::terminals));
    none(each(besides(&WRITERS), calls::writes));
}

#[test]
fn elementary_functions_come_from_one_module() {
    let core = core();
    let others: Vec<&File> = core.files.iter().filter(|file| file.module != ["math"]).collect();
    none(each(others.iter().copied(), calls::libm));
    none(each(&core.files, calls::elementary));
}

#[test]
fn the_core_needs_no_system_and_does_not_panic() {
    let core = core();
    none(each(&core.files, calls::system));
    none(each(&core.files, calls::panics));
}

/// Files that hold the words of rhythms, or words that are spelt alike, with the reason.
const RHYTHM_WORDS: [(&str, &str); 8] = [
    ("crates/core/src/heart/catalogue/", "the rhythms"),
    ("crates/core/src/expect/alarm.rs", "alarms have names of their own, some of them those of rhythms"),
    ("crates/files/src/record/annotations.rs", "a table of the words that the open annotation set has for rhythms"),
    ("crates/files/src/truth.rs", "episodes have names of their own"),
    ("crates/score/src/annotations.rs", "so do scored episodes"),
    ("crates/script/src/catalogue_text.rs", "a sentence on each rhythm"),
    ("crates/script/src/rhythm_words.rs", "other words for each rhythm"),
    ("crates/bench/src/rest.rs", "outputs rest in asystole"),
];

#[test]
fn no_rhythm_is_asked_for_by_name() {
    let crates = crates();
    let others = crates.iter().flat_map(|one| &one.files).filter(|file| {
        let path = shown(&file.path);
        let apart = ["crates/fuzz/", "crates/firmware/"].iter().any(|folder| path.starts_with(folder));
        !apart && !RHYTHM_WORDS.iter().any(|(known, _)| path.starts_with(known))
    });
    none(each(others, calls::rhythms));
}

/// The player reports what happens; a pressure reports the pulses that it has closed.
#[test]
fn only_the_player_and_the_pressures_report_events() {
    let core = core();
    let others = core
        .files
        .iter()
        .filter(|file| !matches!(file.module.first().map(String::as_str), Some("player" | "pressure")));
    none(each(others, calls::observes));
}

#[test]
fn unsafe_code_is_forbidden_but_for_c_and_the_board() {
    let manifests = files("crates", "Cargo.toml").into_iter().chain(files("tests", "Cargo.toml"));
    let found = manifests.filter_map(|path| {
        let name = shown(&path);
        let text = std::fs::read_to_string(&path).ok()?;
        let may = ["capi", "firmware", "fuzz", "python"].iter().any(|name_| name.contains(name_));
        (!may && !text.contains("[lints]\nworkspace = true"))
            .then(|| format!("{name}: the workspace's lints are not on"))
    });
    none(found.collect());
}

/// Packages that the workspace names and no member uses.
#[test]
fn every_package_of_the_workspace_has_a_use() {
    let text = std::fs::read_to_string(root().join("Cargo.toml")).expect("the workspace");
    let named = text.lines().skip_while(|line| *line != "[workspace.dependencies]").skip(1);
    let named: Vec<&str> = named
        .take_while(|line| !line.starts_with('['))
        .filter_map(|line| Some(line.split_once(" = ")?.0))
        .filter(|name| !name.starts_with("pulsewright"))
        .collect();
    assert!(named.len() > 20, "the table was not found");
    let members: Vec<(PathBuf, String)> = ["crates", "tests"]
        .into_iter()
        .flat_map(|folder| files(folder, "Cargo.toml"))
        .map(|path| (path.clone(), std::fs::read_to_string(&path).expect("it was found")))
        .collect();
    let used = |name: &str| {
        let declared = |text: &str| text.lines().any(|line| line.starts_with(&format!("{name} = ")));
        let path = format!("{}::", name.replace('-', "_"));
        members.iter().filter(|(_, text)| declared(text)).any(|(manifest, _)| {
            let folder = shown(manifest.parent().expect("a folder"));
            files(&folder, ".rs")
                .iter()
                .any(|file| std::fs::read_to_string(file).is_ok_and(|text| text.contains(&path)))
        })
    };
    none(named.into_iter().filter(|name| !used(name)).map(|name| format!("no member uses `{name}`")).collect());
}

/// Its float functions change their results when any crate of a build switches its `std` feature on.
#[test]
fn numeric_traits_are_used_in_one_place() {
    let packages = arrows::packages("Cargo.toml");
    let users = packages.iter().filter(|package| arrows::dependencies(package).any(|name| name == "num-traits"));
    assert_eq!(users.map(arrows::short_name).collect::<Vec<_>>(), ["files"]);
    let crates = crates();
    let floats = |code: &Code| {
        let found = code.paths.iter().filter(|(_, used)| used.path.first().is_some_and(|first| first == "num_traits"));
        let floats = found.filter(|(_, used)| used.path.last().is_some_and(|last| last.contains("Float")));
        floats.map(|(_, used)| (used.line, used.path.join("::"))).collect()
    };
    none(each(crates.iter().flat_map(|one| &one.files), floats));
}

/// Crates that only tests may need.
#[test]
fn test_tools_ship_with_nothing() {
    let tools = ["proptest", "rand", "divan", "trycmd"];
    let packages = arrows::packages("Cargo.toml");
    let found = packages.iter().flat_map(|package| {
        let name = arrows::short_name(package);
        arrows::dependencies(package)
            .filter(|dependency| tools.contains(dependency))
            .map(|dependency| format!("`{name}` ships with `{dependency}`"))
            .collect::<Vec<_>>()
    });
    none(found.collect());
}

#[test]
fn every_page_is_in_the_book_and_every_link_leads_somewhere() {
    none(book::check());
}

#[test]
fn the_guide_names_what_exists() {
    let text = std::fs::read_to_string(root().join("DEVELOPERS.md")).expect("the guide");
    let missing = guide::missing(&text, &guide::Tree::read());
    none(missing.into_iter().map(|what| format!("DEVELOPERS.md names `{what}`, which does not exist")).collect());
}

/// A setting without a reader has no effect.
#[test]
fn every_setting_has_a_reader() {
    let core = core();
    // The sheet reads the fields of the transducers by site, through the members of `TransducerFields`.
    let members = [("Level", "level"), ("Closed", "closed"), ("LineHz", "line_hz"), ("Damping", "damping")];
    let sites: BTreeSet<String> = PressureSite::ALL.iter().map(|site| format!("{site:?}")).collect();
    let member = |name: &str| {
        let found = members.iter().find(|(end, _)| name.strip_suffix(end).is_some_and(|site| sites.contains(site)));
        found.map(|(_, member)| format!("fields.{member}"))
    };
    let readers =
        core.files.iter().filter(|file| !matches!(file.module.first().map(String::as_str), Some("field" | "body")));
    let readers = readers.filter(|file| !file.module.iter().any(|module| module == "catalogue"));
    let text: String = readers.map(|file| std::fs::read_to_string(&file.path).expect("it is read above")).collect();
    let words: BTreeSet<&str> = text.split(|c: char| !c.is_alphanumeric()).collect();
    let unread = Field::ALL.iter().map(|field| format!("{field:?}")).filter(|name| match member(name) {
        Some(member) => !text.contains(&member),
        None => !words.contains(name.as_str()),
    });
    none(unread.map(|name| format!("no reader of the setting {name}")).collect());
}

/// The listing in the tree changes by decision: `BLESS=1` writes it anew.
#[test]
fn the_public_items_of_the_core_are_those_listed() {
    let listing = api::Listing::of(&core());
    let heading = format!(
        "# Public items of the core, made by tests/tests/tidy from the sources. Counted, at most {MOST_PUBLIC}: what a path can name\n\
         # (modules, types, traits, functions, constants). Below the blank line, listed and not counted: methods, their constants,\n\
         # fields, variants and other names of the same. Methods of the types that macros make (Field, AlarmKind, AlarmLimit,\n\
         # Cause) are not listed.\n",
    );
    let lines: Vec<&str> = listing
        .items
        .iter()
        .map(String::as_str)
        .chain([""])
        .chain(listing.details.iter().map(String::as_str))
        .collect();
    let text = format!("{heading}\n{}\n", lines.join("\n"));
    let path = root().join("tests/api/core.txt");
    if std::env::var_os("BLESS").is_some() {
        std::fs::write(&path, &text).expect("the listing is written");
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    let (new, old): (BTreeSet<&str>, BTreeSet<&str>) = (text.lines().collect(), kept.lines().collect());
    let mut found: Vec<String> = new.difference(&old).map(|line| format!("new: {line}")).collect();
    found.extend(old.difference(&new).map(|line| format!("gone: {line}")));
    none(found);
    assert!(listing.items.len() <= MOST_PUBLIC, "{} public items, at most {MOST_PUBLIC}", listing.items.len());
}

mod on_text {
    //! The rules on text that breaks them.

    use super::source::{Code, Crate, File};
    use super::{arrows, book, calls, floors, guide, names};
    use std::path::{Path, PathBuf};

    fn code(text: &str) -> Code {
        Code::read(text).expect("a file of Rust")
    }

    /// A crate of these modules and their texts.
    fn tree(modules: &[(&str, &str)]) -> Crate {
        let files = modules.iter().map(|(module, text)| File {
            path: PathBuf::from(format!("{module}.rs")),
            module: module.split("::").filter(|part| !part.is_empty()).map(str::to_owned).collect(),
            code: code(text),
        });
        Crate { files: files.collect() }
    }

    fn lines(found: Vec<(usize, String)>) -> Vec<usize> {
        found.into_iter().map(|(line, _)| line).collect()
    }

    #[test]
    fn an_import_up_a_floor_is_found() {
        let root = ("", "pub use player::Player; mod time; mod heart; mod script; mod player; mod oddity;");
        let up =
            |text: &str| floors::check(&tree(&[root, ("time", ""), ("script", ""), ("player", ""), ("heart", text)]));
        assert_eq!(
            up("use crate::time::Span; fn f() { crate::time::now(); super::time::now() }"),
            Vec::<String>::new()
        );
        assert_eq!(up("use crate::{time::Span, script::Step};").len(), 1);
        assert_eq!(up("fn f() { crate::script::new() }").len(), 1);
        assert_eq!(up("use super::script;").len(), 1);
        assert_eq!(up("fn f() { g!(1, crate::player::X) }").len(), 1);
        assert_eq!(up("mod inner { use super::super::script; }").len(), 1);
        // The facade is above everything.
        assert_eq!(up("use crate::Player;").len(), 1);
        assert_eq!(up("#[cfg(test)] mod tests { use crate::player::Player; }"), Vec::<String>::new());
        assert_eq!(floors::check(&tree(&[root, ("oddity", "")])).len(), 1);
    }

    #[test]
    fn a_circle_is_found() {
        let modules = |last: &'static str| {
            tree(&[("", "mod a; mod b; mod c;"), ("a", "use crate::b::X;"), ("b", "use super::c;"), ("c", last)])
        };
        assert!(modules("").circles().is_empty());
        assert_eq!(modules("use crate::a::Y;").circles().iter().map(|circle| circle.len()).collect::<Vec<_>>(), [3]);
        assert_eq!(modules("fn f() { crate::b::y() }").circles()[0].len(), 2);
        let parent = tree(&[("", "mod a;"), ("a", "mod b; pub use b::X;"), ("a::b", "use super::Y;")]);
        assert_eq!(parent.circles()[0].len(), 2);
    }

    #[test]
    fn a_name_that_says_too_little_and_one_of_two_crates_are_found() {
        let names = |crates: [&str; 2], text: &str| -> Vec<names::Name> {
            let of = |krate: &str| {
                let name = |name| names::Name { krate: krate.to_owned(), file: format!("{krate}.rs"), name };
                names::of_text(text).into_iter().map(name).collect::<Vec<_>>()
            };
            crates.into_iter().flat_map(of).collect()
        };
        let two = names(["a", "b"], "pub struct Kind; mod inner { pub(crate) enum Sound {} } struct Made;");
        assert_eq!(names::too_little(&two).len(), 2);
        assert_eq!(names::shared(&two, 2), Vec::<String>::new());
        assert_eq!(names::shared(&two, 1).len(), 3);
        assert_eq!(names::shared(&two, 3).len(), 3);
        assert!(names::shared(&names(["a", "a"], "pub type Sound = f32;"), 0).is_empty());
        assert!(names::of_text("#[cfg(test)] mod tests { pub struct What; }").is_empty());
    }

    #[test]
    fn a_print_is_found() {
        assert_eq!(lines(calls::prints(&code("fn f() {\n println!(\"a\");\n g(|| { dbg!(1) });\n}"))), [2, 3]);
        assert!(calls::prints(&code("fn f() { writeln!(w, \"println!\"); }\n/// println!()\nfn g() {}")).is_empty());
        assert!(calls::prints(&code("#[cfg(test)]\nmod tests { fn f() { println!() } }")).is_empty());
    }

    #[test]
    fn anchors_and_links_of_a_page_are_found() {
        let page =
            book::Page::read("# At *the* bench\n## `life`, none\n## At the bench\n[a](b.md#c) ![d](e.svg)\n`[f](g)`\n");
        assert_eq!(
            page.anchors.iter().map(String::as_str).collect::<Vec<_>>(),
            ["at-the-bench", "at-the-bench-1", "life-none"]
        );
        assert_eq!(page.links, ["b.md#c", "e.svg"]);
    }

    #[test]
    fn a_name_without_a_thing_is_found() {
        let tree = guide::Tree {
            exists: |path| [".ci/test", "tests/all.rs", "crates/core"].map(Path::new).contains(&path),
            sources: "fn pass( struct Player; PULSEWRIGHT_YEAR".to_owned(),
            steps: "if wanted debug".to_owned(),
        };
        let sound = "`tests/all.rs`, `Player::pass`, `PULSEWRIGHT_YEAR=all`, `Float::exp`, `.ci/test debug`, `cargo test -p pulsewright-core`";
        assert_eq!(guide::missing(sound, &tree), Vec::<String>::new());
        for (text, what) in [
            ("`tests/none.rs`", "tests/none.rs"),
            ("`test_none.py`", "test_none.py"),
            ("`Player::passes`", "Player::passes"),
            ("`Player::pas`", "Player::pas"),
            ("`PULSEWRIGHT_NONE=all`", "PULSEWRIGHT_NONE"),
            ("```sh\n.ci/test debugs   # all\n```", ".ci/test debugs"),
            ("```sh\ncargo test -p pulsewright-none\n```", "-p pulsewright-none"),
            ("`cargo test --test none`", "--test none"),
        ] {
            assert!(guide::missing(text, &tree).contains(&what.to_owned()), "{text}");
        }
    }

    #[test]
    fn a_flag_in_a_verb_is_found() {
        assert_eq!(lines(calls::flags(&code("use clap::Args;\nuse crate::args::Verb;"))), [1, 2]);
        assert!(calls::flags(&code("use crate::diagnostics::Failure; fn f(args: Request) {}")).is_empty());
    }

    #[test]
    fn a_way_round_the_reader_and_the_terminal_is_found() {
        let text = "fn f() {\n std::fs::read(p);\n File::open(p);\n serde_json::from_str(t);\n io::stdout();\n}";
        assert_eq!(lines(calls::reads(&code(text))), [2, 3, 4]);
        assert_eq!(lines(calls::terminals(&code(text))), [5]);
        assert!(
            calls::reads(&code("fn f() { fs::write(p, b); source::file(p, 1); serde_json::to_string(v) }")).is_empty()
        );
    }

    #[test]
    fn a_file_written_past_the_one_way_is_found() {
        let text =
            "use std::fs::OpenOptions;\nfn f() {\n fs::write(p, b);\n File::create(p);\n std::fs::rename(p, q);\n}";
        assert_eq!(lines(calls::writes(&code(text))), [1, 3, 4, 5]);
        assert!(
            calls::writes(&code("fn f() { fs::read(p); File::open(p); io::copy(a, b); fs::create_dir_all(p) }"))
                .is_empty()
        );
    }

    #[test]
    fn a_direct_call_of_a_library_of_functions_is_found() {
        assert_eq!(lines(calls::libm(&code("fn f(x: f32) -> f32 {\n libm::floorf(x)\n}"))), [2]);
        assert_eq!(lines(calls::libm(&code("use libm::sqrtf;"))), [1]);
        assert_eq!(lines(calls::libm(&code("fn f() { g!(libm::expf(1.0)) }"))), [1]);
        assert!(calls::libm(&code("use crate::math::floor; // libm::floorf")).is_empty());
    }

    #[test]
    fn a_platforms_function_is_found() {
        assert_eq!(lines(calls::elementary(&code("fn f(x: f32) -> f32 {\n x.sin() + f32::exp(x)\n}"))), [2, 2]);
        assert_eq!(lines(calls::elementary(&code("fn f(x: f32) -> f32 { x.mul_add(x, x) }"))), [1]);
        assert!(calls::elementary(&code("fn f(x: f32) -> f32 { exp(x) + math::sin(x) + x.abs() }")).is_empty());
    }

    #[test]
    fn the_heap_and_panics_are_found() {
        assert_eq!(lines(calls::system(&code("use std::fs;"))), [1]);
        assert_eq!(lines(calls::panics(&code("fn f() { x.unwrap(); unreachable!() }"))), [1, 1]);
        assert!(calls::panics(&code("fn f() { x.unwrap_or(0) }")).is_empty());
    }

    #[test]
    fn a_rhythm_by_its_name_is_found() {
        assert_eq!(lines(calls::rhythms(&code("fn f() {\n rhythm.id == \"asystole\"\n}"))), [2]);
        assert!(calls::rhythms(&code("/// asystole\nfn f() { rhythm.beats() }")).is_empty());
    }

    #[test]
    fn a_report_of_an_event_is_found() {
        assert_eq!(lines(calls::observes(&code("fn f() { observer.observe(Event::Atrial) }"))), [1]);
    }

    #[test]
    fn an_arrow_that_the_table_does_not_have_is_found() {
        let table = "| crate | holds | may use |\n|---|---|---|\n| `core` | all | `libm` |\n\
                     | `script` | text | core |\n| `cli` | verbs | all of them |\n| `plot` | strips | core, script (its reader) |\n";
        let allowed = arrows::allowed(table);
        let used = |arrows: &[(&str, &[&str])]| {
            let sets =
                arrows.iter().map(|(name, uses)| (name.to_string(), uses.iter().map(|s| s.to_string()).collect()));
            arrows::check(&allowed, &sets.collect(), &["cli"])
        };
        assert_eq!(
            used(&[("script", &["core"]), ("cli", &["plot"]), ("plot", &["core", "script"])]),
            Vec::<String>::new()
        );
        assert_eq!(used(&[("core", &["script"])]).len(), 1);
        assert_eq!(used(&[("script", &[])]).len(), 1);
        assert_eq!(used(&[("other", &[])]).len(), 1);
    }
}
