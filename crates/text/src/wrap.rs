//! Lines broken between words.

use crate::fit;

/// A text in lines of at most `width` columns, broken between words; later lines keep the indent of the first. A word that is longer
/// than a line gets lines of its own. A no-break space does not part words. Characters that do something instead of being seen are escaped.
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let text = fit::block(text);
    text.split('\n').flat_map(|line| one(line, width.max(1))).collect()
}

fn one(line: &str, width: usize) -> Vec<String> {
    let indent: String = line.chars().take_while(|letter| *letter == ' ').take(width / 2).collect();
    let mut lines = vec![indent.clone()];
    for word in line.split(' ').filter(|word| !word.is_empty()) {
        let mut rest: Vec<char> = word.chars().collect();
        while !rest.is_empty() {
            let Some(last) = lines.last_mut() else { break };
            let used = last.chars().count();
            let gap = usize::from(used > indent.len());
            if used + gap + rest.len() <= width {
                last.push_str(if gap == 1 { " " } else { "" });
                last.extend(rest.drain(..));
            } else if gap == 1 {
                lines.push(indent.clone());
            } else {
                let room = width.saturating_sub(used).max(1).min(rest.len());
                last.extend(rest.drain(..room));
                if !rest.is_empty() {
                    lines.push(indent.clone());
                }
            }
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_between_words_and_keep_every_letter() {
        let text = "  Alarm Ventricular fibrillation, high priority, at the latest 10 s after the start";
        for width in [12, 30, 60, 90] {
            let lines = wrap(text, width);
            assert!(lines.iter().all(|line| line.chars().count() <= width), "{lines:?}");
            let words = |text: &str| text.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
            if width >= 20 {
                assert_eq!(words(&lines.join(" ")), words(text));
            }
            let letters = |text: &str| text.chars().filter(|letter| *letter != ' ').collect::<String>();
            assert_eq!(letters(&lines.concat()), letters(text));
        }
        assert_eq!(wrap("one\n\ntwo", 20), ["one", "", "two"]);
        assert_eq!(wrap("a\u{1b}[2J", 20), ["a\\u{1b}[2J"]);
    }
}
