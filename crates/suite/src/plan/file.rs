//! The words of a plan's document.

use pulsewright_cohort::people::PeopleFile;
use pulsewright_score::ClassMap;
use pulsewright_score::record::Events;
use serde::Deserialize;
use std::collections::BTreeMap;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PlanFile {
    pub(super) version: u32,
    #[serde(default)]
    pub(super) title: String,
    #[serde(default)]
    #[serde(rename = "notes")]
    pub(super) _notes: String,
    pub(super) duration_s: f64,
    #[serde(default = "lead_two")]
    pub(super) channels: Vec<String>,
    #[serde(default)]
    pub(super) signal: SignalWord,
    #[serde(default)]
    pub(super) bits: Option<BitsWord>,
    #[serde(default)]
    pub(super) score: ScoreRules,
    pub(super) blocks: Vec<PlanBlock>,
}

fn lead_two() -> Vec<String> {
    vec!["II".to_owned()]
}

#[derive(Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum SignalWord {
    #[default]
    Csv,
    Wav,
}

#[derive(Clone, Copy, PartialEq, Eq, Deserialize)]
pub(super) enum BitsWord {
    #[serde(rename = "16")]
    B16,
    #[serde(rename = "24")]
    B24,
    #[serde(rename = "32")]
    B32,
    #[serde(rename = "float")]
    Float,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct ScoreRules {
    pub(super) events: Events,
    pub(super) window_ms: Option<f64>,
    pub(super) learning_s: Option<f64>,
    pub(super) delay_ms: f64,
    pub(super) classes: ClassMap,
    pub(super) channel: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PlanBlock {
    #[serde(default)]
    pub(super) rhythm: Vec<String>,
    #[serde(default = "adult")]
    pub(super) body: Vec<String>,
    #[serde(default = "usual")]
    pub(super) rate_bpm: Vec<Rate>,
    #[serde(default = "usual_frame_rate")]
    pub(super) frame_rate_hz: Vec<u32>,
    /// Without, 0 for a matrix and the script's own for scripts.
    pub(super) seed: Option<Seeds>,
    #[serde(default)]
    pub(super) set: BTreeMap<String, Vec<f32>>,
    /// Noise of recordings beside the signals of a matrix or of scripts.
    pub(super) noise: Option<NoiseFile>,
    /// Scripts in place of a matrix, in the folder of the plan or below.
    #[serde(default)]
    pub(super) scripts: Vec<String>,
    /// Recordings in place of a matrix.
    #[serde(default)]
    pub(super) recordings: Vec<RecordingFile>,
    /// Drawn patients in place of a matrix.
    pub(super) people: Option<PeopleFile>,
    /// Their numbers.
    pub(super) patients: Option<SeedRange>,
}

impl PlanBlock {
    /// Whether the block names no rhythm, body, rate or setting of its own.
    pub(super) fn is_plain(&self) -> bool {
        self.rhythm.is_empty()
            && self.body[..] == ["adult"]
            && matches!(self.rate_bpm[..], [Rate::Usual(_)])
            && self.set.is_empty()
    }

    /// Whether the block names no seed, noise or script either.
    pub(super) fn is_bare(&self) -> bool {
        self.is_plain() && self.seed.is_none() && self.noise.is_none() && self.scripts.is_empty()
    }
}

/// Noise of recordings.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct NoiseFile {
    /// Files in the folder of the plan or below.
    pub(super) file: Vec<String>,
    /// Ratios in lead II, dB.
    pub(super) snr_db: Vec<f32>,
    /// As in a script.
    pub(super) channels: Option<Vec<String>>,
    pub(super) start_s: Option<f64>,
    pub(super) end_s: Option<f64>,
    #[serde(rename = "loop")]
    pub(super) repeats: Option<String>,
}

/// A recording that is played as it is.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RecordingFile {
    /// Its header, below the folder of the plan.
    pub(super) record: String,
    /// Its annotations; of the same name without.
    pub(super) annotations: Option<String>,
    /// Our channels, each with the name of the recording's.
    pub(super) channels: BTreeMap<String, String>,
}

fn adult() -> Vec<String> {
    vec!["adult".to_owned()]
}

fn usual() -> Vec<Rate> {
    vec![Rate::Usual(UsualWord::Usual)]
}

fn usual_frame_rate() -> Vec<u32> {
    vec![500]
}

#[derive(Clone, Copy, Deserialize)]
#[serde(untagged, expecting = "a rate is a number of bpm, or \"usual\"")]
pub(super) enum Rate {
    Usual(UsualWord),
    Bpm(f32),
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum UsualWord {
    Usual,
}

#[derive(Deserialize)]
#[serde(untagged, expecting = "seeds are a list of whole numbers, or {\"from\": 1, \"count\": 20}")]
pub(super) enum Seeds {
    List(Vec<u64>),
    Range(SeedRange),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SeedRange {
    pub(super) from: u64,
    pub(super) count: u64,
}
