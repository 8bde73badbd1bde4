//! JUnit XML, the form that build servers show test results from.

use pulsewright_text::fit;
use pulsewright_text::number::fixed;
use std::fmt::Write;

/// One test case.
#[derive(Clone, Debug, PartialEq)]
pub struct TestCase {
    /// The subject of the test: `gross`, a record, a reading.
    pub subject: String,
    /// Which of its figures.
    pub name: String,
    /// Why it failed; `None` if it passed.
    pub failure: Option<String>,
    /// How long it took, s; 0 for a case that only looks at figures.
    pub time_s: f64,
}

impl TestCase {
    /// A case that passed where there is no `failure`, and took no time.
    pub fn new(subject: &str, name: &str, failure: Option<String>) -> TestCase {
        TestCase { subject: subject.into(), name: name.into(), failure, time_s: 0.0 }
    }

    /// The case with the time that it took, s.
    pub fn taking(self, time_s: f64) -> TestCase {
        TestCase { time_s, ..self }
    }
}

/// Writes one test suite.
pub fn render(suite: &str, cases: &[TestCase]) -> String {
    let failures = cases.iter().filter(|case| case.failure.is_some()).count();
    let mut xml = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let suite = escaped(suite);
    let tests = cases.len();
    let time = fixed(cases.iter().map(|case| case.time_s).sum(), 3);
    // Writing to a String cannot fail.
    let _ = writeln!(xml, "<testsuites tests=\"{tests}\" failures=\"{failures}\" errors=\"0\" time=\"{time}\">");
    let _ = writeln!(
        xml,
        "  <testsuite name=\"{suite}\" tests=\"{tests}\" failures=\"{failures}\" errors=\"0\" skipped=\"0\" time=\"{time}\">"
    );
    for case in cases {
        let (subject, name) = (escaped(&case.subject), escaped(&case.name));
        let time = fixed(case.time_s, 3);
        let _ = write!(xml, "    <testcase classname=\"{suite}.{subject}\" name=\"{name}\" time=\"{time}\"");
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
        let bad = TestCase::new("a<b", "se \"min\"", Some("x & \u{1}".into()));
        let xml = render("score", &[TestCase::new("r", "se", None).taking(0.25), bad.taking(1.5)]);
        assert!(xml.contains("tests=\"2\" failures=\"1\""));
        assert!(xml.contains("classname=\"score.a&lt;b\" name=\"se &quot;min&quot;\""));
        assert!(xml.contains("message=\"x &amp; \\u{1}\""));
        assert!(xml.contains("name=\"se\" time=\"0.250\"/>") && xml.contains("skipped=\"0\" time=\"1.750\">"));
    }
}
