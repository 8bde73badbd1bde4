//! Reading any JSON document with every mistake reported at its place: values, their paths, and their problems.
//!
//! [`open`] checks the text and gives its one value; the reader of a kind of document goes on from there with the methods of
//! [`ProblemCollector`], and turns the problems found into [`Problems`].

pub use crate::problem::{Problem, ProblemCollector, Problems};
pub use crate::words::{join, nearest, quoted, shown};
pub use pulsewright_text::node::{JsonNode, NodeEntry, NodeKind};

use crate::limits::MAX_BYTES;
use pulsewright_text::json::{self, MAX_DEPTH, too_deep};
use std::fmt;
use std::ops::RangeInclusive;

/// Entries of one object looked at; more than any document could name.
const MAX_KEYS: usize = 1000;

/// Longest title or name, characters.
pub(crate) const MAX_LINE: usize = 200;

/// The name of a kind of document in messages.
#[derive(Clone, Copy, Debug)]
pub struct DocumentKind {
    /// With its article: "a script".
    pub noun: &'static str,
    /// As a text: "a script document".
    pub shape: &'static str,
    /// Where one can be seen.
    pub help: &'static str,
}

/// The text of a document and its one value, all of the syntax checked.
///
/// # Errors
/// Text that is too long, not UTF-8 or not JSON: the first problem, as the text after it can't be read.
pub fn open<'a>(text: &'a [u8], name: &str, kind: &DocumentKind) -> Result<(&'a str, JsonNode<'a>), Problems> {
    if text.len() > MAX_BYTES {
        return Err(Problems::of(name, "", ProblemCollector::one(too_large(kind))));
    }
    let bytes = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => return Err(not_utf8(bytes, error.valid_up_to(), name)),
    };
    if let Some(at) = too_deep(text) {
        let problem = Problem::new("nested too deeply").at(at..at + 1).allowed(format!("at most {MAX_DEPTH} levels"));
        return Err(Problems::of(name, text, ProblemCollector::one(problem)));
    }
    match JsonNode::root(text) {
        Ok(root) => Ok((text, root)),
        Err(error) => Err(Problems::of(name, text, ProblemCollector::one(broken(text, &error, kind)))),
    }
}

fn too_large(kind: &DocumentKind) -> Problem {
    Problem::new(format!("the file is too large for {}", kind.noun)).allowed(format!("at most {} MiB", MAX_BYTES >> 20))
}

fn not_utf8(bytes: &[u8], valid: usize, name: &str) -> Problems {
    let problem = Problem::new("the file is not UTF-8 text").at(valid..valid + '\u{fffd}'.len_utf8());
    let problem = match bytes {
        [0xff, 0xfe, ..] | [0xfe, 0xff, ..] => problem.allowed("UTF-8; this looks like UTF-16: save it as UTF-8"),
        _ => problem.allowed("JSON text in UTF-8"),
    };
    Problems::of(name, &String::from_utf8_lossy(bytes), ProblemCollector::one(problem))
}

/// The first syntax error of `serde_json`, in words for people who don't write parsers.
fn broken(text: &str, error: &serde_json::Error, kind: &DocumentKind) -> Problem {
    if text.trim().is_empty() {
        return Problem::new("the file is empty").allowed(format!("{}; {}", kind.shape, kind.help));
    }
    let line_start = text.split_inclusive('\n').take(error.line().saturating_sub(1)).map(str::len).sum::<usize>();
    let mut at = (line_start + error.column().saturating_sub(1)).min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let said = json::without_place(error);
    let rest = text.get(at..).unwrap_or_default();
    // The reader stops one character into some of these words.
    let word = text.get(at.saturating_sub(1)..).unwrap_or(rest);
    let starts = |what: &str| rest.starts_with(what) || word.starts_with(what);
    let comma_before = text.get(..at).is_some_and(|before| before.trim_end().ends_with(','));
    let (what, allowed) = if error.is_eof() {
        (format!("the file ends too early ({said})"), Some("a whole document; was it cut off?".to_owned()))
    } else if starts("NaN") || starts("Infinity") || starts("-Infinity") || starts("nan") || starts("inf") {
        ("not a number that JSON has".to_owned(), Some("finite numbers such as 72 or 0.5".to_owned()))
    } else if starts("//") || starts("/*") || starts("#") {
        ("JSON has no comments".to_owned(), Some("a \"notes\" text at the top of the document".to_owned()))
    } else if starts("'") {
        ("single quotes around text".to_owned(), Some("double quotes".to_owned()))
    } else if comma_before && (rest.starts_with(']') || rest.starts_with('}')) {
        (
            "a comma before the end of a list or object".to_owned(),
            Some("commas only between two of its members".to_owned()),
        )
    } else if !text.trim_start().starts_with(['{', '[']) {
        ("the file is not JSON".to_owned(), Some(format!("{}, which starts with {{", kind.shape)))
    } else {
        (format!("broken JSON: {said}"), None)
    };
    let problem = Problem::new(what).at(at..at + rest.chars().next().map_or(0, char::len_utf8));
    Problem { allowed, ..problem }
}

/// Where the walk is, as a JSON path.
#[derive(Clone, Copy)]
pub enum Path<'p> {
    /// The document.
    Root,
    /// Behind a key.
    Key(&'p Path<'p>, &'p str),
    /// At an index of a list.
    Index(&'p Path<'p>, usize),
}

impl Path<'_> {
    /// Behind `key`.
    pub fn key<'p>(&'p self, key: &'p str) -> Path<'p> {
        Path::Key(self, key)
    }

    /// The last part, as a sentence calls it.
    pub fn here(&self) -> String {
        match self {
            Path::Key(_, key) => shown(key),
            Path::Index(Path::Key(_, "steps"), _) => "a step".to_owned(),
            Path::Index(Path::Key(_, list), _) => format!("an entry of {}", shown(list)),
            Path::Index(..) | Path::Root => "the document".to_owned(),
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

impl ProblemCollector {
    /// A number of a range, with its unit for the message.
    pub fn number(
        &mut self,
        node: JsonNode<'_>,
        path: &Path<'_>,
        range: RangeInclusive<f64>,
        unit: &str,
    ) -> Option<f64> {
        if node.kind() != NodeKind::Number {
            self.wrong_kind(node, path, NodeKind::Number);
            return None;
        }
        let value = node.raw().parse().ok().filter(|value| range.contains(value));
        if value.is_none() {
            let allowed = format!("{} to {} {unit}", range.start(), range.end());
            let what = format!("{} can't be {} {unit}", path.here(), shown(node.raw()));
            self.report(node, path, |p| p.allowed(allowed.trim_end()), what.trim_end().to_owned());
        }
        value
    }

    /// A word of a list: its index.
    pub fn word(&mut self, node: JsonNode<'_>, path: &Path<'_>, words: &[&str]) -> Option<usize> {
        let written = self.text(node, path)?;
        let found = words.iter().position(|word| *word == written);
        if found.is_none() {
            let nearest = nearest(&written, words.iter().copied()).map(quoted);
            let allowed = join(words.iter().copied());
            let what = format!("{} can't be {}", path.here(), quoted(&written));
            self.report(node, path, |p| p.allowed(allowed).nearest(nearest), what);
        }
        found
    }

    /// The entries of an object; keys given twice are reported.
    pub fn entries<'a>(&mut self, node: JsonNode<'a>, path: &Path<'_>, what: &str) -> Option<Vec<NodeEntry<'a>>> {
        let Some((entries, count)) = node.object(MAX_KEYS) else {
            let problem = format!("{} can't be {}", path.here(), node.kind().noun());
            self.report(node, path, |p| p.allowed(format!("{what}: an object, {{...}}")), problem);
            return None;
        };
        if count > MAX_KEYS {
            self.report(
                node,
                path,
                |p| p.allowed(format!("at most {MAX_KEYS}")),
                format!("{count} keys in one object"),
            );
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
                self.push(Problem { also, ..problem });
            }
        }
        Some(entries)
    }

    /// A whole number from `min` to `max`.
    pub fn whole(&mut self, node: JsonNode<'_>, path: &Path<'_>, min: u64, max: u64) -> Option<u64> {
        let value = node.raw().parse().ok().filter(|value| (min..=max).contains(value));
        if value.is_none() {
            let what = format!("{} can't be {}", path.here(), shown(node.raw()));
            self.report(node, path, |p| p.allowed(format!("a whole number, {min} to {max}")), what);
        }
        value
    }

    /// Text.
    pub fn text(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<String> {
        match node.text() {
            None if node.kind() == NodeKind::Text => {
                let allowed = "\\u escapes of characters outside the first 65 536 in pairs";
                self.report(node, path, |p| p.allowed(allowed), "text with half a character".into());
                None
            }
            None => {
                self.wrong_kind(node, path, NodeKind::Text);
                None
            }
            text => text,
        }
    }

    /// Text that fits a line of a table.
    pub fn line(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<String> {
        let line = self.text(node, path)?;
        if line.chars().count() > MAX_LINE || line.chars().any(char::is_control) {
            let allowed = format!("one line of at most {MAX_LINE} characters");
            self.report(
                node,
                path,
                |p| p.allowed(allowed),
                format!("{} is too long or has more than one line", path.here()),
            );
        }
        Some(line)
    }

    /// Reports that a value is of another kind than wanted.
    pub fn wrong_kind(&mut self, node: JsonNode<'_>, path: &Path<'_>, wanted: NodeKind) {
        let what = format!("{} can't be {}", path.here(), node.kind().noun());
        self.report(node, path, |p| p.allowed(wanted.noun()), what);
    }

    /// Reports that a key is missing in an object.
    pub fn missing(&mut self, node: JsonNode<'_>, path: &Path<'_>, key: &str, allowed: &str) {
        self.report(node, path, |p| p.allowed(allowed), format!("{} is missing", quoted(key)));
    }

    /// Reports a key that is none of `keys`.
    pub fn unknown(&mut self, entry: &NodeEntry<'_>, path: &Path<'_>, keys: &[&str], nearest: Option<String>) {
        let allowed = join(keys.iter().copied());
        let what = format!("unknown key {}", quoted(&entry.key));
        self.report(entry.key_node, path, |p| p.allowed(allowed).nearest(nearest), what);
    }

    /// Takes down a problem at a value.
    pub fn report(&mut self, node: JsonNode<'_>, path: &Path<'_>, more: impl FnOnce(Problem) -> Problem, what: String) {
        self.push(more(Problem::new(what).at(node.mark()).path(path)));
    }
}
