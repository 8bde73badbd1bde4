//! JUnit XML, the form that build servers show test results from.

use pulsewright_text::fit;
use std::fmt::Write;

/// One test case.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Case {
    /// The subject of the test: `gross`, a record, a reading.
    pub subject: String,
    /// Which of its figures.
    pub name: String,
    /// Why it failed; `None` if it passed.
    pub failure: Option<String>,
}

impl Case {
    /// A case that passed.
    pub fn passed(subject: &str, name: &str) -> Case {
        Case { subject: subject.into(), name: name.into(), failure: None }
    }
}

/// Writes one test suite.
pub fn render(suite: &str, cases: &[Case]) -> String {
    let failures = cases.iter().filter(|case| case.failure.is_some()).count();
    let mut xml = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let suite = escaped(suite);
    let tests = cases.len();
    // Writing to a String cannot fail.
    let _ = writeln!(xml, "<testsuites tests=\"{tests}\" failures=\"{failures}\" errors=\"0\">");
    let _ = writeln!(
        xml,
        "  <testsuite name=\"{suite}\" tests=\"{tests}\" failures=\"{failures}\" errors=\"0\" skipped=\"0\">"
    );
    for case in cases {
        let (subject, name) = (escaped(&case.subject), escaped(&case.name));
        let _ = write!(xml, "    <testcase classname=\"{suite}.{subject}\" name=\"{name}\"");
        let _ = match &case.failure {
            None => writeln!(xml, "/>"),
            Some(why) => writeln!(xml, ">\n      <failure message=\"{}\"/>\n    </testcase>", escaped(why)),
        };
    }
    xml.push_str("  </testsuite>\n</testsuites>\n");
    xml
}

/// Text of an attribute: characters that XML 1.0 cannot hold and characters that can't be seen become escapes.
fn escaped(text: &str) -> String {
    fit::page(&fit::line(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn failures_and_odd_letters() {
        let bad = Case { subject: "a<b".into(), name: "se \"min\"".into(), failure: Some("x & \u{1}".into()) };
        let xml = render("score", &[Case::passed("r", "se"), bad]);
        assert!(xml.contains("tests=\"2\" failures=\"1\""));
        assert!(xml.contains("classname=\"score.a&lt;b\" name=\"se &quot;min&quot;\""));
        assert!(xml.contains("message=\"x &amp; \\u{1}\""));
    }
}
