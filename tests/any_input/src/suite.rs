//! Plans and limits of suites.

use pulsewright_score::Limits;
use pulsewright_suite::Plan;

/// Text gets a plan whose records have names of their own, or a message.
pub fn suite(text: &[u8]) {
    let Ok(text) = std::str::from_utf8(text) else { return };
    match Plan::parse(text, "any.json") {
        Err(error) => assert!(error.to_string().starts_with("any.json: ")),
        Ok(plan) => {
            assert!(!plan.records.is_empty());
            let mut names: Vec<&str> = plan.records.iter().map(|record| record.name.as_str()).collect();
            assert!(names.iter().all(|name| name.is_ascii() && !name.contains(['/', '\\'])));
            names.sort_unstable();
            names.dedup();
            assert_eq!(names.len(), plan.records.len());
            for record in [plan.records.first(), plan.records.last()].into_iter().flatten() {
                assert!(!record.dimensions().is_empty());
            }
        }
    }
}

/// Text gets limits, or a message.
pub fn limits(text: &[u8]) {
    let Ok(text) = std::str::from_utf8(text) else { return };
    let mut limits = Limits::default();
    match limits.add_json(text) {
        Ok(()) => assert!(limits.all.iter().all(|limit| limit.value.is_finite())),
        Err(problem) => assert!(!problem.to_string().is_empty()),
    }
}
