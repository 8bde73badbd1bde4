//! The plan of a suite: a matrix of rhythms, rates, bodies, settings, frame rates and seeds, as a JSON document.
//!
//! ```json
//! {
//!   "version": 1,
//!   "duration_s": 10,
//!   "channels": ["II"],
//!   "score": {"learning_s": 2},
//!   "blocks": [
//!     {"rhythm": ["sinus", "atrial-fibrillation"], "rate_bpm": ["usual", 60, 140],
//!      "frame_rate_hz": [250, 500], "seed": {"from": 1, "count": 20}, "set": {"ecg.gain": [0.5, 1]}}
//!   ]
//! }
//! ```
//!
//! Every block is multiplied out by itself. Combinations that exclude each other (a rate that the rhythm does not allow)
//! are left out and listed in [`SuitePlan::left_out`]; a word or number that could never be right is an error. A rhythm
//! without beats has no rate, so its rates make one record, not many.
//!
//! A block may have recordings in place of a matrix: `{"recordings": [{"record": "100.hea", "channels": {"II": "MLII"}}]}`; each is
//! played whole, with its annotations as truth.
//!
//! A block may have scripts in place of a matrix: `{"scripts": ["night.json"]}`; each is played whole, with all that a script can have:
//! series of beats, recordings, bodies and rhythms of its own. A matrix and scripts may have noise of recordings:
//! `"noise": {"file": ["cable.hea"], "snr_db": [12, 0]}`.
//!
//! A block may have people in place of a matrix: `{"people": {...}, "patients": {"from": 0, "count": 200}}`, as
//! [`pulsewright_cohort::people`] draws them.

mod axes;
mod beside;
mod file;
mod noise;
mod patients;
mod recordings;
mod scripts;

use crate::error::SuiteError;
use crate::record::{SuiteRecord, name};
use axes::Axes;
pub use axes::MOST_RECORDS;
use beside::PlanFolder;
use file::{BitsWord, PlanFile, ScoreRules, SignalWord};
use pulsewright_cohort::plan::channels;
use pulsewright_core::frame::Channel;
use pulsewright_files::{Bits, Encoding, FileFormat};
use pulsewright_score::record::{Events, ScoreOptions};
use pulsewright_text::{json, source};
use serde_json::Value;
use std::path::Path;

/// Most scripts of a plan, those that are left out included; frame rates and seeds make records of a script, not scripts.
pub const MOST_SCRIPTS: usize = 100_000;

/// A plan that holds together.
#[derive(Clone, Debug)]
pub struct SuitePlan {
    /// Its title; may be empty.
    pub title: String,
    /// Channels of every record.
    pub channels: Vec<Channel>,
    /// Format of the signals.
    pub format: FileFormat,
    /// How every record is scored.
    pub options: ScoreOptions,
    /// The pressure channel whose pulses are scored, where there are several.
    pub pulse_channel: Option<String>,
    /// Every record, in the order of the report.
    pub records: Vec<SuiteRecord>,
    /// Combinations that exclude each other, each with the reason.
    pub left_out: Vec<String>,
    /// The document as it was read, to distinguish plans.
    pub document: Value,
}

impl SuitePlan {
    /// Reads a plan that names no files; `source` is its name in messages.
    ///
    /// # Errors
    /// [`SuiteError::Plan`] with the place and the allowed values.
    pub fn parse(text: &str, source: &str) -> Result<SuitePlan, SuiteError> {
        SuitePlan::parse_beside(text, source, None)
    }

    /// As [`SuitePlan::parse`]; the files that the plan names lie in `folder`.
    ///
    /// # Errors
    /// As [`SuitePlan::parse`].
    pub fn parse_beside(text: &str, source: &str, folder: Option<&Path>) -> Result<SuitePlan, SuiteError> {
        let syntax = |broken: json::JsonError| SuiteError::Plan(format!("{source}: {broken}"));
        let document: Value = json::value(text).map_err(syntax)?;
        let file: PlanFile = json::parse(text).map_err(syntax)?;
        SuitePlan::of(file, document, folder).map_err(|what| SuiteError::Plan(format!("{source}: {what}")))
    }

    /// Reads the plan in a file.
    ///
    /// # Errors
    /// As [`SuitePlan::parse`], and when the file can't be read.
    pub fn read(path: &Path) -> Result<SuitePlan, SuiteError> {
        let source = source::name(path);
        let bytes = source::file(path, source::DOCUMENT).map_err(|error| SuiteError::Plan(error.to_string()))?;
        let text = source::utf8(&bytes)
            .map_err(|at| SuiteError::Plan(format!("{source}: byte {at} is not UTF-8 text; save it as UTF-8")))?;
        SuitePlan::parse_beside(text, &source, path.parent())
    }

    /// Digests of the files beside a plan join the document, so that answers to others of the same names are not taken.
    fn note_digests(&mut self, digests: Vec<String>) {
        if let (false, Some(document)) = (digests.is_empty(), self.document.as_object_mut()) {
            let all = document.entry("recorded").or_insert_with(|| Value::Array(Vec::new()));
            all.as_array_mut().into_iter().for_each(|all| all.extend(digests.iter().cloned().map(Value::from)));
        }
    }

    fn of(file: PlanFile, document: Value, folder: Option<&Path>) -> Result<SuitePlan, String> {
        if file.version != 1 {
            return Err(format!("version is {}; this program reads version 1", file.version));
        }
        let options = options(&file.score)?;
        if file.duration_s <= options.learning_s {
            return Err(format!(
                "records of {} s end within the learning period of {} s, so nothing would be scored; \
                 lengthen duration_s or set \"score\": {{\"learning_s\": 2}}",
                file.duration_s, options.learning_s
            ));
        }
        let channels = channels(&file.channels)?;
        let pressure = |channel: &Channel| matches!(channel, Channel::Pressure(_));
        if options.events == Events::Pulses && !channels.iter().any(pressure) {
            return Err(
                "score.events: pulses are those of a pressure; name one in channels, such as \"arterial\"".to_owned()
            );
        }
        let mut plan = SuitePlan {
            title: file.title,
            channels,
            format: format(file.signal, file.bits)?,
            options,
            pulse_channel: file.score.channel,
            records: Vec::new(),
            left_out: Vec::new(),
            document,
        };
        if file.blocks.is_empty() {
            return Err("blocks: none; a plan needs at least one".to_owned());
        }
        let mut combinations = Vec::new();
        let mut scripts: usize = 0;
        let beside = PlanFolder::new(folder);
        for (index, block) in file.blocks.iter().enumerate() {
            if !block.recordings.is_empty() {
                let found = recordings::records(block, beside.folder(), plan.options.events, &plan.channels);
                let found = found.map_err(|what| format!("blocks[{index}].{what}"))?;
                let digests = found.iter().filter_map(|record| record.recording.as_ref());
                plan.note_digests(digests.map(|recorded| recorded.digest.to_string()).collect());
                combinations.extend(found);
                continue;
            }
            if !block.scripts.is_empty() {
                let found = scripts::records(block, &beside, plan.options.learning_s, &mut plan.left_out);
                combinations.extend(found.map_err(|what| format!("blocks[{index}].{what}"))?);
                if combinations.len() > MOST_RECORDS {
                    return Err(format!("more than {MOST_RECORDS} records"));
                }
                continue;
            }
            if let Some(people) = &block.people {
                let patients = block.patients.as_ref().map_or(0, |patients| patients.count);
                scripts = scripts.saturating_add(usize::try_from(patients).unwrap_or(usize::MAX));
                if scripts > MOST_SCRIPTS {
                    return Err(format!(
                        "blocks[{index}].patients: more than {MOST_SCRIPTS} patients and combinations"
                    ));
                }
                let drawn = patients::records(block, people, file.duration_s);
                combinations.extend(drawn.map_err(|what| format!("blocks[{index}].{what}"))?);
                if combinations.len() > MOST_RECORDS {
                    return Err(format!("more than {MOST_RECORDS} records"));
                }
                continue;
            }
            if block.patients.is_some() {
                return Err(format!("blocks[{index}].patients: no people to draw them from; add \"people\""));
            }
            let axes = Axes::of(block, &beside).map_err(|what| format!("blocks[{index}].{what}"))?;
            let before = combinations.len();
            scripts = scripts.saturating_add(axes.scripts());
            if scripts > MOST_SCRIPTS {
                return Err(format!(
                    "blocks[{index}]: more than {MOST_SCRIPTS} combinations of rhythm, body, rate and settings"
                ));
            }
            axes.multiply(file.duration_s, &mut combinations, &mut plan.left_out)?;
            if combinations.len() == before {
                let why = plan.left_out.last().map_or("", String::as_str);
                return Err(format!("blocks[{index}]: no combination is possible; {why}"));
            }
        }
        plan.note_digests(beside.digests());
        let digits = combinations.len().to_string().len().max(4);
        plan.records = combinations;
        for (index, record) in plan.records.iter_mut().enumerate() {
            record.name = name(index + 1, digits, record);
        }
        Ok(plan)
    }
}

fn options(rules: &ScoreRules) -> Result<ScoreOptions, String> {
    let usual = ScoreOptions::default();
    let learning_s = if rules.events == Events::Beats { usual.learning_s } else { 0.0 };
    let options = ScoreOptions {
        events: rules.events,
        window_s: rules.window_ms.map_or(rules.events.window_s(), |ms| ms / 1e3),
        learning_s: rules.learning_s.unwrap_or(learning_s),
        end_s: None,
        delay_s: rules.delay_ms / 1e3,
        classes: rules.classes,
    };
    for (key, value) in [("window_ms", options.window_s), ("learning_s", options.learning_s)] {
        if !(0.0..=1e6).contains(&value) {
            return Err(format!("score.{key}: not a number from 0 on"));
        }
    }
    if options.delay_s.abs() > 1e3 {
        return Err("score.delay_ms: at most 1000000 either way".to_owned());
    }
    Ok(options)
}

fn format(signal: SignalWord, bits: Option<BitsWord>) -> Result<FileFormat, String> {
    let bits = match (signal, bits) {
        (SignalWord::Wav, None | Some(BitsWord::Float)) => return Ok(FileFormat::Wav(Encoding::Float)),
        (SignalWord::Csv, Some(BitsWord::Float)) => {
            return Err("bits: \"float\" is for \"signal\": \"wav\"; in CSV \"16\", \"24\" or \"32\"".to_owned());
        }
        (_, None | Some(BitsWord::B16)) => Bits::B16,
        (_, Some(BitsWord::B24)) => Bits::B24,
        (_, Some(BitsWord::B32)) => Bits::B32,
    };
    Ok(match signal {
        SignalWord::Csv => FileFormat::Csv(bits),
        SignalWord::Wav => FileFormat::Wav(Encoding::Integer(bits)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::settings::Field;
    use std::sync::Arc;

    fn plan(blocks: &str) -> Result<SuitePlan, String> {
        let text =
            format!("{{\"version\": 1, \"duration_s\": 10, \"score\": {{\"learning_s\": 1}}, \"blocks\": [{blocks}]}}");
        SuitePlan::parse(&text, "plan.json").map_err(|error| error.to_string())
    }

    #[test]
    fn every_combination_is_one_record() {
        let block = r#"{"rhythm": ["sinus", "atrial-fibrillation"], "rate_bpm": [70, 90, 110], "frame_rate_hz": [250, 500],
            "seed": {"from": 5, "count": 4}, "set": {"ecg.gain": [1, 2]}}"#;
        let plan = plan(block).unwrap();
        assert_eq!(plan.records.len(), 2 * 3 * 2 * 4 * 2);
        let mut names: Vec<&str> = plan.records.iter().map(|record| record.name.as_str()).collect();
        assert!(names.is_sorted(), "the order of the report is the order of the names");
        names.dedup();
        assert_eq!(names.len(), 96);
        assert_eq!(names[0], "0001-sinus-adult-70bpm-ecg.gain=1-250hz-seed5");
    }

    #[test]
    fn impossible_combinations_are_left_out_and_listed() {
        let plan = plan(r#"{"rhythm": ["sinus", "ventricular-tachycardia"], "rate_bpm": [60, 170]}"#).unwrap();
        let names: Vec<&str> = plan.records.iter().map(|record| record.name.as_str()).collect();
        assert!(names.iter().all(|name| !name.contains("tachycardia-adult-60bpm")), "{names:?}");
        assert_eq!(plan.records.len() + plan.left_out.len(), 4);
        assert!(plan.left_out.iter().any(|why| why.starts_with("ventricular-tachycardia at 60 bpm")));
    }

    /// The records of a script share it: they differ in seed and frame rate alone.
    #[test]
    fn records_of_a_script_share_it() {
        let plan =
            plan(r#"{"rhythm": ["sinus"], "seed": {"from": 3, "count": 1000}, "set": {"ecg.gain": [2]}}"#).unwrap();
        let [first, .., last] = &plan.records[..] else { panic!("a thousand records") };
        assert!(Arc::ptr_eq(&first.document, &last.document) && Arc::ptr_eq(&first.values, &last.values));
        assert_eq!((first.seed, last.seed), (3, 1002));
    }

    /// A few hundred words could ask for more scripts than can be made in a day, none of them possible.
    #[test]
    fn too_many_scripts_are_refused_before_they_are_made() {
        let many = |word: &str| vec![word; 1000].join(", ");
        let (rhythms, bodies, rates) = (many("\"ventricular-tachycardia\""), many("\"adult\""), many("20"));
        let block = format!("{{\"rhythm\": [{rhythms}], \"body\": [{bodies}], \"rate_bpm\": [{rates}]}}");
        assert!(plan(&block).unwrap_err().contains("blocks[0]: more than 100000 combinations"));
        let people = r#"{"people": {"groups": [{"rhythm": "sinus"}]}, "patients": {"from": 0, "count": 100001}}"#;
        assert!(plan(people).unwrap_err().contains("blocks[0].patients: more than 100000 patients"));
        let lists: Vec<String> =
            Field::ALL.iter().map(|f| format!("\"{}\": [{1}, {1}]", f.info().path, f.info().min)).collect();
        let block = format!("{{\"rhythm\": [\"sinus\"], \"set\": {{{}}}}}", lists.join(", "));
        assert!(plan(&block).unwrap_err().contains("blocks[0]: more than 100000 combinations"));
    }

    #[test]
    fn a_rhythm_without_beats_makes_one_record() {
        let plan = plan(r#"{"rhythm": ["asystole"], "rate_bpm": [60, 170]}"#).unwrap();
        assert_eq!(plan.records.len(), 1);
        assert_eq!(plan.records[0].name, "0001-asystole-adult-500hz-seed0");
    }

    #[test]
    fn mistakes_are_named_with_their_place() {
        for (block, expected) in [
            (r#"{"rhythm": ["sinsu"]}"#, "blocks[0].rhythm[0]: there is no rhythm 'sinsu'; did you mean 'sinus'?"),
            (r#"{"rhythm": ["sinus"], "body": ["giant"]}"#, "blocks[0].body[0]: there is no body"),
            (r#"{"rhythm": ["sinus"], "rate_bpm": [9000]}"#, "blocks[0].rate_bpm: 9000; allowed"),
            (r#"{"rhythm": ["sinus"], "rate_bpm": ["fast"]}"#, "a number of bpm, or \"usual\""),
            (r#"{"rhythm": ["sinus"], "frame_rate_hz": [1]}"#, "blocks[0].frame_rate_hz: 1; allowed"),
            (r#"{"rhythm": ["sinus"], "seed": "x"}"#, "seeds are a list"),
            (r#"{"rhythm": ["sinus"], "seed": {"from": 0, "count": 99999999}}"#, "seed: at most"),
            (r#"{"rhythm": ["sinus"], "set": {"ecg.gian": [1]}}"#, "did you mean 'ecg.gain'?"),
            (r#"{"rhythm": ["sinus"], "set": {"ecg.gain": [100]}}"#, "blocks[0].set.ecg.gain: 100; allowed"),
            (r#"{"rhythm": []}"#, "blocks[0].rhythm: an empty list"),
            (r#"{"rhythm": ["sinus"], "set": {"ecg.gain": []}}"#, "blocks[0].ecg.gain: an empty list"),
            (r#"{"rhythm": ["sinus"], "rhytm": []}"#, "unknown field `rhytm`"),
            (r#"{"rhythm": ["ventricular-tachycardia"], "rate_bpm": [20]}"#, "no combination is possible"),
            (
                r#"{"people": {"groups": [{"rhythm": "sinsu"}]}, "patients": {"from": 0, "count": 1}}"#,
                "blocks[0].people.groups[0].rhythm: there is no",
            ),
            (r#"{"people": {"groups": [{"rhythm": "sinus"}]}}"#, "blocks[0].people: which of them?"),
            (
                r#"{"rhythm": ["sinus"], "patients": {"from": 0, "count": 1}}"#,
                "blocks[0].patients: no people to draw them from",
            ),
            (
                r#"{"people": {"groups": [{"rhythm": "sinus"}]}, "rhythm": ["sinus"]}"#,
                "has patients and frame_rate_hz alone",
            ),
            (
                r#"{"people": {"groups": [{"rhythm": "sinus"}]}, "patients": {"from": 0, "count": 0}}"#,
                "blocks[0].patients: 0 records",
            ),
            (
                r#"{"people": {"groups": [{"rhythm": "sinus", "draw": {"arterial.systolic_mmhg": 40}}]}, "patients": {"from": 3, "count": 1}}"#,
                "blocks[0].patient 3: none of 100 draws",
            ),
            (r#"{"scripts": ["a.json"]}"#, "blocks[0].scripts[0]: a.json: this plan is not read from a file"),
            (r#"{"scripts": ["a.json"], "rhythm": ["sinus"]}"#, "frame_rate_hz, seed and noise alone"),
            (r#"{"scripts": ["\u00e4.json"]}"#, "letters, digits, - and _"),
            (
                r#"{"rhythm": ["sinus"], "noise": {"file": ["a.hea"], "snr_db": [3]}}"#,
                "noise.file: a.hea: this plan is not",
            ),
            (r#"{"rhythm": ["sinus"], "noise": {"file": ["a.hea"], "snr_db": []}}"#, "noise.snr_db: an empty list"),
            ("", "blocks: none"),
        ] {
            let message = plan(block).expect_err(block);
            assert!(message.starts_with("plan.json: ") && message.contains(expected), "{message}");
            assert!(!message.ends_with(" 1"), "a plain number has no unit: {message}");
        }
        let long = r#"{"version": 1, "duration_s": 10, "blocks": [{"rhythm": ["sinus"]}]}"#;
        assert!(SuitePlan::parse(long, "p").unwrap_err().to_string().contains("learning period of 300 s"));
        let pulses = r#"{"version": 1, "duration_s": 10, "channels": ["II"], "score": {"events": "pulses"}, "blocks": [{"rhythm": ["sinus"]}]}"#;
        assert!(SuitePlan::parse(pulses, "p").unwrap_err().to_string().contains("name one in channels"));
        let twice = "{\"version\": 1,\n \"duration_s\": }";
        assert!(SuitePlan::parse(twice, "p").unwrap_err().to_string().starts_with("p: line 2, column"));
    }
}
