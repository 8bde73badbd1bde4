//! Long scripts for benches, as documents: a matrix of settings as a program writes it.

use std::fmt::Write;

/// A regular rhythm held for as long as anybody wants.
pub const ONE_STEP: &str = r#"{"version": 1, "steps": [{"duration_s": "hold", "rhythm": "sinus", "rate_bpm": 70}]}"#;

/// A document of `count` steps, each with a rhythm, a rate and settings of two groups; in turn with ramps and beats at set times.
pub fn document(count: usize) -> String {
    let mut text = String::from(
        "{\"version\": 1, \"seed\": 1, \"title\": \"Steps written by a program (invented)\", \"steps\": [\n",
    );
    for index in 0..count {
        let rhythm = ["sinus", "atrial-fibrillation"][index % 2];
        let (rate, gain, breaths) = (70 + index % 40, 10 + index % 7, 12 + index % 6);
        let more = match index % 10 {
            0 => ", \"artefact\": {\"mains_mv\": {\"to\": 0.05}}",
            5 => {
                ", \"beats\": [{\"at_s\": 5, \"site\": \"right-ventricular\"}, {\"at_s\": 7.5, \"site\": \"left-ventricular\"}]"
            }
            _ => "",
        };
        let comma = if index + 1 < count { "," } else { "" };
        // Writing to a string can't fail.
        let _ = writeln!(
            text,
            "  {{\"name\": \"step {index}\", \"duration_s\": 10, \"rhythm\": \"{rhythm}\", \"rate_bpm\": {rate}, \
             \"ecg\": {{\"gain\": {}.{}}}, \"breathing\": {{\"rate_per_min\": {breaths}}}{more}}}{comma}",
            gain / 10,
            gain % 10
        );
    }
    text.push_str("]}\n");
    text
}
