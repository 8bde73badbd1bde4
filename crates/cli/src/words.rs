//! Words of flags: finding the one meant, and naming the nearest when there is none.

/// The nearest of `words` to `typed`, if one is near enough to be meant.
pub fn nearest<'a>(typed: &str, words: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let typed = typed.to_lowercase();
    words
        .into_iter()
        .map(|word| (strsim::jaro_winkler(&typed, &word.to_lowercase()), word))
        .filter(|(likeness, _)| *likeness > 0.75)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, word)| word)
}

/// A message for a word that is none of `words`: the nearest one and where to find them all.
pub fn unknown<'a>(kind: &str, typed: &str, words: impl IntoIterator<Item = &'a str>, list: &str) -> String {
    let meant = nearest(typed, words).map_or(String::new(), |word| format!(" Did you mean '{word}'?"));
    format!("there is no {kind} '{typed}'.{meant} `pulsewright catalog {list}` lists them")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_word_is_found_or_none() {
        let words = ["sinus", "asystole", "atrial-fibrillation"];
        assert_eq!(nearest("sinis", words), Some("sinus"));
        assert_eq!(nearest("ASISTOLE", words), Some("asystole"));
        assert_eq!(nearest("atrial-fib", words), Some("atrial-fibrillation"));
        assert_eq!(nearest("xyzzy", words), None);
        assert_eq!(nearest("", words), None);
    }
}
