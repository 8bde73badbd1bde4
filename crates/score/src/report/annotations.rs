//! Failures as the lines that build servers show beside a change: `::error title=TITLE::MESSAGE`.
//!
//! The form is that of workflow commands, which several build servers read from a program's output (common practice, no source).

use super::TestCase;
use pulsewright_text::fit;

/// Most failures listed one by one: a page with more of them helps no reader.
const MOST: usize = 50;

/// A line for each case that failed; the last one counts those that are left out.
pub fn lines(suite: &str, cases: &[TestCase]) -> Vec<String> {
    let failed = cases.iter().filter_map(|case| Some((case, case.failure.as_deref()?)));
    let mut lines: Vec<String> = failed
        .clone()
        .take(MOST)
        .map(|(case, why)| {
            let title = format!("{suite}: {}, {}", case.subject, case.name);
            format!("::error title={}::{}", property(&title), message(why))
        })
        .collect();
    let more = failed.count().saturating_sub(MOST);
    if more > 0 {
        lines.push(format!("::error title={}::{more} more failures", property(suite)));
    }
    lines
}

/// Text after the second `::`.
fn message(text: &str) -> String {
    fit::line(text).replace('%', "%25")
}

/// Text of a property, which ends at a comma or `::`.
fn property(text: &str) -> String {
    message(text).replace(':', "%3A").replace(',', "%2C")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_can_not_end_the_title() {
        let bad = TestCase::new("a::b,c", "se min", Some("se >= 99 %\n::error::forged".into()));
        let lines = lines("score", &[TestCase::new("good", "se min", None), bad]);
        assert_eq!(lines, ["::error title=score%3A a%3A%3Ab%2Cc%2C se min::se >= 99 %25\\n::error::forged"]);
    }

    #[test]
    fn many_failures_are_counted() {
        let cases = vec![TestCase::new("r", "se min", Some("low".into())); 60];
        let lines = lines("score", &cases);
        assert_eq!(lines.len(), 51);
        assert!(lines[50].ends_with("::10 more failures"));
    }
}
