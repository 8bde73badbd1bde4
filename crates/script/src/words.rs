//! Words of a list and the one nearest to a written word; numbers and foreign text as printed in messages.

use crate::rhythm_words;
use crate::units;
use pulsewright_core::body::{BODIES, Body};
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::settings::{FieldInfo, FieldKind};
use pulsewright_text::fit::{cut, line};

/// Longest piece of a document quoted in a message, characters.
const QUOTED: usize = 48;

/// The word most like `written`, if one is close enough to be meant; for an abbreviation, the word in full.
pub fn nearest<'w>(written: &str, words: impl IntoIterator<Item = &'w str>) -> Option<&'w str> {
    // Longer than any word, so no word is near; the comparison takes time by the square of the length.
    if written.len() > 128 {
        return None;
    }
    let plain = plain(written);
    let in_full = rhythm_words::in_full(written);
    let likeness =
        |word: &str| if in_full == Some(word) { 1.0 } else { strsim::jaro_winkler(&plain, &word.to_lowercase()) };
    words
        .into_iter()
        .map(|word| (likeness(word), word))
        .filter(|(likeness, _)| *likeness > 0.75)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, word)| word)
}

/// As words are written in scripts: lower case, joined by hyphens (keys keep their underscores).
fn plain(written: &str) -> String {
    written.trim().to_lowercase().replace(' ', if written.contains('_') { "_" } else { "-" })
}

/// The rhythm with this word, or the allowed words and the nearest of them.
pub(crate) fn rhythm(word: &str) -> Result<&'static Rhythm, UnknownWord> {
    find("rhythm", word, RHYTHMS, |rhythm| rhythm.id)
        .map_err(|unknown| UnknownWord { allowed: rhythms([], unknown.nearest.is_some()), ..unknown })
}

/// The allowed words of rhythms, a script's `own` first. Where the nearest of them is `known` to the reader, the catalogue is
/// named in place of its list, which fills a screen.
pub(crate) fn rhythms<'w>(own: impl IntoIterator<Item = &'w str>, known: bool) -> String {
    let own = own.into_iter();
    if !known {
        return join(own.chain(RHYTHMS.iter().map(|rhythm| rhythm.id)));
    }
    let own = join(own);
    let rest = if own.is_empty() { own } else { format!("{own}; ") };
    format!("{rest}the words that `pulsewright catalog rhythms` lists")
}

/// The body with this word, or the allowed words and the nearest of them.
pub(crate) fn body(word: &str) -> Result<&'static Body, UnknownWord> {
    find("body", word, BODIES, |body| body.id)
}

/// A word that is not in its list.
#[derive(Debug)]
pub(crate) struct UnknownWord {
    pub(crate) what: String,
    pub(crate) allowed: String,
    pub(crate) nearest: Option<String>,
}

fn find<T>(list: &str, word: &str, all: &[&'static T], id: fn(&T) -> &'static str) -> Result<&'static T, UnknownWord> {
    all.iter().copied().find(|one| id(one) == word).ok_or_else(|| UnknownWord {
        what: format!("unknown {list} {}", quoted(word)),
        allowed: join(all.iter().map(|one| id(one))),
        nearest: nearest(word, all.iter().map(|one| id(one))).map(quoted),
    })
}

/// Words in a row, each in quotes.
pub fn join<'w>(words: impl IntoIterator<Item = &'w str>) -> String {
    words.into_iter().map(quoted).collect::<Vec<_>>().join(", ")
}

/// A piece of a document in quotes: shortened, fit for one line of a terminal.
pub fn quoted(text: &str) -> String {
    format!("\"{}\"", shown(text))
}

/// As [`quoted`], without the quotes.
pub fn shown(text: &str) -> String {
    line(&cut(text, QUOTED)).into_owned()
}

/// A field's range with its unit: "10 to 320 mmHg"; or its words.
pub(crate) fn range(info: &FieldInfo) -> String {
    match info.kind {
        FieldKind::Choice(words) => join(words.iter().copied()),
        FieldKind::Switch => "0 or 1".to_owned(),
        FieldKind::Count => format!("whole numbers from {} to {}", info.min, info.max),
        FieldKind::Number => format!("{} to {}{}", info.min, info.max, unit(info)),
    }
}

/// The values that a field takes, as a sentence ends: "a number of 10 to 320 mmHg".
pub(crate) fn kind(info: &FieldInfo) -> String {
    match info.kind {
        FieldKind::Choice(_) => format!("one of {}", range(info)),
        FieldKind::Switch => range(info),
        FieldKind::Count => format!("a whole number from {} to {}", info.min, info.max),
        FieldKind::Number => format!("a number of {}", range(info)),
    }
}

/// A field's unit with a leading space; nothing for plain numbers and switches.
pub(crate) fn unit(info: &FieldInfo) -> String {
    if info.kind == FieldKind::Switch { String::new() } else { units::after_number(info.unit) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn abbreviations_of_rhythms_find_their_word() {
        for row in rhythm_words::ALL {
            for short in row.words {
                let refused = rhythm(&short.to_uppercase()).unwrap_err();
                assert_eq!(refused.nearest, Some(quoted(row.id)), "{short}");
            }
        }
        // A list without the word does not get it.
        assert_eq!(nearest("vfib", ["II", "arterial"]), None);
    }
}
