//! Reading the noise of a step.

use super::StepNoise;
use crate::document::DocumentStep;
use crate::noise_ratio::{RANGE_DB, windowed_rms};
use crate::reader::{JsonNode, NodeEntry, NodeKind, Path};
use crate::recording::part::{StepLength, StretchBounds};
use crate::walk::DocumentWalk;
use crate::words::{nearest, quoted, shown};
use pulsewright_core::frame::INDEPENDENT_LEADS;
use pulsewright_core::recording::RecordedNoise;
use pulsewright_core::time::Span;
use pulsewright_recording as open;

/// Keys of noise.
const KEYS: [&str; 8] = ["file", "channels", "snr_db", "mv", "start_s", "end_s", "loop", "passed_s"];

/// Words for whether a stretch begins again.
pub(crate) const ONCE: &str = "none";
pub(crate) const LOOPS: &str = "ends";

/// Lowest and highest RMS in lead II, mV.
pub(crate) const RANGE_MV: std::ops::RangeInclusive<f64> = 0.0..=10.0;

/// Shares of the first and the second channel in lead II.
const LEAD_II: [f64; 2] = [0.5, 0.866_025_403_784_438_6];

/// How large the noise is to be.
enum Size {
    Ratio(f64),
    Rms(f32),
}

impl DocumentWalk<'_> {
    /// The noise of a step, which is one of `each` rhythm or of one, and may hold.
    pub(crate) fn noise(
        &mut self,
        node: JsonNode<'_>,
        path: &Path<'_>,
        step: &DocumentStep,
        each: bool,
        holds: bool,
    ) -> Option<StepNoise> {
        let before = self.found.count();
        let entries = self.entries(node, path, "noise of a recording")?;
        for entry in entries.iter().filter(|entry| !KEYS.contains(&entry.key.as_str())) {
            self.unknown(entry, &path.key(&entry.key), &KEYS, nearest(&entry.key, KEYS).map(quoted));
        }
        let find = |key: &str| entries.iter().find(|entry| entry.key == key);
        let size = self.noise_size(find("snr_db"), find("mv"), node, each, path);
        let times = self.times(&entries, path);
        let loops = match find("loop") {
            None => true,
            Some(entry) => self.found.word(entry.value, &path.key("loop"), &[ONCE, LOOPS])? == 1,
        };
        let file_node = self.recording_file_node(node, &entries, path)?;
        // Numbers without a unit will do: a gain follows.
        let is_wav = file_node.text().is_some_and(|file| file.to_ascii_lowercase().ends_with(".wav"));
        let (file, read) = self.recording_file(file_node, is_wav.then_some(1.0), path)?;
        let channels = self.noise_channels(find("channels"), &read, &file, file_node, path)?;
        let samples = channels.iter().filter_map(|name| read.channels.iter().find(|channel| channel.name == *name));
        let mut samples = samples.map(|channel| channel.samples.clone());
        let samples: [Vec<f32>; INDEPENDENT_LEADS] = std::array::from_fn(|_| samples.next().unwrap_or_default());
        let kept = self.kept_samples(&samples, read.rate_hz, file_node, path)?;
        let [first, second, ..] = kept.leads_mv();
        let (size, whole) = (size?, RecordedNoise::new([first, second], read.rate_hz)?);
        let (_, all) = whole.bounds();
        let bounds = self.bounds(&times, all, &file, (node, &entries), path)?;
        if !loops {
            self.ends_within(StepLength { duration: step.duration, holds }, &bounds, (&file, "\"ends\""), node, path);
        }
        if self.found.count() > before {
            return None;
        }
        let (mv, db) = match size {
            Size::Rms(mv) => (mv, None),
            Size::Ratio(db) => match self.measurements.rms_mv(step, db, self.seed) {
                // To 10 nV, so that a last bit of a platform's power function shows nowhere.
                Ok(mv) => (((mv * 1e5).round() / 1e5) as f32, Some(db)),
                Err(what) => {
                    self.report(node, path, |p| p, what);
                    return None;
                }
            },
        };
        if !RANGE_MV.contains(&f64::from(mv)) {
            let what = format!("the noise would have to be {mv:.2} mV; at most {}", RANGE_MV.end());
            self.report(node, path, |p| p, what);
            return None;
        }
        let StretchBounds { from, to, end, passed } = bounds;
        let stretch = whole.stretch(from, to.minus(from)).passed(passed);
        match scaled(stretch, [first, second], read.rate_hz, mv) {
            Ok(played) => Some(StepNoise { file, channels, start: from, end, loops, passed, mv, db, played }),
            Err(what) => {
                self.report(file_node, path, |p| p, format!("{}: {what}", shown(&file)));
                None
            }
        }
    }

    /// The ratio or the RMS.
    fn noise_size(
        &mut self,
        ratio: Option<&NodeEntry<'_>>,
        rms: Option<&NodeEntry<'_>>,
        node: JsonNode<'_>,
        each: bool,
        path: &Path<'_>,
    ) -> Option<Size> {
        match (ratio, rms) {
            (Some(entry), Some(_)) => {
                let what = "an amplitude beside its ratio".to_owned();
                self.report(entry.value, path, |p| p.allowed("one of the two"), what);
                None
            }
            (Some(entry), None) if each => {
                let what = "a ratio differs from rhythm to rhythm".to_owned();
                self.report(entry.value, path, |p| p.allowed("\"mv\", or a step with one rhythm"), what);
                None
            }
            (Some(entry), None) => self.found.number(entry.value, &path.key("snr_db"), RANGE_DB, "dB").map(Size::Ratio),
            (None, Some(entry)) => {
                self.found.number(entry.value, &path.key("mv"), RANGE_MV, "mV").map(|mv| Size::Rms(mv as f32))
            }
            (None, None) => {
                self.missing(node, path, "snr_db", "\"snr_db\": dB, or \"mv\": mV RMS in lead II");
                None
            }
        }
    }

    /// The one or two channels: those that are named, else the first ones in mV.
    fn noise_channels(
        &mut self,
        named: Option<&NodeEntry<'_>>,
        read: &open::Recording,
        file: &str,
        file_node: JsonNode<'_>,
        path: &Path<'_>,
    ) -> Option<Vec<String>> {
        let Some(entry) = named else {
            let potentials = read.channels.iter().filter(|channel| channel.unit == "mV");
            let found: Vec<String> = potentials.take(2).map(|channel| channel.name.clone()).collect();
            if found.is_empty() {
                let allowed = format!("\"channels\": [one or two of {}]", shown(&read.names()));
                let what = format!("no channel of {} is a potential", shown(file));
                self.report(file_node, path, |p| p.allowed(allowed), what);
                return None;
            }
            return Some(found);
        };
        let path = path.key("channels");
        let Some((items, _)) = entry.value.list(3) else {
            self.wrong_kind(entry.value, &path, NodeKind::List);
            return None;
        };
        if !(1..=2).contains(&items.len()) {
            let what = format!("{} channels of noise", items.len());
            self.report(entry.value, &path, |p| p.allowed("one or two"), what);
            return None;
        }
        let mut found: Vec<String> = Vec::new();
        for (index, item) in items.iter().enumerate() {
            let path = Path::Index(&path, index);
            let name = self.text(*item, &path)?;
            if found.contains(&name) {
                self.report(*item, &path, |p| p, format!("{} is named twice", quoted(&name)));
                return None;
            }
            self.recorded_channel(read, (file, &name), *item, &path)?;
            found.push(name);
        }
        Some(found)
    }
}

/// The noise with the gains that give it this RMS in lead II.
fn scaled(
    noise: RecordedNoise<'static>,
    [first, second]: [&[f32]; 2],
    rate_hz: f64,
    mv: f32,
) -> Result<RecordedNoise<'static>, String> {
    let (from, length) = noise.bounds();
    let place = |span: Span| (span.as_secs_f64() * rate_hz).round() as usize;
    let inside = |samples: &[f32]| -> Vec<f64> {
        let end = place(from.plus(length)).min(samples.len());
        samples.get(place(from).min(end)..end).unwrap_or_default().iter().copied().map(f64::from).collect()
    };
    let second_s = rate_hz.round() as usize;
    let first = inside(first);
    let second = if noise.is_single() {
        let half = first.len() / 2;
        first.iter().cycle().skip(half).take(first.len()).copied().collect()
    } else {
        inside(second)
    };
    let mut sizes = Vec::new();
    for (channel, word) in [(&first, "first"), (&second, "second")] {
        let rms = windowed_rms(channel, second_s).filter(|rms| rms.is_normal());
        let mean = channel.iter().sum::<f64>() / channel.len().max(1) as f64;
        sizes.push((rms.ok_or_else(|| format!("the {word} channel has no noise in the stretch"))?, mean));
    }
    let [(first_rms, first_mean), (second_rms, second_mean)] = sizes[..] else { return Err("no channel".to_owned()) };
    let [first_share, second_share] = LEAD_II;
    let pairs = first.iter().zip(&second);
    let lead_ii: Vec<f64> = pairs.map(|(x, y)| first_share * x / first_rms + second_share * y / second_rms).collect();
    let rms = windowed_rms(&lead_ii, second_s).filter(|rms| *rms > 1e-6).ok_or("its channels cancel in lead II")?;
    let gain = |own: f64| (f64::from(mv) / (rms * own)) as f32;
    let (gains, levels) = ([gain(first_rms), gain(second_rms)], [first_mean as f32, second_mean as f32]);
    if gains.iter().chain(&levels).any(|number| !number.is_finite()) {
        return Err("its numbers are too small or too large".to_owned());
    }
    Ok(noise.scaled(gains, levels))
}
