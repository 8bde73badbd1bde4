//! Words of rhythms, keys of their documents, and the groups of the parameters.

use crate::keys::EACH;
use pulsewright_core::heart::catalogue;
use pulsewright_core::heart::rhythm::parameter::Parameter;

/// Keys of a rhythm's document that are not parameters, in the order in which they are written.
pub(crate) const KEYS: [&str; 4] = ["version", "extends", "name", "settings"];

/// Most rhythms of its own that a script has.
pub(crate) const MOST: usize = 200;

/// The form of a rhythm's word.
pub(crate) const PATTERN: &str = "^[a-z0-9][a-z0-9-]{0,47}$";

/// Whether a text has the form of a word: small letters, digits and hyphens, at most 48.
pub(crate) fn is_word(text: &str) -> bool {
    let inner = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
    (1..=48).contains(&text.len()) && text.bytes().all(inner) && !text.starts_with('-')
}

/// Whether a word has a meaning already.
pub(super) fn is_taken(word: &str) -> bool {
    word == EACH || word == catalogue::RECORDED.id || catalogue::find(word).is_some()
}

/// The groups of parameters, in the order of the table.
pub(super) fn groups() -> impl Iterator<Item = &'static str> {
    let group = |parameter: &Parameter| parameter.info().path.split_once('.').map(|(group, _)| group);
    let mut last = "";
    Parameter::ALL.iter().filter_map(group).filter(move |group| std::mem::replace(&mut last, group) != *group)
}
