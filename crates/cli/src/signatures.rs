//! Signatures of a record in the file beside it, and the keys for them.

use crate::diagnostics::{VerbFailure, VerbOutcome, print, warn};
use crate::output::claim;
use pulsewright_files::atomic::{FileError, FileSet};
use pulsewright_record::calendar::utc;
use pulsewright_record::signature::{PrivateKey, PublicKey, SignatureError, Signatures};
use pulsewright_record::{Integrity, Record};
use pulsewright_text::source;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Most bytes of a key.
const KEY: u64 = 64 << 10;

/// A signature to make.
pub struct SignatureRequest {
    /// The private key.
    pub key: PathBuf,
    /// Name of the person who signs.
    pub signer: String,
    /// The meaning of the signature.
    pub meaning: String,
}

/// Makes a key for its owner, and the public key that belongs to it.
pub fn new_key(path: &Path) -> VerbOutcome {
    let public = beside(path, "pub");
    let set = FileSet::of_files(&[path, &public], false).map_err(VerbFailure::input)?;
    let key = PrivateKey::generate().map_err(VerbFailure::input)?;
    let write = |path: &Path, text: &[u8], private: bool| {
        let mut part = if private { set.private_part(path)? } else { set.part(path)? };
        part.write_all(text).map_err(FileError::of(path))?;
        part.finish()
    };
    let private_pem = key.to_pem().map_err(VerbFailure::input)?;
    let public_pem = key.public_pem().map_err(VerbFailure::input)?;
    let private = write(path, private_pem.as_ref(), true).map_err(VerbFailure::input)?;
    let parts = vec![private, write(&public, public_pem.as_bytes(), false).map_err(VerbFailure::input)?];
    set.publish(parts, &[]).map_err(VerbFailure::input)?;
    let (private, public) = (source::name(path), source::name(&public));
    print(|out| {
        writeln!(out, "{private} signs: keep it to yourself, with a copy in a safe place")?;
        writeln!(out, "{public} verifies: give it to those who read your records, by a way that they trust")
    })
}

/// Adds a signature of a record to those beside it.
pub fn sign(path: &Path, record: &Record, signing: &SignatureRequest) -> VerbOutcome {
    let of_key = |error| in_file(&signing.key, error);
    warn_of_readers(&signing.key);
    let key = PrivateKey::from_pem(&text(&signing.key, KEY)?).map_err(of_key)?;
    let beside = beside(path, "signatures");
    // Claimed before it is read, so that two who sign at once lose neither signature.
    let set = claim(&[&beside], [path, &signing.key], true)?;
    let mut signatures = if beside.exists() { read(&beside)? } else { Signatures::default() };
    let time = utc(SystemTime::now());
    signatures
        .sign(record, &key, &signing.signer, &signing.meaning, &time)
        .map_err(|error| VerbFailure::input(format!("{}: {error}", source::name(path))))?;
    set.write(&[(&beside, signatures.to_json().as_bytes())]).map_err(VerbFailure::input)?;
    print(|out| writeln!(out, "signed: {}", source::name(&beside)))
}

/// Verifies the signatures beside a record, and adds what is found.
pub fn verify(path: &Path, record: &Record, keys: &[PathBuf], found: &mut Integrity) -> VerbOutcome {
    let key = |path: &PathBuf| {
        let name = source::name(path);
        PublicKey::from_pem(&text(path, KEY)?, &name).map_err(|error| in_file(path, error))
    };
    let keys = keys.iter().map(key).collect::<Result<Vec<_>, _>>()?;
    read(&beside(path, "signatures"))?.verify(record, &keys, found);
    Ok(())
}

fn read(path: &Path) -> Result<Signatures, VerbFailure> {
    Signatures::from_json(&text(path, source::DOCUMENT)?)
        .map_err(|error| VerbFailure::input(format!("{}: {error}", source::name(path))))
}

fn text(path: &Path, most: u64) -> Result<String, VerbFailure> {
    let bytes = source::file(path, most).map_err(VerbFailure::input)?;
    let text = source::utf8(&bytes).map(str::to_owned);
    text.map_err(|at| VerbFailure::input(format!("{}: byte {at} is not UTF-8 text", source::name(path))))
}

fn in_file(path: &Path, error: SignatureError) -> VerbFailure {
    VerbFailure::input(format!("{} {error}", source::name(path)))
}

/// A file beside another, with a longer name.
fn beside(path: &Path, end: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(format!(".{end}"));
    name.into()
}

/// Warns of a private key that others can read.
#[cfg(unix)]
fn warn_of_readers(path: &Path) {
    use std::os::unix::fs::PermissionsExt;
    if path.metadata().is_ok_and(|there| there.is_file() && there.permissions().mode() & 0o077 != 0) {
        warn(&format!("{} can be read by others; a private key is for its owner alone", source::name(path)));
    }
}

/// Other systems have no modes of this kind.
#[cfg(not(unix))]
fn warn_of_readers(_: &Path) {}
