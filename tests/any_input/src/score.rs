//! Results of detectors and monitors.

use pulsewright_score::read::annotation_file;
use pulsewright_score::read::header::{self, Header};
use pulsewright_score::read::{ReadOptions, TimeUnit, beats};
use pulsewright_score::report::{csv, json as report_json, text as report_text};
use pulsewright_score::{Annotations, FigureLimits, Report, ScoreOptions, alarms, readings, score_record};
use pulsewright_text::table as tables;

/// Bytes get annotations that can be scored against themselves and against none, or one problem.
pub fn annotations(bytes: &[u8]) {
    let _ = header::parse(&String::from_utf8_lossy(bytes));
    let header = Header { rate_hz: 250.0, frames: Some(100_000) };
    for (rate_hz, header) in [(Some(360.0), None), (None, Some(header)), (None, None)] {
        match annotation_file::parse(bytes, rate_hz, header) {
            Ok(found) => score(&found),
            Err(problem) => assert!(!problem.to_string().is_empty()),
        }
    }
}

/// Text gets a table, which is scored as beats, readings and alarms where its columns allow; or one problem.
pub fn table(text: &[u8]) {
    let table = match tables::read(text.to_vec(), None, None) {
        Ok(table) => table,
        Err(problem) => return assert!(!problem.to_string().is_empty()),
    };
    let frames = ReadOptions { unit: Some(TimeUnit::Frame), rate_hz: Some(360.0), ..ReadOptions::default() };
    let seconds = ReadOptions { unit: Some(TimeUnit::S), times_only: true, ..ReadOptions::default() };
    for options in [ReadOptions::default(), frames, seconds] {
        if let Ok(found) = beats::from_table(&table, &options) {
            score(&found);
        }
        if let Ok(measured) = readings::measured(&table, &options) {
            let expected = readings::expectations(&table).unwrap_or_default();
            let results = readings::score(&expected, &measured);
            assert_eq!(results.len(), expected.len());
            let _ = (readings::text(&results), readings::csv(&results), readings::cases(&results));
        }
        if let Ok(logged) = alarms::logged(&table, &options) {
            let expected = alarms::expected(&table).unwrap_or_default();
            if let Ok(results) = alarms::score(&expected, &logged) {
                assert_eq!(results.is_empty(), expected.is_empty() && logged.entries.is_empty());
                let _ = (alarms::text(&results), alarms::csv(&results), alarms::cases(&results));
            }
        }
    }
    if let Ok(episodes) = beats::episodes_from_table(&table) {
        let mut all = Annotations::default();
        all.add_episodes(episodes);
        score(&all);
    }
}

/// Annotations scored against themselves all match, unless two beats of one instant compete; against none, no annotation matches.
fn score(found: &Annotations) {
    let options = ScoreOptions { learning_s: 0.0, ..ScoreOptions::default() };
    let nothing = Annotations::default();
    let itself = score_record("itself", found, found, &options);
    if found.beats.windows(2).all(|pair| pair[0].at < pair[1].at) {
        assert_eq!((itself.figures.detection.missed, itself.figures.detection.extra), (0, 0));
    }
    let alone = score_record("alone", found, &nothing, &options);
    assert_eq!(alone.figures.detection.matched, 0);
    let noise = score_record("noise", &nothing, found, &options);
    assert_eq!(noise.figures.detection.matched, 0);
    let report = Report::new(&options, vec![itself, alone, noise], &FigureLimits::default());
    assert!(report_text::render(&report).contains("itself"));
    assert!(csv::render(&report).contains("itself"));
    let _: serde_json::Value = serde_json::from_str(&report_json(&report)).expect("JSON");
}
