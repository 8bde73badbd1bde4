//! Problems of a script, each with its place.

/// The problems of a script with these documents under `key`, as `line:column path: what`.
#[track_caller]
pub fn problems(key: &str, documents: &str) -> Vec<String> {
    let text = format!("{{\"version\": 1, \"{key}\": {{\n{documents}\n}}, \"steps\": [{{\"duration_s\": 5}}]}}");
    let problems = pulsewright_script::parse(text.as_bytes(), "x.json").expect_err("a script with a mistake was read");
    let one = |problem: &pulsewright_script::Problem| {
        let (line, column) = problems.place(problem).expect("a place");
        format!("{line}:{column} {}: {}", problem.path, problem.what)
    };
    problems.list().iter().map(one).collect()
}
