//! The plan of a render, worked out and checked before any work: how many frames, which files, how large.

use crate::atomic::Durability;
use crate::content::Content;
use crate::format::{Column, Encoder, Encoding, FileFormat, Heading, Section};
use crate::scale::{Bits, ChannelRange};
use crate::split::{SplitSignal, Splitter};
use crate::wav::{LARGEST, Wav};
use crate::{csv::Csv, edf, edf::Edf, record, record::SignalWriter, sidecar};
use pulsewright_core::block;
use pulsewright_core::frame::{Channel, ChannelKind, Lead};
use pulsewright_core::pressure::{SiteSet, TooManySites};
use pulsewright_core::script::{Item, Script, Step};
use pulsewright_core::settings::Field;
use pulsewright_core::test_signal;
use pulsewright_core::time::{FrameRate, Instant, Span};
use pulsewright_text::number::counted;

/// How it is rendered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RenderOptions {
    /// Frames a second.
    pub rate: FrameRate,
    /// Channels in the order in which they are stored; at least one, none twice.
    pub channels: Vec<Channel>,
    /// Format of the signal's files.
    pub format: FileFormat,
    /// Longest that is rendered; a script that holds needs it.
    pub duration: Option<Span>,
    /// A file for each stretch of this length, numbered, instead of one.
    pub split: Option<Span>,
    /// Whether the truth is written beside the signal.
    pub truth: bool,
    /// Leads in which each beat is described, where the truth is written.
    pub lead_truth: Vec<Lead>,
    /// Whether files that are there may be replaced.
    pub overwrite: bool,
    /// How far the files outlive a loss of power.
    pub durability: Durability,
}

impl RenderOptions {
    /// The whole of a script as one signal without its truth; files that are there are kept.
    pub fn new(rate: FrameRate, channels: &[Channel], format: FileFormat) -> RenderOptions {
        RenderOptions {
            rate,
            channels: channels.to_vec(),
            format,
            duration: None,
            split: None,
            truth: false,
            lead_truth: Vec::new(),
            overwrite: false,
            durability: Durability::Usual,
        }
    }
}

/// Why a render can't be.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// The script holds a step and no duration bounds it.
    #[error("the script holds a step without end; bound it with --duration, as in --duration 10m")]
    Endless,
    /// Not a single frame.
    #[error("the duration holds no frame")]
    Empty,
    /// No channel was chosen.
    #[error("no channel is chosen")]
    NoChannel,
    /// A channel was chosen twice.
    #[error("channel {} is chosen twice", .0.id())]
    Twice(Channel),
    /// More pressures than are played at once.
    #[error("{0}; leave pressure channels out")]
    TooManyPressures(#[from] TooManySites),
    /// A split shorter than a frame, or into more files than there are numbers.
    #[error("--split makes {0} files; the most is {MOST_FILES}")]
    TooManyFiles(u64),
    /// A width that the format does not have.
    #[error("{0}")]
    Width(&'static str),
    /// A record in several files.
    #[error("a record is one signal file of any length: leave --split out, or write WAV or CSV")]
    SplitRecord,
    /// An EDF+ file too long for its header.
    #[error("EDF+ counts at most 99999999 data records and this render needs {0}; write several files with --split")]
    TooManyRecords(u64),
    /// A channel goes further than the coarsest scale of this width.
    #[error("{} can reach {size} {}, further than samples of {bits} bits hold; choose more --bits, or float", .channel.id(), .channel.kind().unit())]
    Reach {
        /// Which channel.
        channel: Channel,
        /// How far it can go from the middle of its scale, in its unit.
        size: i64,
        /// Bits of a sample.
        bits: u32,
    },
    /// The frame rate is too low for a step's test signal.
    #[error(
        "item {} can't be within 1 % at {rate} frames a second: {fault}; choose another --frame-rate", item + 1
    )]
    TestSignal {
        /// Index among the script's items.
        item: usize,
        /// Frames a second.
        rate: u32,
        /// The fault.
        fault: test_signal::Fault,
    },
    /// A range that does not fit an EDF+ header.
    #[error("the range of {} takes more than the 8 characters of an EDF+ header; write WAV or CSV", .0.id())]
    RangeText(Channel),
}

/// Coarser steps get a note, mV: IEC 60601-2-25 asks recorders for 5 uV (from memory).
const COARSE_MV: f64 = 0.005;

/// Most files that a split makes.
pub const MOST_FILES: u64 = 9999;

/// A render worked out.
pub struct RenderPlan<'a> {
    /// Content of the render.
    pub content: Content<'a>,
    /// Frames a second.
    pub rate: FrameRate,
    /// Frames in all.
    pub frames: u64,
    /// Channels and their scales.
    pub columns: Vec<Column>,
    /// Pressures among the channels.
    pub pressures: SiteSet,
    /// Leads in which each beat is described beside the signal.
    pub lead_truth: Vec<Lead>,
    /// The signal's files, in order; at least one.
    pub sections: Vec<Section>,
    /// Format of the signal's files.
    pub format: FileFormat,
    /// How EDF+ files are made up.
    edf: edf::Layout,
    /// An encoder in place of the format's own.
    given: Option<&'a dyn Encoder>,
}

/// Refuses a frame rate that can't carry a test signal within 1 % of its height and area, where leads are rendered.
fn check_test_signals(script: &Script<'_>, rate: FrameRate, channels: &[Channel]) -> Result<(), PlanError> {
    if !channels.iter().any(|channel| channel.kind() == ChannelKind::Potential) {
        return Ok(());
    }
    for (item, entry) in script.items().iter().enumerate() {
        let Item::Step(step) = entry else { continue };
        if let Some(fault) = test_signal::Fault::of(step.settings.test_signal(), |field| step.settings.get(field), rate)
        {
            return Err(PlanError::TestSignal { item, rate: rate.as_hz(), fault });
        }
    }
    Ok(())
}

/// Refuses a scale that can't hold its channel.
fn check_reach(script: &Script<'_>, column: &Column) -> Result<(), PlanError> {
    let (channel, Some(scale)) = (column.channel, column.scale) else { return Ok(()) };
    let reach = ChannelRange::of(script, channel);
    if scale.holds(reach) {
        return Ok(());
    }
    let size = (reach.highest - reach.centre).max(reach.centre - reach.lowest).ceil() as i64;
    Err(PlanError::Reach { channel, size, bits: scale.bits().count() })
}

impl<'a> RenderPlan<'a> {
    /// Works a render out.
    ///
    /// # Errors
    /// When it can't be; see [`PlanError`].
    pub fn new(content: Content<'a>, options: &RenderOptions) -> Result<RenderPlan<'a>, PlanError> {
        let RenderOptions { rate, format, .. } = *options;
        let length = match (content.script.duration(), options.duration) {
            (Some(script), Some(bound)) => script.min(bound),
            (Some(length), None) | (None, Some(length)) => length,
            (None, None) => return Err(PlanError::Endless),
        };
        let twice = |i: usize| options.channels[..i].contains(&options.channels[i]);
        if let Some(i) = (0..options.channels.len()).find(|i| twice(*i)) {
            return Err(PlanError::Twice(options.channels[i]));
        }
        if options.channels.is_empty() {
            return Err(PlanError::NoChannel);
        }
        let pressures = SiteSet::of(&options.channels)?;
        check_test_signals(content.script, rate, &options.channels)?;
        let encoding = format.encoding();
        check_width(format)?;
        let columns: Vec<Column> =
            options.channels.iter().map(|channel| Column::new(content.script, *channel, encoding)).collect();
        columns.iter().try_for_each(|column| check_reach(content.script, column))?;
        let frames = rate.frame_at_or_after(Instant::ZERO.plus(length));
        if frames == 0 {
            return Err(PlanError::Empty);
        }
        let sections = sections(rate, frames, options.split)?;
        if matches!(format, FileFormat::Record(_)) && sections.len() > 1 {
            return Err(PlanError::SplitRecord);
        }
        let edf = edf::Layout::new(options.channels.len(), rate);
        let lead_truth = if options.truth { options.lead_truth.clone() } else { Vec::new() };
        let plan =
            RenderPlan { content, rate, frames, columns, pressures, lead_truth, sections, format, edf, given: None };
        if format == FileFormat::Edf { plan.with_edf() } else { Ok(plan) }
    }

    /// Finds the room for annotations in the records of an EDF+ file.
    fn with_edf(self) -> Result<RenderPlan<'a>, PlanError> {
        if let Some(column) = self.columns.iter().find(|column| edf::limits(column).is_none()) {
            return Err(PlanError::RangeText(column.channel));
        }
        let records = self.sections.iter().map(|section| self.edf.records(*section)).max().unwrap_or(0);
        if records > edf::MOST_RECORDS {
            return Err(PlanError::TooManyRecords(records));
        }
        let mut most = 0;
        let encoder = self.edf();
        let mut splitter = Splitter::new(self.played(), encoder.grain(), true);
        while let Some(part) = splitter.next_part(&mut ()) {
            encoder.notes(part.place, &part.marks, |_, text| most = most.max(text.len()));
        }
        drop(splitter);
        let edf = self.edf.with_notes(most);
        Ok(RenderPlan { edf, ..self })
    }

    fn edf(&self) -> Edf<'_> {
        Edf::new(&self.columns, self.content, self.rate, &self.sections, self.edf)
    }

    /// The signal and the files that it is split into.
    pub(crate) fn played(&self) -> SplitSignal<'_, 'a> {
        SplitSignal {
            script: self.content.script,
            rate: self.rate,
            pressures: self.pressures,
            lead_truth: &self.lead_truth,
            sections: &self.sections,
        }
    }

    /// Content of the heads of files.
    pub fn heading(&self) -> Heading<'a> {
        Heading { title: self.content.title, seed: self.content.script.seed(), rate: self.rate }
    }

    /// With frames written by `encoder`, whatever the format says.
    pub fn through(self, encoder: &'a dyn Encoder) -> RenderPlan<'a> {
        RenderPlan { given: Some(encoder), ..self }
    }

    /// The encoder of the signal's files.
    pub fn encoder(&self) -> Box<dyn Encoder + '_> {
        if let Some(given) = self.given {
            return Box::new(given);
        }
        match self.format {
            FileFormat::Wav(_) => Box::new(Wav::new(&self.columns, self.rate)),
            FileFormat::Rf64(_) => Box::new(Wav::new(&self.columns, self.rate).wide()),
            FileFormat::Raw(_) => Box::new(Wav::new(&self.columns, self.rate).bare()),
            FileFormat::Csv(_) => Box::new(Csv::new(&self.columns, self.heading())),
            FileFormat::Edf => Box::new(self.edf()),
            FileFormat::Record(bits) => Box::new(SignalWriter::new(&self.columns, bits)),
        }
    }

    /// The signals that have to be played.
    pub fn signals(&self) -> block::Signals {
        let channels: Vec<Channel> = self.columns.iter().map(|column| column.channel).collect();
        // A given encoder may read any signal.
        if self.given.is_some() { block::Signals::ALL } else { block::Signals::of(&channels) }
    }

    /// Whether the signal's files carry marks between their frames.
    pub fn carries_marks(&self) -> bool {
        self.format == FileFormat::Edf
    }

    /// Notes for users of the signal, a sentence each; no note keeps it from being rendered.
    pub fn notes(&self) -> Vec<String> {
        let notes = self.slow_for_pulses().into_iter().chain(self.coarse()).chain(self.wide()).chain(self.filled_up());
        notes.chain(self.flat_leads()).collect()
    }

    /// Gains of noise of recordings, for each step that has some.
    pub fn recorded_noise(&self) -> Vec<String> {
        let mut notes = Vec::new();
        for (item, one) in self.content.script.items().iter().enumerate() {
            let Item::Step(Step { noise: Some(noise), .. }) = one else { continue };
            let label = crate::csv::on_one_line(self.content.labels.get(item).copied().unwrap_or(""));
            let ([first, second], [first_level, second_level]) = (noise.gains_mv(), noise.levels());
            let of = if noise.is_single() { "that channel half of the stretch later" } else { "its second channel" };
            notes.push(format!(
                "step '{label}' has noise of a recording: {first} mV times its first channel (less {first_level}) in \
                 lead I, {second} mV times {of} (less {second_level}) in V2, sums of both in the other leads"
            ));
        }
        notes.dedup();
        notes
    }

    /// Leads that recordings lack, for each step that plays one.
    fn flat_leads(&self) -> Vec<String> {
        let limb = |lead: &Lead| matches!(lead, Lead::III | Lead::AVR | Lead::AVL | Lead::AVF);
        let shown = |lead: &Lead| {
            let wanted = Channel::Lead(*lead).id();
            self.columns.iter().any(|column| match column.channel {
                Channel::Lead(one) => one == *lead || limb(&one) && matches!(lead, Lead::I | Lead::II),
                // A chest electrode is called after its lead; those of the limbs make leads I and II.
                Channel::Electrode(_) => column.channel.id() == wanted || matches!(lead, Lead::I | Lead::II),
                _ => false,
            })
        };
        let mut notes = Vec::new();
        for (item, one) in self.content.script.items().iter().enumerate() {
            let Item::Step(Step { recording: Some(recording), .. }) = one else { continue };
            let held = Lead::INDEPENDENT.into_iter().zip(recording.leads_mv());
            let lacks = held.filter(|(lead, samples)| samples.is_empty() && shown(lead));
            let lacks: Vec<&str> = lacks.map(|(lead, _)| Channel::Lead(lead).id()).collect();
            if lacks.is_empty() {
                continue;
            }
            let limbs = lacks.iter().any(|id| matches!(*id, "I" | "II"));
            let derived = if limbs { "; leads III, aVR, aVL and aVF follow from I and II as they are" } else { "" };
            let label = self.content.labels.get(item).copied().unwrap_or("");
            let (label, lacks) = (crate::csv::on_one_line(label), lacks.join(", "));
            notes.push(format!("step '{label}' plays a recording without {lacks}: flat in it{derived}"));
        }
        notes.dedup();
        notes
    }

    /// Leads stored in steps that a monitor's user could see, because tall pulses have to fit.
    fn coarse(&self) -> Option<String> {
        let potentials = self.columns.iter().filter(|column| column.channel.kind() == ChannelKind::Potential);
        let step = potentials.filter_map(|column| column.scale).map(|scale| scale.step()).fold(0.0, f64::max);
        (step > COARSE_MV).then(|| {
            format!("leads are stored in steps of {step} mV, as the pacing pulses are tall; more --bits are finer")
        })
    }

    /// A WAV file over 4 GiB.
    fn wide(&self) -> Option<String> {
        let wav = Wav::new(&self.columns, self.rate);
        if !matches!(self.format, FileFormat::Wav(_)) || self.given.is_some() {
            return None;
        }
        let section = self.sections.iter().find(|section| wav.is_wide(**section))?;
        let most = section.frames as f64 * (LARGEST as f64 / wav.bytes(*section) as f64);
        let advice = round_span(most / f64::from(self.rate.as_hz()));
        Some(format!(
            "over 4 GiB the WAV file is RF64, which not every reader opens; {advice}fewer channels, bits or frames a second \
             make it smaller"
        ))
    }

    /// EDF+ records are whole.
    fn filled_up(&self) -> Option<String> {
        let section = self.sections.last().filter(|_| self.format == FileFormat::Edf)?;
        let more = self.edf.records(*section) * self.edf.frames() - section.frames;
        (more > 0).then(|| {
            let frames = counted(more, "frame");
            format!("the EDF+ file ends with {frames} more, of the last value, as its data records are whole")
        })
    }

    /// Frames that are too far apart for pacing pulses.
    fn slow_for_pulses(&self) -> Option<String> {
        let steps = self.content.script.items().iter().filter_map(|item| match item {
            Item::Step(step) => Some(step),
            Item::Repeat { .. } => None,
        });
        let (needed, width_ms) = steps
            .filter_map(|step| Some((step.pulse_rate_hz()?, step.settings.get(Field::PacingMs))))
            .max_by_key(|(needed, _)| *needed)?;
        let rate = self.rate.as_hz();
        let shown = self.columns.iter().any(|column| column.channel.kind() == ChannelKind::Potential);
        (shown && needed > rate).then(|| {
            format!(
                "a pacing pulse of {width_ms} ms needs {needed} frames a second to hold two frames; at {rate} some are drawn too \
                 low or missed, but the truth lists each"
            )
        })
    }

    /// Whether a file's numbers are values in the channel's unit.
    pub fn stored(&self) -> sidecar::StoredValue {
        match (self.format, self.format.encoding()) {
            (FileFormat::Csv(_), _) | (_, Encoding::Float) => sidecar::StoredValue::Values,
            (_, Encoding::Integer(_)) => sidecar::StoredValue::Codes,
        }
    }
}

/// The longest round stretch below `seconds`, as advice for splitting.
fn round_span(seconds: f64) -> String {
    let round = [24 * 3600, 12 * 3600, 6 * 3600, 4 * 3600, 2 * 3600, 3600, 1800, 600, 60];
    round.into_iter().find(|round| f64::from(*round) < seconds).map_or(String::new(), |round| {
        let span = if round >= 3600 { format!("{}h", round / 3600) } else { format!("{}m", round / 60) };
        format!("--split {span} makes plain WAV files, ")
    })
}

/// Refuses widths that a format does not have.
fn check_width(format: FileFormat) -> Result<(), PlanError> {
    match format {
        FileFormat::Wav(Encoding::Integer(Bits::B12))
        | FileFormat::Rf64(Encoding::Integer(Bits::B12))
        | FileFormat::Raw(Encoding::Integer(Bits::B12)) => Err(PlanError::Width(
            "WAV and raw frames have no samples of 12 bits; 16, 24, 32 or float, or write a record (.hea)",
        )),
        FileFormat::Record(bits) if record::format(bits).is_none() => {
            Err(PlanError::Width("a record has samples of 12, 16 or 24 bits; for 32 write WAV or CSV"))
        }
        _ => Ok(()),
    }
}

fn sections(rate: FrameRate, frames: u64, split: Option<Span>) -> Result<Vec<Section>, PlanError> {
    let each = split.map_or(frames, |span| rate.frame_at_or_after(Instant::ZERO.plus(span)));
    if each >= frames {
        return Ok(vec![Section { first: 0, frames }]);
    }
    let count = frames.div_ceil(each.max(1));
    if count > MOST_FILES {
        return Err(PlanError::TooManyFiles(count));
    }
    Ok((0..count).map(|i| Section { first: i * each, frames: each.min(frames - i * each) }).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::body::ADULT;
    use pulsewright_core::expect::AlarmLimits;
    use pulsewright_core::heart::catalogue::{PACED_VVI, SINUS};
    use pulsewright_core::script::Step;
    use pulsewright_core::settings::Settings;

    fn plan(seconds: Option<u32>, change: impl FnOnce(&mut RenderOptions)) -> Result<(u64, Vec<Section>), PlanError> {
        plan_of(seconds, change).map(|(plan, _)| plan)
    }

    /// Frames, sections and notes.
    #[allow(clippy::type_complexity)]
    fn plan_of(
        seconds: Option<u32>,
        change: impl FnOnce(&mut RenderOptions),
    ) -> Result<((u64, Vec<Section>), Vec<String>), PlanError> {
        let settings = Settings::new(&ADULT, &SINUS);
        let items = [Item::Step(Step {
            duration: seconds.map(Span::secs),
            settings,
            ramps: &[],
            beats: &[],
            series: None,
            recording: None,
            noise: None,
        })];
        let script = Script::new(1, &items).unwrap();
        let mut options = RenderOptions {
            rate: FrameRate::lit(500),
            channels: Channel::USUAL.to_vec(),
            format: FileFormat::Wav(Encoding::Integer(Bits::B16)),
            duration: None,
            split: None,
            truth: true,
            lead_truth: Vec::new(),
            overwrite: false,
            durability: Durability::Usual,
        };
        change(&mut options);
        RenderPlan::new(Content { script: &script, title: "", labels: &[], limits: AlarmLimits::USUAL }, &options)
            .map(|plan| ((plan.frames, plan.sections.clone()), plan.notes()))
    }

    #[test]
    fn the_shorter_of_script_and_bound_counts() {
        let frames = |seconds, bound: Option<u32>| plan(seconds, |o| o.duration = bound.map(Span::secs)).map(|p| p.0);
        assert_eq!(frames(Some(10), None), Ok(5000));
        assert_eq!(frames(Some(10), Some(3)), Ok(1500));
        assert_eq!(frames(Some(10), Some(30)), Ok(5000));
        assert_eq!(frames(None, Some(3)), Ok(1500));
        assert_eq!(frames(None, None), Err(PlanError::Endless));
        assert_eq!(frames(None, Some(0)), Err(PlanError::Empty));
    }

    #[test]
    fn channels_are_at_least_one_and_none_twice() {
        assert_eq!(plan(Some(1), |o| o.channels.clear()), Err(PlanError::NoChannel));
        let twice = plan(Some(1), |o| o.channels.push(Channel::Respiration));
        assert_eq!(twice, Err(PlanError::Twice(Channel::Respiration)));
    }

    #[test]
    fn a_split_covers_every_frame_once() {
        let (_, sections) = plan(Some(10), |o| o.split = Some(Span::millis(3001))).unwrap();
        assert_eq!(
            sections.iter().map(|s| (s.first, s.frames)).collect::<Vec<_>>(),
            [(0, 1501), (1501, 1501), (3002, 1501), (4503, 497)]
        );
        assert_eq!(plan(Some(10), |o| o.split = Some(Span::secs(10))).unwrap().1.len(), 1);
        assert_eq!(plan(Some(86_400), |o| o.split = Some(Span::secs(1))), Err(PlanError::TooManyFiles(86_400)));
    }

    #[test]
    fn a_file_over_4_gib_is_noted_with_the_ways_around() {
        let day = |split| {
            plan_of(Some(86_400), |o| {
                o.rate = FrameRate::lit(2000);
                o.format = FileFormat::Wav(Encoding::Float);
                o.split = split;
            })
        };
        let found = day(None).unwrap().1;
        assert!(found.len() == 1 && found[0].contains("RF64") && found[0].contains("--split 6h"), "{found:?}");
        let none: [String; 0] = [];
        assert_eq!(day(Some(Span::secs(6 * 3600))).unwrap().1, none);
        assert_eq!(day(Some(Span::secs(12 * 3600))).unwrap().1.len(), 1);
    }

    #[test]
    fn widths_that_a_format_does_not_have_are_refused() {
        let width = |format| matches!(plan(Some(1), |o| o.format = format), Err(PlanError::Width(_)));
        assert!(width(FileFormat::Wav(Encoding::Integer(Bits::B12))));
        assert!(width(FileFormat::Rf64(Encoding::Integer(Bits::B12))));
        assert!(width(FileFormat::Record(Bits::B32)));
        assert!(!width(FileFormat::Record(Bits::B12)) && !width(FileFormat::Edf) && !width(FileFormat::Csv(Bits::B12)));
        let split = plan(Some(10), |o| {
            o.format = FileFormat::Record(Bits::B16);
            o.split = Some(Span::secs(5));
        });
        assert_eq!(split, Err(PlanError::SplitRecord));
    }

    #[test]
    fn the_frame_rate_that_pacing_pulses_need_is_noted() {
        let notes = |settings, rate_hz, channels: &[Channel]| {
            let items = [Item::Step(Step::lasting(Span::secs(1), settings))];
            let script = Script::new(1, &items).unwrap();
            let options = RenderOptions {
                rate: FrameRate::hz(rate_hz).unwrap(),
                channels: channels.to_vec(),
                format: FileFormat::Csv(Bits::B16),
                duration: None,
                split: None,
                truth: true,
                lead_truth: Vec::new(),
                overwrite: false,
                durability: Durability::Usual,
            };
            RenderPlan::new(Content { script: &script, title: "", labels: &[], limits: AlarmLimits::USUAL }, &options)
                .unwrap()
                .notes()
        };
        let paced = Settings::new(&ADULT, &PACED_VVI).lit(Field::PacingMs, 0.5);
        let found = notes(paced, 1000, Channel::USUAL);
        assert_eq!(found.len(), 1);
        assert!(found[0].contains("0.5 ms") && found[0].contains("4000 frames a second"), "{found:?}");
        let none: [String; 0] = [];
        let tall = notes(paced.lit(Field::PacingMv, 700.0), 4000, Channel::USUAL);
        assert!(tall.len() == 1 && tall[0].contains("steps of 0.05 mV"), "{tall:?}");
        assert_eq!(notes(paced, 3999, Channel::USUAL).len(), 1);
        assert_eq!(notes(paced, 4000, Channel::USUAL), none);
        assert_eq!(notes(paced, 1000, &[Channel::Respiration]), none, "no lead shows a pulse");
        assert_eq!(notes(Settings::new(&ADULT, &SINUS), 100, Channel::USUAL), none);
    }
}
