//! What a render will be, worked out and refused before any work: how many frames, which files, how large.

use crate::format::{Column, Encoder, Encoding, FileFormat, Heading, Section};
use crate::sidecar;
use crate::truth::TruthFile;
use crate::{csv::Csv, wav::Wav};
use pulsewright_core::frame::{Channel, ChannelKind};
use pulsewright_core::pressure::{Chosen, TooManySites};
use pulsewright_core::script::{Item, Script};
use pulsewright_core::settings::Field;
use pulsewright_core::time::{FrameRate, Instant, Span};
use std::path::{Path, PathBuf};

/// What is rendered.
#[derive(Clone, Copy, Debug)]
pub struct Content<'a> {
    /// The script.
    pub script: &'a Script<'a>,
    /// Its title; may be empty.
    pub title: &'a str,
    /// Names of steps by item of the script; a missing one is empty.
    pub labels: &'a [&'a str],
}

/// How it is rendered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Options {
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
    /// Whether files that are there may be replaced.
    pub overwrite: bool,
}

/// Why a render can't be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// The script holds a step and no duration bounds it.
    #[error("the script holds a step until it is told to go on; bound it with --duration, as in --duration 10m")]
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
    /// A file would be larger than its format can be.
    #[error(
        "a WAV file holds at most 4 GiB and this one needs {}; \
         {}leave channels out, use fewer bits or frames a second, or write CSV",
        gibibytes(.0.bytes), .0.split_advice()
    )]
    TooLarge(TooLarge),
}

/// A file that would be larger than its format can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooLarge {
    /// Bytes it needs.
    pub bytes: u64,
    /// Most that it may have.
    pub most: u64,
    /// How long it plays.
    pub length: Span,
}

/// Coarser steps are told of, mV: IEC 60601-2-25 asks recorders for 5 uV (from memory).
const COARSE_MV: f64 = 0.005;

/// Most files that a split makes.
pub const MOST_FILES: u64 = 9999;

fn gibibytes(bytes: u64) -> String {
    let tenths = (u128::from(bytes) * 10).div_ceil(1 << 30);
    format!("{}.{} GiB", tenths / 10, tenths % 10)
}

impl TooLarge {
    /// The longest round stretch whose files are small enough.
    fn split_advice(&self) -> String {
        let fits = |secs: u64| {
            let share = u128::from(secs) << 32;
            u128::from(self.bytes) * share < u128::from(self.most) * u128::from(self.length.ticks())
        };
        let round = [24 * 3600, 12 * 3600, 6 * 3600, 4 * 3600, 2 * 3600, 3600, 1800, 600, 60];
        round.into_iter().find(|secs| fits(*secs)).map_or(String::new(), |secs| {
            let span = if secs >= 3600 { format!("{}h", secs / 3600) } else { format!("{}m", secs / 60) };
            format!("write several files with --split {span}, ")
        })
    }
}

/// A render worked out.
#[derive(Debug)]
pub struct Plan<'a> {
    /// What is rendered.
    pub content: Content<'a>,
    /// Frames a second.
    pub rate: FrameRate,
    /// Frames in all.
    pub frames: u64,
    /// Channels and their scales.
    pub columns: Vec<Column>,
    /// Pressures among the channels.
    pub pressures: Chosen,
    /// The signal's files, in order; at least one.
    pub sections: Vec<Section>,
    format: FileFormat,
}

impl<'a> Plan<'a> {
    /// Works a render out.
    ///
    /// # Errors
    /// When it can't be; see [`PlanError`].
    pub fn new(content: Content<'a>, options: &Options) -> Result<Plan<'a>, PlanError> {
        let Options { rate, format, .. } = *options;
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
        let sites: Vec<_> = options
            .channels
            .iter()
            .filter_map(|channel| if let Channel::Pressure(site) = channel { Some(*site) } else { None })
            .collect();
        let pressures = Chosen::new(&sites)?;
        let encoding = match format {
            FileFormat::Wav(encoding) => encoding,
            FileFormat::Csv(bits) => Encoding::Integer(bits),
        };
        let columns = options.channels.iter().map(|channel| Column::new(content.script, *channel, encoding)).collect();
        let frames = rate.frame_at_or_after(Instant::ZERO.plus(length));
        if frames == 0 {
            return Err(PlanError::Empty);
        }
        let sections = sections(rate, frames, options.split)?;
        let plan = Plan { content, rate, frames, columns, pressures, sections, format };
        let encoder = plan.encoder();
        for section in &plan.sections {
            if let Some((bytes, most)) = encoder.size(*section).filter(|(bytes, most)| bytes > most) {
                let length = rate.instant_of(section.frames).since(Instant::ZERO);
                return Err(PlanError::TooLarge(TooLarge { bytes, most, length }));
            }
        }
        drop(encoder);
        Ok(plan)
    }

    /// What writes the signal's files.
    pub fn encoder(&self) -> Box<dyn Encoder + '_> {
        let heading = Heading { title: self.content.title, seed: self.content.script.seed(), rate: self.rate };
        match self.format {
            FileFormat::Wav(_) => Box::new(Wav::new(&self.columns, self.rate)),
            FileFormat::Csv(_) => Box::new(Csv::new(&self.columns, heading)),
        }
    }

    /// What whoever uses the signal should know, a sentence each; nothing that keeps it from being rendered.
    pub fn notes(&self) -> Vec<String> {
        self.slow_for_pulses().into_iter().chain(self.coarse()).collect()
    }

    /// Leads stored in steps that a monitor's user could see, because something tall has to fit.
    fn coarse(&self) -> Option<String> {
        let potentials = self.columns.iter().filter(|column| column.channel.kind() == ChannelKind::Potential);
        let step = potentials.filter_map(|column| column.scale).map(|scale| scale.step()).fold(0.0, f64::max);
        (step > COARSE_MV).then(|| {
            format!("leads are stored in steps of {step} mV, as the pacing pulses are tall; more --bits are finer")
        })
    }

    /// Pacing pulses that the frames are too far apart for.
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
                 low or missed, but the truth tells of each"
            )
        })
    }

    /// Whether a file's numbers are values in the channel's unit.
    pub fn stored(&self) -> sidecar::Stored {
        match self.format {
            FileFormat::Wav(Encoding::Integer(_)) => sidecar::Stored::Codes,
            FileFormat::Wav(Encoding::Float) | FileFormat::Csv(_) => sidecar::Stored::Values,
        }
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

/// Names of a render's files, all in one folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Names {
    /// The signal's files; `OUT.wav`, or `OUT.001.wav` and so on when it is split.
    pub signal: Vec<PathBuf>,
    /// The channel description, `OUT.channels.json`.
    pub description: PathBuf,
    /// The truth, in the order of [`TruthFile::ALL`].
    pub truth: [PathBuf; TruthFile::ALL.len()],
}

impl Names {
    /// For a target `OUT.wav` in `files` files.
    pub fn new(target: &Path, files: usize) -> Names {
        let stem = target.file_stem().unwrap_or(target.as_os_str());
        let beside = |suffix: &str| {
            let mut name = stem.to_owned();
            name.push(".");
            name.push(suffix);
            target.with_file_name(name)
        };
        let extension = target.extension().and_then(|extension| extension.to_str()).unwrap_or_default();
        let digits = if files > 999 { 4 } else { 3 };
        let signal = match files {
            1 => vec![target.to_owned()],
            _ => (1..=files).map(|i| beside(&format!("{i:0digits$}.{extension}"))).collect(),
        };
        Names { signal, description: beside(sidecar::SUFFIX), truth: TruthFile::ALL.map(|file| beside(file.suffix())) }
    }

    /// All of them.
    pub fn all(&self) -> impl Iterator<Item = &Path> {
        self.signal.iter().chain([&self.description]).chain(&self.truth).map(PathBuf::as_path)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scale::Bits;
    use pulsewright_core::body::ADULT;
    use pulsewright_core::heart::catalogue::{PACED_VVI, SINUS};
    use pulsewright_core::script::Step;
    use pulsewright_core::settings::Settings;

    fn plan(seconds: Option<u32>, change: impl FnOnce(&mut Options)) -> Result<(u64, Vec<Section>), PlanError> {
        let settings = Settings::new(&ADULT, &SINUS);
        let items = [Item::Step(Step { duration: seconds.map(Span::secs), settings, ramps: &[], beats: &[] })];
        let script = Script::new(1, &items).unwrap();
        let mut options = Options {
            rate: FrameRate::lit(500),
            channels: Channel::USUAL.to_vec(),
            format: FileFormat::Wav(Encoding::Integer(Bits::B16)),
            duration: None,
            split: None,
            truth: true,
            overwrite: false,
        };
        change(&mut options);
        Plan::new(Content { script: &script, title: "", labels: &[] }, &options)
            .map(|plan| (plan.frames, plan.sections.clone()))
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
    fn a_file_over_4_gib_is_refused_with_the_ways_out() {
        let day = |split| {
            plan(Some(86_400), |o| {
                o.rate = FrameRate::lit(2000);
                o.format = FileFormat::Wav(Encoding::Float);
                o.split = split;
            })
        };
        let refused = day(None).unwrap_err();
        let message = refused.to_string();
        for part in ["4 GiB", "9.1 GiB", "--split 6h", "CSV"] {
            assert!(message.contains(part), "{message}");
        }
        assert_eq!(day(Some(Span::secs(6 * 3600))).unwrap().1.len(), 4);
        assert!(day(Some(Span::secs(12 * 3600))).is_err());
    }

    #[test]
    fn what_pacing_pulses_need_is_noted() {
        let notes = |settings, rate_hz, channels: &[Channel]| {
            let items = [Item::Step(Step { duration: Some(Span::secs(1)), settings, ramps: &[], beats: &[] })];
            let script = Script::new(1, &items).unwrap();
            let options = Options {
                rate: FrameRate::hz(rate_hz).unwrap(),
                channels: channels.to_vec(),
                format: FileFormat::Csv(Bits::B16),
                duration: None,
                split: None,
                truth: true,
                overwrite: false,
            };
            Plan::new(Content { script: &script, title: "", labels: &[] }, &options).unwrap().notes()
        };
        let paced = Settings::new(&ADULT, &PACED_VVI).lit(Field::PacingMs, 0.5);
        let told = notes(paced, 1000, Channel::USUAL);
        assert_eq!(told.len(), 1);
        assert!(told[0].contains("0.5 ms") && told[0].contains("4000 frames a second"), "{told:?}");
        let none: [String; 0] = [];
        let tall = notes(paced.lit(Field::PacingMv, 700.0), 4000, Channel::USUAL);
        assert!(tall.len() == 1 && tall[0].contains("steps of 0.05 mV"), "{tall:?}");
        assert_eq!(notes(paced, 3999, Channel::USUAL).len(), 1);
        assert_eq!(notes(paced, 4000, Channel::USUAL), none);
        assert_eq!(notes(paced, 1000, &[Channel::Respiration]), none, "no lead shows a pulse");
        assert_eq!(notes(Settings::new(&ADULT, &SINUS), 100, Channel::USUAL), none);
    }

    #[test]
    fn names_stand_beside_the_target() {
        let names = Names::new(Path::new("ward/night.1.wav"), 1);
        assert_eq!(names.signal, [Path::new("ward/night.1.wav")]);
        assert_eq!(names.description, Path::new("ward/night.1.channels.json"));
        assert_eq!(names.truth[0], Path::new("ward/night.1.beats.csv"));
        let split = Names::new(Path::new("out.csv"), 1000);
        assert_eq!(split.signal[0], Path::new("out.0001.csv"));
        assert_eq!(split.signal[999], Path::new("out.1000.csv"));
        assert_eq!(split.all().count(), 1000 + 1 + TruthFile::ALL.len());
    }
}
