//! Plans and limits of suites, plans of cohorts, earlier reports.

use pulsewright_score::{EarlierReport, FigureLimits};
use pulsewright_suite::SuitePlan;

/// Text gets a plan whose records have names of their own, or a message; as the plan of a cohort, patients or a message.
pub fn suite(text: &[u8]) {
    let Ok(text) = std::str::from_utf8(text) else { return };
    if let Ok(plan) = pulsewright_cohort::CohortPlan::parse(text, "any.json") {
        for number in [0, 1, u64::MAX] {
            if let Ok(patient) = plan.patient(number) {
                assert!(patient.values.iter().flatten().all(|value| value.is_finite()));
            }
        }
    }
    match SuitePlan::parse(text, "any.json") {
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

/// Text gets limits, or a message; and an earlier report, or a message.
pub fn limits(text: &[u8]) {
    let Ok(text) = std::str::from_utf8(text) else { return };
    if let Err(problem) = EarlierReport::parse(text) {
        assert!(!problem.to_string().is_empty());
    }
    let mut limits = FigureLimits::default();
    match limits.add_json(text) {
        Ok(()) => assert!(limits.all.iter().all(|limit| limit.value.is_finite())),
        Err(problem) => assert!(!problem.to_string().is_empty()),
    }
}
