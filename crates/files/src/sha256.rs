//! SHA-256 of written bytes, to distinguish files.

use sha2::{Digest, Sha256};
use std::fmt;
use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;

/// A SHA-256 digest; shown as 64 hexadecimal digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Sha256Digest([u8; 32]);

impl Sha256Digest {
    /// Its 32 bytes.
    pub fn bytes(self) -> [u8; 32] {
        self.0
    }
}

/// Takes bytes and keeps their digest.
#[derive(Clone, Debug, Default)]
pub struct Sha256Writer(Sha256);

impl Sha256Writer {
    /// The digest of all bytes so far.
    pub fn digest(self) -> Sha256Digest {
        Sha256Digest(self.0.finalize().into())
    }
}

impl Write for Sha256Writer {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl fmt::Display for Sha256Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

/// The digest of a file.
///
/// # Errors
/// When it can't be read.
pub fn of_file(path: &Path) -> io::Result<Sha256Digest> {
    let mut file = File::open(path)?;
    let mut writer = Sha256Writer::default();
    let mut bytes = vec![0; 256 * 1024];
    loop {
        match file.read(&mut bytes) {
            Ok(0) => return Ok(writer.digest()),
            Ok(count) => writer.write_all(&bytes[..count])?,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
}
