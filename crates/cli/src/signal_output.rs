//! The file, pipe or device that takes a signal while it plays, and the form in which it takes it.

use crate::diagnostics::{VerbFailure, say};
use crate::rig;
use crate::sound::CardPlay;
use pulsewright_core::frame::{Channel, Frame};
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::time::FrameRate;
use pulsewright_files::atomic::{FileError, FileSet, folder_of, is_device, refuse_inputs};
use pulsewright_files::quantiser::Tally;
use pulsewright_files::{Encoding, FileFormat};
use pulsewright_rig::{Clip, RigRender};
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

/// Where `--play` sends a signal.
#[derive(Clone, Debug)]
pub enum Play {
    /// A file, pipe or device.
    File(PathBuf),
    /// A sound card.
    Card(CardPlay),
}

impl Play {
    /// The sound card.
    pub fn card(&self) -> Option<&CardPlay> {
        match self {
            Play::File(_) => None,
            Play::Card(card) => Some(card),
        }
    }
}

/// Most files of signal with one name and a number.
const MOST_NUMBERED: usize = 10_000;

/// The taker of a signal.
pub enum SignalTarget {
    /// A file, pipe or device.
    File {
        /// Its path.
        path: PathBuf,
        /// The claim on a plain file; `None` for a pipe or a device.
        _claim: Option<FileSet>,
    },
    /// A sound card.
    Card(CardPlay),
}

impl SignalTarget {
    /// Its name, as it stands in records.
    pub fn name(&self) -> String {
        match self {
            SignalTarget::File { path, .. } => path.display().to_string(),
            SignalTarget::Card(card) => card.to_string(),
        }
    }
}

/// The target that `play` names. A file that is there holds the signal of an earlier start: its name with the next free number is
/// taken in its place, and the program says so.
///
/// # Errors
/// For standard output, for a device that is not there, and for a file of the `inputs`.
pub fn target<'i>(
    play: &Play,
    inputs: impl IntoIterator<Item = &'i Path> + Clone,
) -> Result<SignalTarget, VerbFailure> {
    let path = match play {
        Play::File(path) => path.as_path(),
        Play::Card(card) => return Ok(SignalTarget::Card(card.clone())),
    };
    if !is_plain_file(path)? {
        return Ok(SignalTarget::File { path: path.to_owned(), _claim: None });
    }
    refuse_inputs([path], inputs).map_err(VerbFailure::input)?;
    for number in 1..=MOST_NUMBERED {
        let name = numbered(path, number);
        match FileSet::of_files(&[&name], false) {
            Ok(claim) => {
                if number > 1 {
                    say(&format!("{} is there already: the signal goes to {}", path.display(), name.display()));
                }
                return Ok(SignalTarget::File { path: name, _claim: Some(claim) });
            }
            // Another session that has just begun may not have made its file yet.
            Err(FileError::Exists(_) | FileError::Busy(..)) => {}
            Err(error) => return Err(VerbFailure::input(error)),
        }
    }
    Err(VerbFailure::input(FileError::Exists(path.to_owned())))
}

/// The name with a number before its extension; the first has none.
fn numbered(path: &Path, number: usize) -> PathBuf {
    if number == 1 {
        return path.to_owned();
    }
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push(format!("-{number}"));
    if let Some(extension) = path.extension() {
        name.push(".");
        name.push(extension);
    }
    path.with_file_name(name)
}

/// Whether a path is one of a plain file, and not of a pipe or a device that is there.
///
/// # Errors
/// For standard output, and for a device that is not there: a plain file of its name would take the signal, and the rig nothing.
fn is_plain_file(path: &Path) -> Result<bool, VerbFailure> {
    if path == Path::new("-") {
        return Err(VerbFailure::input("standard output is for words; give --play a file, a pipe or a device"));
    }
    if is_device(path) {
        return Ok(false);
    }
    // However it is written: a link or `..` may lead there too.
    let folder = folder_of(path).canonicalize().unwrap_or_else(|_| folder_of(path).to_owned());
    if folder.starts_with("/dev") {
        let name = path.display();
        return Err(VerbFailure::input(format!(
            "there is no device {name}: connect the rig, or name a file outside /dev"
        )));
    }
    Ok(true)
}

/// Opens it. A plain file is written as frames are due, so that a program that follows it sees them in time.
pub fn open(path: &Path) -> io::Result<File> {
    File::options().write(true).create(!is_device(path)).truncate(!is_device(path)).open(path)
}

/// The form in which a signal leaves the program.
pub enum SignalFormat {
    /// Frames of the usual channels, 32-bit floats, little-endian.
    Usual,
    /// Codes of a rig.
    Rig(Box<RigCodes>),
}

/// A rig with what was clipped so far.
pub struct RigCodes {
    rig: RigRender,
    pressures: SiteSet,
    tallies: Vec<Tally>,
}

impl SignalFormat {
    /// Codes for the rig that is described at a path, or else the usual channels.
    pub fn new(rig: Option<&Path>, rate: FrameRate) -> Result<SignalFormat, VerbFailure> {
        let Some(path) = rig else { return Ok(SignalFormat::Usual) };
        let (_, rig) = rig::load(path)?;
        let rig =
            RigRender::new(rig, FileFormat::Raw(Encoding::Float), rate, Clip::Count).map_err(VerbFailure::input)?;
        let needed = SiteSet::of(&rig.channels()).map_err(VerbFailure::input)?;
        // The record's digest is that of the usual pressures wherever they will do.
        let usual = needed.sites().all(|site| SiteSet::USUAL.has(site));
        let pressures = if usual { SiteSet::USUAL } else { needed };
        let tallies = rig.no_tallies();
        Ok(SignalFormat::Rig(Box::new(RigCodes { rig, pressures, tallies })))
    }

    /// Appends frames as bytes.
    pub fn encode(&mut self, frames: &[Frame], bytes: &mut Vec<u8>) {
        match self {
            SignalFormat::Usual => {
                for frame in frames {
                    bytes.extend(Channel::USUAL.iter().flat_map(|channel| frame.sample(*channel).to_le_bytes()));
                }
            }
            SignalFormat::Rig(codes) => codes.rig.encode(frames, bytes, &mut codes.tallies),
        }
    }

    /// The rig whose codes they are.
    pub fn rig(&self) -> Option<&RigRender> {
        match self {
            SignalFormat::Usual => None,
            SignalFormat::Rig(codes) => Some(&codes.rig),
        }
    }

    /// The pressures that are to be played for it.
    pub fn pressures(&self) -> SiteSet {
        match self {
            SignalFormat::Usual => SiteSet::USUAL,
            SignalFormat::Rig(codes) => codes.pressures,
        }
    }

    /// A sentence for each output with clipped samples.
    pub fn clipped(&self) -> Vec<String> {
        match self {
            SignalFormat::Usual => Vec::new(),
            SignalFormat::Rig(codes) => codes.rig.clipped(&codes.tallies),
        }
    }
}
