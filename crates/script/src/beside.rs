//! Documents that a script holds under a word of its own, or names as files beside it.

use crate::problem::{Problem, Problems};
use crate::reader::{DocumentKind, JsonNode, NodeEntry, NodeKind, Path, open, quoted, shown};
use crate::rhythms::word::is_word;
use crate::walk::{DocumentWalk, nothing_beside};

/// A kind of document that may lie beside a script.
pub(crate) struct BesideKind {
    /// For messages about its file.
    pub(crate) kind: DocumentKind,
    /// Whose file: "rhythm".
    pub(crate) noun: &'static str,
    /// Several of them: "rhythms".
    pub(crate) plural: &'static str,
    /// Most of them that a script has.
    pub(crate) most: usize,
    /// The name of a file, for an example.
    pub(crate) file: &'static str,
}

impl DocumentWalk<'_> {
    /// Whether a script that has `count` documents of a kind can have one more under the key of `entry`; reports why not.
    /// `taken` says that the catalogue has the word.
    pub(crate) fn admits(
        &mut self,
        entry: &NodeEntry<'_>,
        path: &Path<'_>,
        of: &BesideKind,
        taken: bool,
        count: usize,
    ) -> bool {
        let (word, noun) = (entry.key.as_str(), of.noun);
        let (allowed, what) = if !is_word(word) {
            ("small letters, digits and hyphens, at most 48".to_owned(), format!("can't be a {noun}'s word"))
        } else if taken {
            (
                format!("a word of one's own, and \"extends\" to change a {noun}"),
                "is a word of the catalogue".to_owned(),
            )
        } else if count >= of.most {
            (format!("at most {} {}", of.most, of.plural), format!("is one {noun} too many"))
        } else {
            return true;
        };
        self.report(entry.key_node, path, |p| p.allowed(allowed), format!("{} {what}", quoted(word)));
        false
    }

    /// The version of a document of a script's own, which is 1.
    pub(crate) fn own_version(&mut self, node: JsonNode<'_>, path: &Path<'_>) {
        if node.raw() != "1" {
            let what = format!("version {} is not known here", shown(node.raw()));
            self.report(node, path, |p| p.allowed("1"), what);
        }
    }

    /// The name and the bytes of a file beside the script that a text names; `noun` is its content, `example`
    /// a name, in messages.
    pub(crate) fn file_beside(
        &mut self,
        node: JsonNode<'_>,
        path: &Path<'_>,
        noun: &str,
        example: &str,
    ) -> Option<(String, Vec<u8>)> {
        let file = self.file_name_beside(node, path, example)?;
        match (self.beside)(&file) {
            Ok(bytes) => Some((file, bytes)),
            Err(why) => {
                let what = format!("the {noun}'s file {} can't be read: {}", shown(&file), shown(&why));
                self.report(node, path, |p| p, what);
                None
            }
        }
    }

    /// The name of a file beside the script, such as `example`, that a text gives.
    pub(crate) fn file_name_beside(&mut self, node: JsonNode<'_>, path: &Path<'_>, example: &str) -> Option<String> {
        let file = self.text(node, path)?;
        let inside = !file.is_empty()
            && !file.contains(['\\', '\0', ':'])
            && !file.split('/').any(|part| matches!(part, "" | "." | ".."));
        if !inside {
            let allowed = format!("a file in the script's folder or below, such as \"{example}\"");
            self.report(node, path, |p| p.allowed(allowed), format!("{} is no file beside the script", quoted(&file)));
            return None;
        }
        Some(file)
    }

    /// The value that `read` gives of a document written here, or in a file beside the script.
    pub(crate) fn here_or_beside<T>(
        &mut self,
        node: JsonNode<'_>,
        path: &Path<'_>,
        of: &BesideKind,
        read: impl Fn(&mut DocumentWalk<'_>, JsonNode<'_>, &Path<'_>) -> Option<T>,
    ) -> Option<T> {
        if node.kind() != NodeKind::Text {
            return read(self, node, path);
        }
        let (file, text) = self.file_beside(node, path, of.noun, of.file)?;
        // A walk of its own: places are those of the file.
        let mut walk = self.of_file(&nothing_beside);
        let problems = match open(&text, &file, &of.kind) {
            Ok((text, root)) => {
                let found = read(&mut walk, root, &Path::Root);
                let versioned =
                    root.object(usize::MAX).is_some_and(|(entries, _)| entries.iter().any(|e| e.key == "version"));
                if !versioned {
                    walk.missing(root, &Path::Root, "version", "\"version\": 1");
                }
                if walk.found.is_empty() {
                    return found;
                }
                Problems::of(&file, text, walk.found)
            }
            Err(problems) => problems,
        };
        for problem in problems.list() {
            let at = problems.place(problem).map_or(String::new(), |(line, column)| format!(":{line}:{column}"));
            let what = format!("{}{at}: {}", shown(&file), problem.what);
            let (allowed, nearest) = (problem.allowed.clone(), problem.nearest.clone());
            self.report(node, path, |p| Problem { allowed, nearest, ..p }, what);
        }
        None
    }
}
