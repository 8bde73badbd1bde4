//! Foreign text made fit for its place of display.
//!
//! A name, a note or a remark may hold characters that move a terminal's cursor, start a line that looks like ours, turn
//! the direction of the text after them, or make a spreadsheet calculate. They are shown as escapes, such as `\u{1b}`, so that a
//! reader sees that they are there.

use std::borrow::Cow;
use std::fmt::{self, Write as _};
use std::io;

/// Longest message, characters.
const LONGEST_MESSAGE: usize = 2000;

/// Whether a character does something instead of being seen: controls (C0, DEL, C1), line and paragraph separators, the
/// bidirectional controls of Unicode Standard Annex 9, invisible marks and tags.
///
/// The joiners U+200C and U+200D stay: several scripts cannot be written without them.
pub fn is_unfit(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{61c}' | '\u{180e}' | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{fffe}' | '\u{ffff}' | '\u{e0000}'..='\u{e007f}')
}

fn escape(c: char, into: &mut String) {
    into.extend(c.escape_default());
}

fn shown(text: &str, keep: impl Fn(char) -> bool) -> Cow<'_, str> {
    let unfit = |c: char| is_unfit(c) && !keep(c);
    if !text.contains(unfit) {
        return Cow::Borrowed(text);
    }
    let mut fit = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        if unfit(c) { escape(c, &mut fit) } else { fit.push(c) }
    }
    Cow::Owned(fit)
}

/// A word, name or remark within a line of a terminal: line ends are escaped too.
pub fn line(text: &str) -> Cow<'_, str> {
    shown(text, |_| false)
}

/// The same for anything that can be shown, such as a path.
pub fn line_of(what: impl fmt::Display) -> String {
    line(&what.to_string()).into_owned()
}

/// Text of several lines for a terminal: line ends and tabs stay.
///
/// It is no substitute for [`line()`] where a foreign word is put into a line.
pub fn block(text: &str) -> Cow<'_, str> {
    shown(text, |c| matches!(c, '\n' | '\t'))
}

/// A message of one line, cut where it would flood the terminal.
pub fn message(text: &str) -> String {
    cut(&line(text), LONGEST_MESSAGE).into_owned()
}

/// At most `most` characters of a text; `...` stands for the rest.
pub fn cut(text: &str, most: usize) -> Cow<'_, str> {
    match text.char_indices().nth(most) {
        None => Cow::Borrowed(text),
        Some((end, _)) => Cow::Owned(format!("{}...", text.get(..end).unwrap_or_default())),
    }
}

/// Text of a page or a drawing: markup characters of HTML and XML become references, unseen characters escapes.
pub fn page(text: &str) -> String {
    let mut fit = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        match c {
            '&' => fit.push_str("&amp;"),
            '<' => fit.push_str("&lt;"),
            '>' => fit.push_str("&gt;"),
            '"' => fit.push_str("&quot;"),
            '\'' => fit.push_str("&#39;"),
            '\n' | '\t' => fit.push(c),
            c if is_unfit(c) => escape(c, &mut fit),
            c => fit.push(c),
        }
    }
    fit
}

/// A JSON document as a terminal may show it: the same document, its unseen characters written as JSON escapes.
pub fn json(document: &str) -> Cow<'_, str> {
    let unfit = |c: char| is_unfit(c) && !matches!(c, '\n' | '\r' | '\t');
    if !document.contains(unfit) {
        return Cow::Borrowed(document);
    }
    let mut fit = String::with_capacity(document.len() + 16);
    for c in document.chars() {
        if unfit(c) {
            for unit in c.encode_utf16(&mut [0; 2]) {
                // Writing to a string cannot fail.
                let _ = write!(fit, "\\u{unit:04x}");
            }
        } else {
            fit.push(c);
        }
    }
    Cow::Owned(fit)
}

/// A cell of a table that a spreadsheet may open, before it is quoted: one line, and never a formula.
///
/// A spreadsheet calculates a cell that starts with `=`, `+`, `-`, `@` (or their wide forms), also behind blanks. Such a
/// cell gets an apostrophe before it, unless it is a plain number, which words without operators may follow, as a unit does.
/// (OWASP, "CSV Injection", from memory.)
pub fn cell(text: &str) -> Cow<'_, str> {
    let fit = line(text);
    let start = fit.trim_start();
    let calculates = start.starts_with(['=', '+', '-', '@', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}']);
    // Controls before it were escaped by now, and a backslash starts no formula.
    if calculates && !is_number(start.trim_end()) { Cow::Owned(format!("'{fit}")) } else { fit }
}

/// Digits with a sign, a point or comma, an exponent; then words of letters and digits. A slash is part of a word, as in `mV/s`:
/// anywhere else it would divide.
fn is_number(text: &str) -> bool {
    let (text, words) = text.split_once(' ').unwrap_or((text, ""));
    let plain = words.chars().all(|letter| letter.is_alphanumeric() || " .,%/".contains(letter))
        && words.split('/').skip(1).all(|part| part.starts_with(char::is_alphanumeric))
        && words.split('/').rev().skip(1).all(|part| part.ends_with(char::is_alphanumeric));
    plain
        && text.bytes().all(|byte| byte.is_ascii_digit() || b"+-.,eE".contains(&byte))
        && text.replace(',', ".").parse::<f64>().is_ok()
}

/// A terminal behind [`block`]: all text reaches it with its unseen characters shown.
#[derive(Debug)]
pub struct TerminalText<W> {
    inner: W,
    /// The start of a character whose end is still to come.
    cut: Vec<u8>,
}

impl<W: io::Write> TerminalText<W> {
    /// Writes to `inner`.
    pub fn new(inner: W) -> TerminalText<W> {
        TerminalText { inner, cut: Vec::new() }
    }
}

impl<W: io::Write> io::Write for TerminalText<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut all = std::mem::take(&mut self.cut);
        all.extend_from_slice(bytes);
        let mut chunks = all.utf8_chunks().peekable();
        while let Some(chunk) = chunks.next() {
            self.inner.write_all(block(chunk.valid()).as_bytes())?;
            let broken = chunk.invalid();
            // Only the last bytes of the text can be a character that goes on.
            let unfinished = chunks.peek().is_none() && broken.len() < 4;
            if unfinished && std::str::from_utf8(broken).is_err_and(|error| error.error_len().is_none()) {
                self.cut = broken.to_vec();
            } else if !broken.is_empty() {
                self.inner.write_all("\u{fffd}".as_bytes())?;
            }
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_moves_a_cursor_or_forges_a_line_is_seen() {
        assert_eq!(line("a\u{1b}[31mb\nc\u{202e}d\u{9b}e\u{2028}f"), "a\\u{1b}[31mb\\nc\\u{202e}d\\u{9b}e\\u{2028}f");
        assert_eq!(line("Straße 心電圖 e\u{301} 5\u{b5}V"), "Straße 心電圖 e\u{301} 5\u{b5}V");
        assert_eq!(block("a\n\tb\r\u{7}"), "a\n\tb\\r\\u{7}");
        for c in (0..=0x10_ffff).filter_map(char::from_u32) {
            let fit = line_of(c);
            assert!(!fit.contains(is_unfit) && fit.lines().count() <= 1, "{c:?}");
        }
    }

    #[test]
    fn pages_mark_nothing_up() {
        assert_eq!(
            page("<meta a=\"b\" c='d'> & \u{202e}"),
            "&lt;meta a=&quot;b&quot; c=&#39;d&#39;&gt; &amp; \\u{202e}"
        );
    }

    #[test]
    fn documents_stay_the_same() {
        let text = serde_json::to_string(&"a\u{202e}b\u{e0041}\u{9b}\u{7f}").unwrap();
        let fit = json(&text);
        assert!(fit.is_ascii());
        assert_eq!(serde_json::from_str::<String>(&fit).unwrap(), "a\u{202e}b\u{e0041}\u{9b}\u{7f}");
    }

    #[test]
    fn cells_calculate_nothing() {
        for text in [
            "=cmd|' /C calc'!A0",
            "@SUM(1)",
            "+1+cmd",
            "-2-3",
            "-2 +3",
            "-1 cmd|' /C calc'!A0",
            "-1 /A1",
            "-1 / A1",
            "+1 A(2)",
            "  =1",
            "\u{ff1d}1",
            "-",
        ] {
            assert_eq!(cell(text), format!("'{text}"));
        }
        for text in ["-3.5", "+7", "-1e-3", "-2,5", "-0.5 mV", "-300 mV, 320 mV/s", "72 bpm", "", "a=b", "'=1"] {
            assert_eq!(cell(text), text);
        }
        assert_eq!(cell("\t=1"), "\\t=1");
    }

    #[test]
    fn a_terminal_gets_whole_characters_and_no_controls() {
        let text = "Straße\n\u{1b}[2J\t\u{202e}\u{1f600}\r";
        for size in 1..6 {
            let mut terminal = TerminalText::new(Vec::new());
            text.as_bytes().chunks(size).for_each(|part| io::Write::write_all(&mut terminal, part).unwrap());
            assert_eq!(terminal.inner, block(text).as_bytes(), "{size}");
        }
        let mut terminal = TerminalText::new(Vec::new());
        io::Write::write_all(&mut terminal, b"a\xffb\xc3").unwrap();
        assert_eq!(terminal.inner, "a\u{fffd}b".as_bytes());
    }

    #[test]
    fn messages_end() {
        assert_eq!(message(&"x".repeat(1 << 20)).len(), LONGEST_MESSAGE + 3);
        assert_eq!(cut("Straße", 5), "Straß...");
    }
}
