//! Text to document: the frame around the steps, the list of steps and repeats, and the limits on both.

use crate::carry;
use crate::document::{Document, Part, too_long};
use crate::json::{Entry, Kind, Node};
use crate::problem::{Collected, Problem, Problems};
use crate::words::{join, nearest, quoted, shown};
use crate::{MAX_BYTES, MAX_STEPS};
use pulsewright_core::script::MAX_NESTING;
use pulsewright_core::settings::{FIELDS, Field, Settings};
use std::fmt;
use std::io::{self, Read};

/// Entries of one object looked at; more than any step could name.
const MAX_KEYS: usize = 1000;

/// Longest title or name, characters.
pub(crate) const MAX_LINE: usize = 200;

const DOCUMENT_KEYS: [&str; 5] = ["version", "title", "notes", "seed", "steps"];
const REPEAT_KEYS: [&str; 2] = ["repeat", "steps"];

/// Reads the document in `text`, called `name` in messages.
///
/// # Errors
/// Every problem of the document at once; of broken syntax only the first.
pub fn parse(text: &[u8], name: &str) -> Result<Document, Problems> {
    if text.len() > MAX_BYTES {
        return Err(Problems::of(name, "", Collected::one(too_large())));
    }
    let bytes = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => return Err(not_utf8(bytes, error.valid_up_to(), name)),
    };
    let root = match Node::root(text) {
        Ok(root) => root,
        Err(error) => return Err(Problems::of(name, text, Collected::one(broken(text, &error)))),
    };
    let mut walk =
        Walk { found: Collected::default(), carried: carry::RESTING, doubtful: [false; FIELDS], parts: vec![] };
    let document = walk.document(root);
    if walk.found.is_empty() { Ok(document) } else { Err(Problems::of(name, text, walk.found)) }
}

/// Reads the document that `source` gives, up to [`MAX_BYTES`].
///
/// # Errors
/// As [`parse`], and when `source` can't be read.
pub fn read(source: impl Read, name: &str) -> Result<Document, Problems> {
    let mut text = Vec::new();
    let limited: io::Result<usize> = source.take(MAX_BYTES as u64 + 1).read_to_end(&mut text);
    match limited {
        Ok(_) => parse(&text, name),
        Err(error) => Err(Problems::of(name, "", Collected::one(Problem::new(format!("can't read it: {error}"))))),
    }
}

fn too_large() -> Problem {
    Problem::new("the file is too large for a script").allowed(format!("at most {} MiB", MAX_BYTES >> 20))
}

fn not_utf8(bytes: &[u8], valid: usize, name: &str) -> Problems {
    let problem = Problem::new("the file is not UTF-8 text").at(valid..valid + '\u{fffd}'.len_utf8());
    let problem = match bytes {
        [0xff, 0xfe, ..] | [0xfe, 0xff, ..] => problem.allowed("UTF-8; this looks like UTF-16: save it as UTF-8"),
        _ => problem.allowed("JSON text in UTF-8"),
    };
    Problems::of(name, &String::from_utf8_lossy(bytes), Collected::one(problem))
}

/// What `serde_json` says about the first syntax error, in words for people who don't write parsers.
fn broken(text: &str, error: &serde_json::Error) -> Problem {
    if text.trim().is_empty() {
        return Problem::new("the file is empty").allowed("a script document; docs/script.md shows one");
    }
    let line_start = text.split_inclusive('\n').take(error.line().saturating_sub(1)).map(str::len).sum::<usize>();
    let mut at = (line_start + error.column().saturating_sub(1)).min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let said = error.to_string();
    let said = said.split(" at line ").next().unwrap_or_default();
    let rest = text.get(at..).unwrap_or_default();
    // The reader stops one character into some of these words.
    let word = text.get(at.saturating_sub(1)..).unwrap_or(rest);
    let starts = |what: &str| rest.starts_with(what) || word.starts_with(what);
    let comma_before = text.get(..at).is_some_and(|before| before.trim_end().ends_with(','));
    let (what, allowed) = if error.is_eof() {
        (format!("the file ends too early ({said})"), Some("a whole document; was it cut off?"))
    } else if starts("NaN") || starts("Infinity") || starts("-Infinity") || starts("nan") || starts("inf") {
        ("not a number that JSON has".to_owned(), Some("finite numbers such as 72 or 0.5"))
    } else if starts("//") || starts("/*") || starts("#") {
        ("JSON has no comments".to_owned(), Some("a \"notes\" text at the top of the document"))
    } else if starts("'") {
        ("single quotes around text".to_owned(), Some("double quotes"))
    } else if comma_before && (rest.starts_with(']') || rest.starts_with('}')) {
        ("a comma before the end of a list or object".to_owned(), Some("commas only between two of its members"))
    } else if !text.trim_start().starts_with(['{', '[']) {
        ("the file is not JSON".to_owned(), Some("a script document, which starts with {"))
    } else {
        (format!("broken JSON: {said}"), None)
    };
    let problem = Problem::new(what).at(at..at + rest.chars().next().map_or(0, char::len_utf8));
    Problem { allowed: allowed.map(str::to_owned), ..problem }
}

/// Where the walk is, as a JSON path.
#[derive(Clone, Copy)]
pub(crate) enum Path<'p> {
    Root,
    Key(&'p Path<'p>, &'p str),
    Index(&'p Path<'p>, usize),
}

impl Path<'_> {
    pub(crate) fn key<'p>(&'p self, key: &'p str) -> Path<'p> {
        Path::Key(self, key)
    }

    /// The last part, as a sentence calls it.
    fn here(&self) -> String {
        match self {
            Path::Root => "the document".to_owned(),
            Path::Key(_, key) => shown(key),
            Path::Index(..) => "a step".to_owned(),
        }
    }
}

impl fmt::Display for Path<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Path::Root => Ok(()),
            Path::Key(Path::Root, key) => f.write_str(&shown(key)),
            Path::Key(parent, key) => write!(f, "{parent}.{}", shown(key)),
            Path::Index(parent, index) => write!(f, "{parent}[{index}]"),
        }
    }
}

/// The walk over a document: what it found so far.
pub(crate) struct Walk {
    pub(crate) found: Collected,
    /// What the next step starts from.
    pub(crate) carried: Settings,
    /// Fields whose value was refused: no conflict is told of them.
    pub(crate) doubtful: [bool; FIELDS],
    pub(crate) parts: Vec<Part>,
}

impl Walk {
    fn document(&mut self, root: Node<'_>) -> Document {
        let path = Path::Root;
        let mut document = Document { title: None, notes: None, seed: 0, parts: Vec::new() };
        let Some(entries) = self.entries(root, &path, "a script document") else {
            return document;
        };
        let mut version = false;
        let mut steps = None;
        for entry in &entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "version" => {
                    version = true;
                    if entry.value.raw() != "1" {
                        let written = shown(entry.value.raw());
                        self.tell(
                            entry.value,
                            &path,
                            |p| p.allowed("1"),
                            format!("version {written} is not known here"),
                        );
                    }
                }
                "title" => document.title = self.line(entry.value, &path),
                "notes" => document.notes = self.text(entry.value, &path),
                "seed" => document.seed = self.whole(entry.value, &path, 0, u64::MAX).unwrap_or(0),
                "steps" => {
                    steps = Some(entry);
                    self.steps(entry.value, &path, 0);
                }
                key => self.unknown(entry, &path, &DOCUMENT_KEYS, nearest(key, DOCUMENT_KEYS).map(quoted)),
            }
        }
        if !version {
            self.missing(root, &path, "version", "\"version\": 1");
        }
        document.parts = std::mem::take(&mut self.parts);
        match steps {
            None => self.missing(root, &path, "steps", "\"steps\": [a list of steps]"),
            Some(entry) if self.found.is_empty() && too_long(&document) => {
                let path = path.key("steps");
                let allowed = "at most 136 years, what 64 bits of time can tell";
                self.tell(entry.key_node, &path, |p| p.allowed(allowed), "the script plays for too long".into());
            }
            Some(_) => {}
        }
        document
    }

    /// A list of steps and repeats at nesting `depth`; gives the level that a repeat around it has.
    fn steps(&mut self, node: Node<'_>, path: &Path<'_>, depth: usize) -> u8 {
        // Room for one more than allowed, so that the step too many is told at its place.
        let room = (MAX_STEPS + 1).saturating_sub(self.parts.len());
        let Some((list, _)) = node.list(room) else {
            self.wrong_kind(node, path, Kind::List);
            return 0;
        };
        if list.is_empty() && room > 0 {
            self.tell(node, path, |p| p.allowed("a list of at least one step"), "no steps".into());
        }
        let mut level = 0;
        for (index, node) in list.into_iter().enumerate() {
            let path = Path::Index(path, index);
            if self.parts.len() >= MAX_STEPS {
                if self.parts.len() == MAX_STEPS {
                    let allowed = format!("at most {MAX_STEPS}; a repeat plays steps more than once");
                    self.tell(node, &path, |p| p.allowed(allowed), "too many steps and repeats".into());
                    // Never read: it keeps the message from being told again by the lists around this one.
                    self.parts.push(Part::Repeat { first: 0, times: 0, level: 0 });
                }
                break;
            }
            let Some(entries) = self.entries(node, &path, "a step") else {
                continue;
            };
            if entries.iter().any(|entry| entry.key == "repeat") {
                level = level.max(self.repeat(node, &entries, &path, depth) + 1);
            } else {
                for step in self.step(node, &entries, &path) {
                    self.carried = carry::carried(&step.settings, &step.ramps);
                    self.parts.push(Part::Step(step));
                }
            }
        }
        level
    }

    /// A repeat at nesting `depth`; gives its level.
    fn repeat(&mut self, node: Node<'_>, entries: &[Entry<'_>], path: &Path<'_>, depth: usize) -> u8 {
        let first = self.parts.len() as u32;
        let mut times = 1;
        let mut level = None;
        for entry in entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "repeat" if depth >= MAX_NESTING => {
                    let allowed = format!("repeats in repeats up to {MAX_NESTING} deep");
                    self.tell(entry.key_node, &path, |p| p.allowed(allowed), "repeats are nested too deeply".into());
                }
                "repeat" => times = self.whole(entry.value, &path, 1, u64::from(u32::MAX)).unwrap_or(1) as u32,
                "steps" if depth >= MAX_NESTING => level = Some(0),
                "steps" => level = Some(self.steps(entry.value, &path, depth + 1)),
                key => self.unknown(entry, &path, &REPEAT_KEYS, nearest(key, REPEAT_KEYS).map(quoted)),
            }
        }
        if level.is_none() {
            self.missing(node, path, "steps", "\"steps\": [a list of steps] beside \"repeat\"");
        }
        let level = level.unwrap_or(0);
        self.parts.push(Part::Repeat { first, times, level });
        level
    }

    /// The entries of an object, with keys given twice told.
    pub(crate) fn entries<'a>(&mut self, node: Node<'a>, path: &Path<'_>, what: &str) -> Option<Vec<Entry<'a>>> {
        let Some((entries, count)) = node.object(MAX_KEYS) else {
            let told = format!("{} can't be {}", path.here(), node.kind().noun());
            self.tell(node, path, |p| p.allowed(format!("{what}: an object, {{...}}")), told);
            return None;
        };
        if count > MAX_KEYS {
            self.tell(node, path, |p| p.allowed(format!("at most {MAX_KEYS}")), format!("{count} keys in one object"));
        }
        let mut order: Vec<usize> = (0..entries.len()).collect();
        order.sort_by_key(|&i| entries.get(i).map(|entry| (&entry.key, i)));
        for pair in order.windows(2) {
            if let [Some(first), Some(second)] = [pair.first(), pair.last()].map(|i| entries.get(*i?))
                && first.key == second.key
            {
                let what = format!("key {} is given twice", quoted(&second.key));
                let problem = Problem::new(what).at(second.key_node.span()).path(path.key(&second.key));
                let also = Some((first.key_node.span(), "given here".to_owned()));
                self.found.push(Problem { also, ..problem });
            }
        }
        Some(entries)
    }

    /// A whole number from `min` to `max`.
    fn whole(&mut self, node: Node<'_>, path: &Path<'_>, min: u64, max: u64) -> Option<u64> {
        let value = node.raw().parse().ok().filter(|value| (min..=max).contains(value));
        if value.is_none() {
            let what = format!("{} can't be {}", path.here(), shown(node.raw()));
            self.tell(node, path, |p| p.allowed(format!("a whole number, {min} to {max}")), what);
        }
        value
    }

    /// Text.
    pub(crate) fn text(&mut self, node: Node<'_>, path: &Path<'_>) -> Option<String> {
        match node.text() {
            None if node.kind() == Kind::Text => {
                let allowed = "\\u escapes of characters outside the first 65 536 in pairs";
                self.tell(node, path, |p| p.allowed(allowed), "text with half a character".into());
                None
            }
            None => {
                self.wrong_kind(node, path, Kind::Text);
                None
            }
            text => text,
        }
    }

    /// Text that fits a line of a table.
    pub(crate) fn line(&mut self, node: Node<'_>, path: &Path<'_>) -> Option<String> {
        let line = self.text(node, path)?;
        if line.chars().count() > MAX_LINE || line.chars().any(char::is_control) {
            let allowed = format!("one line of at most {MAX_LINE} characters");
            self.tell(
                node,
                path,
                |p| p.allowed(allowed),
                format!("{} is too long or has more than one line", path.here()),
            );
        }
        Some(line)
    }

    pub(crate) fn wrong_kind(&mut self, node: Node<'_>, path: &Path<'_>, wanted: Kind) {
        let what = format!("{} can't be {}", path.here(), node.kind().noun());
        self.tell(node, path, |p| p.allowed(wanted.noun()), what);
    }

    pub(crate) fn missing(&mut self, node: Node<'_>, path: &Path<'_>, key: &str, allowed: &str) {
        self.tell(node, path, |p| p.allowed(allowed), format!("{} is missing", quoted(key)));
    }

    pub(crate) fn unknown(&mut self, entry: &Entry<'_>, path: &Path<'_>, keys: &[&str], nearest: Option<String>) {
        let allowed = join(keys.iter().copied());
        let what = format!("unknown key {}", quoted(&entry.key));
        self.tell(entry.key_node, path, |p| p.allowed(allowed).nearest(nearest), what);
    }

    /// Takes down a problem at a value.
    pub(crate) fn tell(
        &mut self,
        node: Node<'_>,
        path: &Path<'_>,
        more: impl FnOnce(Problem) -> Problem,
        what: String,
    ) {
        self.found.push(more(Problem::new(what).at(node.mark()).path(path)));
    }

    pub(crate) fn doubt(&mut self, field: Field, doubtful: bool) {
        if let Some(doubt) = self.doubtful.get_mut(field as usize) {
            *doubt = doubtful;
        }
    }
}
