//! The plan editor's part of the server: what its page is made from, the check of a text, and its file.

use pulsewright_bench::offer::{self, plain};
use pulsewright_core::expect::AlarmKind;
use pulsewright_core::settings::{Field, FieldKind};
use pulsewright_files::atomic;
use pulsewright_record::seal;
use pulsewright_script::expect::Quantity;
use pulsewright_script::{Problems, units};
use pulsewright_text::source;
use serde::Deserialize;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// Longest text of a script that the page sends, bytes.
pub const LONGEST: usize = 4 << 20;

/// Longest name of a file.
const LONGEST_NAME: usize = 100;

/// The answer of `check` to a text that would stand at a path: the timeline, or the problems.
pub type CheckReply = Box<dyn Fn(&Path, &[u8]) -> Result<String, Box<Problems>> + Send + Sync>;

/// The scripts of a folder, and how they are checked.
pub struct Editor {
    /// The plan that the page opens first.
    plan: Option<PathBuf>,
    /// Where scripts are saved: beside the plan, else in the console's folder.
    folder: PathBuf,
    check: CheckReply,
}

/// A text to save.
#[derive(Debug, Deserialize)]
pub struct SaveRequest {
    /// Name of its file.
    name: String,
    /// The script.
    text: String,
    /// Digest of the file that it takes the place of; without it the name has to be free.
    over: Option<String>,
}

impl Editor {
    /// Opens `plan` first, and saves beside it; without a plan in `folder`.
    pub fn new(plan: Option<PathBuf>, folder: &Path, check: CheckReply) -> Editor {
        let beside = plan.as_deref().map_or(folder, atomic::folder_of).to_owned();
        Editor { plan, folder: beside, check }
    }

    /// The data that the page is made from.
    pub fn data(&self) -> Value {
        let fields: Vec<Value> = Field::ALL
            .iter()
            .map(|field| {
                let info = field.info();
                let kind = match info.kind {
                    FieldKind::Number => "number",
                    FieldKind::Switch => "switch",
                    FieldKind::Count => "count",
                    FieldKind::Choice(_) => "choice",
                };
                json!({
                    "path": info.path, "unit": units::shown(info.unit), "doc": info.doc, "kind": kind,
                    "min": plain(info.min), "max": plain(info.max), "ramps": info.ramps, "words": info.words(),
                })
            })
            .collect();
        let offered = offer::all();
        let quantities = Quantity::ALL.iter().map(|of| json!({"id": of.id(), "name": of.name(), "unit": of.unit()}));
        let alarms = AlarmKind::ALL.iter().map(|of| json!({"id": of.id(), "name": of.name()}));
        json!({
            "fields": fields, "quantities": quantities.collect::<Vec<_>>(), "alarms": alarms.collect::<Vec<_>>(),
            "rhythms": offered.get("rhythms"), "bodies": offered.get("bodies"),
            "folder": self.folder.display().to_string(), "opened": self.opened(),
        })
    }

    /// The plan's name, text and digest; null without one, or when it can't be read any more.
    fn opened(&self) -> Value {
        let read = self.plan.as_deref().and_then(|path| {
            let bytes = source::file(path, LONGEST as u64).ok()?;
            let name = path.file_name()?.to_string_lossy().into_owned();
            Some(json!({"name": name, "text": source::utf8(&bytes).ok()?, "digest": seal::digest(&bytes)}))
        });
        read.unwrap_or(Value::Null)
    }

    /// The answer of `check` to a text, and the places of its problems.
    pub fn check(&self, text: &[u8]) -> Value {
        let path = self.plan.clone().unwrap_or_else(|| self.folder.join("plan.json"));
        match (self.check)(&path, text) {
            Ok(timeline) => json!({"ok": true, "text": timeline, "problems": []}),
            Err(problems) => {
                let list = problems.list().iter().map(|of| json!({"path": of.path, "what": of.what}));
                json!({"ok": false, "text": problems.render(false), "problems": list.collect::<Vec<_>>()})
            }
        }
    }

    /// Writes a text that has no problems; gives the path and the digest.
    ///
    /// # Errors
    /// Why nothing was written.
    pub fn save(&self, SaveRequest { name, text, over }: &SaveRequest) -> Result<Value, String> {
        let stem = name.strip_suffix(".json").unwrap_or_default();
        let fit = |letter: char| letter.is_alphanumeric() || "-_. ()".contains(letter);
        if stem.is_empty() || stem.starts_with('.') || name.len() > LONGEST_NAME || !stem.chars().all(fit) {
            return Err(format!(
                "the name has to end in .json, with letters, digits, blanks and -_.() before it, up to {LONGEST_NAME} in all"
            ));
        }
        let path = self.folder.join(name);
        if (self.check)(&path, text.as_bytes()).is_err() {
            return Err("the plan has problems: mend them first, then save".to_owned());
        }
        let there = match source::file(&path, source::DOCUMENT) {
            Ok(bytes) => Some(seal::digest(&bytes)),
            Err(error) if error.is_missing() => None,
            Err(error) => return Err(error.to_string()),
        };
        match (&there, over) {
            (Some(there), Some(over)) if there == over => {}
            (Some(_), Some(_)) => {
                return Err(format!("{name} was changed since it was opened here: save under another name"));
            }
            (Some(_), None) => return Err(format!("{name} is there already: save under another name")),
            (None, _) => {}
        }
        atomic::write_whole(&path, text.as_bytes(), there.is_some()).map_err(|error| error.to_string())?;
        Ok(json!({"path": path.display().to_string(), "digest": seal::digest(text.as_bytes())}))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn editor(folder: &Path) -> Editor {
        let check = |path: &Path, text: &[u8]| {
            let name = path.display().to_string();
            pulsewright_script::parse(text, &name).map(|_| name.clone()).map_err(Box::new)
        };
        Editor::new(Some(folder.join("plan.json")), folder, Box::new(check))
    }

    fn save(editor: &Editor, name: &str, text: &str, over: Option<String>) -> Result<Value, String> {
        editor.save(&SaveRequest { name: name.to_owned(), text: text.to_owned(), over })
    }

    #[test]
    fn a_file_is_replaced_only_as_it_was_opened() {
        let folder = tempfile::tempdir().expect("a folder");
        let (one, two) =
            (r#"{"version": 1, "steps": [{"duration_s": 1}]}"#, r#"{"version": 1, "steps": [{"duration_s": 2}]}"#);
        let path = folder.path().join("plan.json");
        fs::write(&path, one).expect("written");
        let editor = editor(folder.path());
        let opened = editor.data()["opened"].clone();
        assert_eq!(opened["text"], one);
        let digest = opened["digest"].as_str().map(str::to_owned);
        assert!(save(&editor, "plan.json", two, None).expect_err("taken").contains("there already"));
        save(&editor, "plan.json", two, digest.clone()).expect("saved");
        assert_eq!(fs::read_to_string(&path).expect("text"), two);
        assert!(save(&editor, "plan.json", one, digest).expect_err("changed").contains("was changed"));
        save(&editor, "another.json", one, None).expect("saved");
        for name in ["../up.json", "a/b.json", ".json", ".hidden.json", "plan.txt", "a\\b.json", "a\n.json"] {
            assert!(save(&editor, name, one, None).expect_err(name).contains("the name has to"), "{name}");
        }
        assert!(save(&editor, "third.json", "{}", None).expect_err("bad").contains("problems"));
        let mut names: Vec<_> =
            fs::read_dir(folder.path()).expect("a folder").map(|of| of.expect("a file").file_name()).collect();
        names.sort();
        assert_eq!(names, ["another.json", "plan.json"]);
    }
}
