//! The file, pipe or device that takes a signal while it plays, and the form in which it takes it.

use crate::diagnostics::Failure;
use crate::rig;
use pulsewright_core::frame::{Channel, Frame};
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::time::FrameRate;
use pulsewright_files::atomic::is_device;
use pulsewright_files::quantiser::Tally;
use pulsewright_files::{Encoding, FileFormat};
use pulsewright_rig::{Clip, RigRender};
use std::fs::File;
use std::io;
use std::path::Path;

/// The path when it is a plain file, which has to be claimed; `None` for a pipe or a device that is there.
///
/// # Errors
/// For standard output, and for a device that is not there: a plain file of its name would take the signal, and the rig nothing.
pub fn plain_file(path: &Path) -> Result<Option<&Path>, Failure> {
    if path == Path::new("-") {
        return Err(Failure::input("standard output is for words; give --play a file, a pipe or a device"));
    }
    if is_device(path) {
        return Ok(None);
    }
    if path.starts_with("/dev") {
        let name = path.display();
        return Err(Failure::input(format!("there is no device {name}: connect the rig, or name a file outside /dev")));
    }
    Ok(Some(path))
}

/// Opens it. A plain file is written as frames are due, so that a program that follows it sees them in time.
pub fn open(path: &Path) -> io::Result<File> {
    File::options().write(true).create(!is_device(path)).truncate(!is_device(path)).open(path)
}

/// The form in which a signal leaves the program.
pub enum Form {
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

impl Form {
    /// Codes for the rig that is described at a path, or else the usual channels.
    pub fn new(rig: Option<&Path>, rate: FrameRate) -> Result<Form, Failure> {
        let Some(path) = rig else { return Ok(Form::Usual) };
        let (_, rig) = rig::load(path)?;
        let rig = RigRender::new(rig, FileFormat::Raw(Encoding::Float), rate, Clip::Count).map_err(Failure::input)?;
        let needed = SiteSet::of(&rig.channels()).map_err(Failure::input)?;
        // The record's digest is that of the usual pressures wherever they will do.
        let usual = needed.sites().all(|site| SiteSet::USUAL.has(site));
        let pressures = if usual { SiteSet::USUAL } else { needed };
        let tallies = rig.no_tallies();
        Ok(Form::Rig(Box::new(RigCodes { rig, pressures, tallies })))
    }

    /// Appends frames as bytes.
    pub fn encode(&mut self, frames: &[Frame], bytes: &mut Vec<u8>) {
        match self {
            Form::Usual => {
                for frame in frames {
                    bytes.extend(Channel::USUAL.iter().flat_map(|channel| frame.sample(*channel).to_le_bytes()));
                }
            }
            Form::Rig(codes) => codes.rig.encode(frames, bytes, &mut codes.tallies),
        }
    }

    /// The pressures that are to be played for it.
    pub fn pressures(&self) -> SiteSet {
        match self {
            Form::Usual => SiteSet::USUAL,
            Form::Rig(codes) => codes.pressures,
        }
    }

    /// A sentence for each output with clipped samples.
    pub fn clipped(&self) -> Vec<String> {
        match self {
            Form::Usual => Vec::new(),
            Form::Rig(codes) => codes.rig.clipped(&codes.tallies),
        }
    }
}
