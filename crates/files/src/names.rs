//! Which files a render makes.

use crate::format::FileFormat;
use crate::truth::{TruthFile, leads};
use crate::{manifest, sidecar};
use std::path::{Path, PathBuf};

/// Names of a render's files, all in one folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Names {
    /// The signal's files; `OUT.wav`, or `OUT.001.wav` and so on when it is split.
    pub signal: Vec<PathBuf>,
    /// The channel description, `OUT.channels.json`.
    pub description: PathBuf,
    /// The manifest, `OUT.manifest.json`.
    pub manifest: PathBuf,
    /// The truth, in the order of [`TruthFile::ALL`].
    pub truth: [PathBuf; TruthFile::ALL.len()],
    /// Beats in single leads, `OUT.leads.csv`.
    pub leads: PathBuf,
    /// Header and annotations of a record, `OUT.hea` and `OUT.atr`.
    pub record: Option<RecordNames>,
}

/// The files of a record beside its signals.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordNames {
    /// Header: the name that was asked for.
    pub header: PathBuf,
    /// Annotations.
    pub annotations: PathBuf,
}

impl Names {
    /// For a target `OUT.wav` in `files` files; the signals of a record `OUT.hea` are in `OUT.dat`.
    pub fn new(target: &Path, format: FileFormat, files: usize) -> Names {
        let stem = target.file_stem().unwrap_or(target.as_os_str());
        let beside = |suffix: &str| {
            let mut name = stem.to_owned();
            name.push(".");
            name.push(suffix);
            target.with_file_name(name)
        };
        let extension = target.extension().and_then(|extension| extension.to_str()).unwrap_or_default();
        let digits = if files > 999 { 4 } else { 3 };
        let record = matches!(format, FileFormat::Record(_))
            .then(|| RecordNames { header: target.to_owned(), annotations: beside("atr") });
        let signal = match files {
            1 if record.is_some() => vec![beside("dat")],
            1 => vec![target.to_owned()],
            _ => (1..=files).map(|i| beside(&format!("{i:0digits$}.{extension}"))).collect(),
        };
        Names {
            signal,
            description: beside(sidecar::SUFFIX),
            manifest: beside(manifest::SUFFIX),
            truth: TruthFile::ALL.map(|file| beside(file.suffix())),
            leads: beside(leads::SUFFIX),
            record,
        }
    }

    /// All of them.
    pub fn all(&self) -> impl Iterator<Item = &Path> + Clone {
        let record = self.record.iter().flat_map(|names| [&names.header, &names.annotations]);
        self.signal
            .iter()
            .chain(record)
            .chain([&self.description, &self.manifest, &self.leads])
            .chain(&self.truth)
            .map(PathBuf::as_path)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::format::Encoding;
    use crate::scale::Bits;

    #[test]
    fn names_stand_beside_the_target() {
        let names = Names::new(Path::new("ward/night.1.wav"), FileFormat::Wav(Encoding::Float), 1);
        assert_eq!(names.signal, [Path::new("ward/night.1.wav")]);
        assert_eq!(names.description, Path::new("ward/night.1.channels.json"));
        assert_eq!(names.truth[0], Path::new("ward/night.1.beats.csv"));
        let split = Names::new(Path::new("out.csv"), FileFormat::Csv(Bits::B16), 1000);
        assert_eq!(split.signal[0], Path::new("out.0001.csv"));
        assert_eq!(split.signal[999], Path::new("out.1000.csv"));
        assert_eq!(split.all().count(), 1000 + 3 + TruthFile::ALL.len());
    }

    #[test]
    fn a_record_is_three_files() {
        let names = Names::new(Path::new("ward/night.hea"), FileFormat::Record(Bits::B16), 1);
        assert_eq!(names.signal, [Path::new("ward/night.dat")]);
        let all: Vec<&Path> = names.all().collect();
        for name in ["ward/night.hea", "ward/night.atr", "ward/night.beats.csv", "ward/night.channels.json"] {
            assert!(all.contains(&Path::new(name)), "{name}");
        }
    }
}
