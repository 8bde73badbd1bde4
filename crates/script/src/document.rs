//! A document in memory: steps with everything resolved, as a core script needs them.

use crate::expect::expected::{AlarmSetting, AlarmSettings, Expectations, ReadingLimits};
use crate::noise::StepNoise;
use crate::recording::StepRecording;
use crate::series::StepSeries;
use pulsewright_core::body::Body;
use pulsewright_core::expect::AlarmLimits;
use pulsewright_core::heart::catalogue::{self, RECORDED};
use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::script::{Item, Ramp, Script, TimedBeat};
use pulsewright_core::settings::Settings;
use pulsewright_core::time::{Instant, Span};

/// A script document that holds together.
///
/// Its [`items`](Document::items) always make a [`Script`]; indices are the core's item indices, so that an event of the
/// truth leads back to the step's name.
#[derive(Clone, Debug, Default)]
pub struct Document {
    pub(crate) title: Option<String>,
    pub(crate) notes: Option<String>,
    pub(crate) seed: u64,
    pub(crate) asset_class: Option<String>,
    pub(crate) kit: Vec<String>,
    pub(crate) cautions: Vec<String>,
    pub(crate) prepare: Vec<String>,
    pub(crate) limits: ReadingLimits,
    pub(crate) alarm_limits: AlarmSettings,
    pub(crate) parts: Vec<DocumentPart>,
}

/// A part of a document, at the index of the core item that it becomes.
// Nearly every part is a step, so a pointer to each would not save memory.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Debug)]
pub enum DocumentPart {
    /// A step.
    Step(DocumentStep),
    /// The end of a repeated block; see [`Item::Repeat`].
    Repeat {
        /// Index of the block's first part.
        first: u32,
        /// How often it is played in all.
        times: u32,
        /// Nesting depth, 0 for the innermost.
        level: u8,
    },
}

/// A step with everything that it names and that carries over into it.
#[derive(Clone, Debug)]
pub struct DocumentStep {
    /// Its name, if it has one.
    pub name: Option<String>,
    /// How long; `None` holds.
    pub duration: Option<Span>,
    /// Settings from its start.
    pub settings: Settings,
    /// Settings that move over the step.
    pub ramps: Vec<Ramp>,
    /// Premature beats of the list `beats`, in order of time.
    pub beats: Vec<TimedBeat>,
    /// The beats of the list `series`, in the place of those of the rhythm.
    pub series: Option<StepSeries>,
    /// The recording that it plays; its beats are `series`.
    pub recording: Option<StepRecording>,
    /// Noise of a recording beside its signal.
    pub noise: Option<StepNoise>,
    /// The readings that a monitor must show and the alarms that it must sound.
    pub expect: Expectations,
    /// Dangers to people and things in this step, a line each.
    pub cautions: Vec<String>,
    /// Preparations before the step, a line each.
    pub prepare: Vec<String>,
}

impl Document {
    /// The same with other steps, which follow one another without repeats, and another title and notes.
    ///
    /// It plays the content of the steps; [`Script::new`] checks that the steps fit together.
    pub fn with_steps(self, title: String, notes: String, steps: Vec<DocumentStep>) -> Document {
        let parts = steps.into_iter().map(DocumentPart::Step).collect();
        Document { title: Some(title), notes: Some(notes), parts, ..self }
    }

    /// Its title, if it has one.
    pub fn title(&self) -> Option<&str> {
        self.title.as_deref()
    }

    /// Its notes, if it has some.
    pub fn notes(&self) -> Option<&str> {
        self.notes.as_deref()
    }

    /// The seed of everything left to chance; 0 when the document names none.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// The same with another seed.
    pub fn with_seed(mut self, seed: u64) -> Document {
        self.seed = seed;
        // Another seed changes the expected values. A value may be missing with this seed though the document is valid
        // with the other; it is then left out.
        self.fill_in();
        self
    }

    /// The kind of equipment that it checks, if it names one.
    pub fn asset_class(&self) -> Option<&str> {
        self.asset_class.as_deref()
    }

    /// Kit to take out before and bring back after, a line each.
    pub fn kit(&self) -> &[String] {
        &self.kit
    }

    /// Dangers to people and things, a line each.
    pub fn cautions(&self) -> &[String] {
        &self.cautions
    }

    /// Preparations before the first step, a line each.
    pub fn prepare(&self) -> &[String] {
        &self.prepare
    }

    /// Whether any step expects something of a monitor.
    pub fn expects(&self) -> bool {
        self.parts.iter().any(|part| matches!(part, DocumentPart::Step(step) if !step.expect.is_empty()))
    }

    /// The monitor's alarm limits: the usual ones, but for those that the document names.
    pub fn alarm_limits(&self) -> AlarmLimits {
        let mut limits = AlarmLimits::USUAL;
        for setting in &self.alarm_limits {
            limits.set(setting.limit, setting.value.unwrap_or(f32::NAN));
        }
        limits
    }

    /// The limits of alarms that the document names.
    pub fn alarm_settings(&self) -> &[AlarmSetting] {
        &self.alarm_limits
    }

    /// Steps and repeats, by item index.
    pub fn parts(&self) -> &[DocumentPart] {
        &self.parts
    }

    /// The core's items; lend them to [`Script::new`] together with [`Document::seed`].
    pub fn items(&self) -> Vec<Item<'_>> {
        self.parts.iter().map(DocumentPart::item).collect()
    }

    /// The step at an item index.
    pub fn step(&self, item: usize) -> Option<&DocumentStep> {
        match self.parts.get(item)? {
            DocumentPart::Step(step) => Some(step),
            DocumentPart::Repeat { .. } => None,
        }
    }

    /// The name of the step at an item index: its own, or its rhythm's.
    pub fn label(&self, item: usize) -> &str {
        self.step(item).map_or("", |step| step.name.as_deref().unwrap_or(step.settings.rhythm().name))
    }

    /// The names of its items, by index, as [`Document::label`]; that of a repeat is empty.
    pub fn labels(&self) -> Vec<&str> {
        (0..self.parts.len()).map(|item| self.label(item)).collect()
    }

    /// The rhythms of its steps that the catalogue does not have, each once.
    pub fn own_rhythms(&self) -> Vec<&'static Rhythm> {
        let mut own: Vec<&'static Rhythm> = Vec::new();
        for part in &self.parts {
            if let DocumentPart::Step(step) = part {
                let rhythm = step.settings.rhythm();
                if rhythm.id != RECORDED.id
                    && catalogue::find(rhythm.id).is_none()
                    && !own.iter().any(|one| one.id == rhythm.id)
                {
                    own.push(rhythm);
                }
            }
        }
        own
    }

    /// The bodies of its steps that the catalogue does not have, each once.
    pub fn own_bodies(&self) -> Vec<&'static Body> {
        let mut own: Vec<&'static Body> = Vec::new();
        for part in &self.parts {
            if let DocumentPart::Step(step) = part {
                let body = step.settings.body();
                if Body::find(body.id).is_none() && !own.iter().any(|one| one.id == body.id) {
                    own.push(body);
                }
            }
        }
        own
    }

    /// Whether a step holds, so that only the render's length bounds the script.
    pub fn holds(&self) -> bool {
        self.parts.iter().any(|part| matches!(part, DocumentPart::Step(step) if step.duration.is_none()))
    }
}

impl DocumentPart {
    fn item(&self) -> Item<'_> {
        match self {
            DocumentPart::Step(step) => Item::Step(step.item()),
            DocumentPart::Repeat { first, times, level } => {
                Item::Repeat { first: *first, times: *times, level: *level }
            }
        }
    }
}

impl DocumentStep {
    /// A step with these settings and nothing else; without a duration it holds.
    pub fn new(duration: Option<Span>, settings: Settings) -> DocumentStep {
        DocumentStep {
            name: None,
            duration,
            settings,
            ramps: Vec::new(),
            beats: Vec::new(),
            series: None,
            recording: None,
            noise: None,
            expect: Expectations::default(),
            cautions: Vec::new(),
            prepare: Vec::new(),
        }
    }

    /// The recording or the series that it plays and the noise of a recording beside it, in words.
    pub fn listed_words(&self) -> Option<String> {
        let beats = self.series.as_ref().map(|series| match &self.recording {
            Some(recording) => recording.words(series),
            None => series.words(),
        });
        let words: Vec<String> = beats.into_iter().chain(self.noise.as_ref().map(StepNoise::words)).collect();
        (!words.is_empty()).then(|| words.join("; "))
    }

    /// The step as the core plays it.
    pub fn item(&self) -> pulsewright_core::script::Step<'_> {
        pulsewright_core::script::Step {
            duration: self.duration,
            settings: self.settings,
            ramps: &self.ramps,
            beats: &self.beats,
            series: self.series.as_ref().map(StepSeries::item),
            recording: self.recording.as_ref().map(StepRecording::item),
            noise: self.noise.as_ref().map(StepNoise::item),
        }
    }
}

/// Whether finite items play longer than an instant can hold.
pub(crate) fn too_long(document: &Document) -> bool {
    let items = document.items();
    let never = |script: Script<'_>| script.duration().is_none_or(|total| Instant::ZERO.plus(total) == Instant::NEVER);
    !document.holds() && Script::new(document.seed, &items).is_ok_and(never)
}
