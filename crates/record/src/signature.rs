//! Signatures of a saved record by Ed25519 (RFC 8032), kept in a file beside it.
//!
//! A signature binds the digest of a record, and so all of it, to the name of the signer, the meaning of the signature and the
//! time. The record itself is not changed. Private keys are PKCS#8 in PEM, public ones SubjectPublicKeyInfo in PEM (RFC 8410),
//! as other programs make and read them; neither ever gets into a record or a signature file, which holds the public key's 32
//! bytes alone.
//!
//! The signed bytes are [`TITLE`], a line feed, and the canonical JSON of the entry without its `signature`
//! ([`seal::canonical`]): anybody can verify them without this program.

use crate::integrity::Integrity;
use crate::record::{Record, RecordOrigin, broken_seal};
use crate::seal;
use ed25519_dalek::pkcs8::spki::der::pem::LineEnding;
use ed25519_dalek::pkcs8::{DecodePrivateKey, DecodePublicKey, EncodePrivateKey, EncodePublicKey, KeypairBytes};
use ed25519_dalek::{Signature as Bytes, Signer as _, SigningKey, VerifyingKey};
use pulsewright_text::json::JsonError;
use pulsewright_text::{fit, json};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::fmt::Write as _;

/// First line of the signed bytes: no other use of a key signs such a text.
pub const TITLE: &str = "pulsewright signature of a record, version 1";

/// Most characters of a signer's name and of a meaning.
const LONGEST: usize = 200;

/// Most signatures of a record.
const MOST: usize = 100;

/// The signatures of a record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Signatures {
    /// Version of the format: 1.
    pub version: u32,
    /// In the order in which they were made.
    pub signatures: Vec<KeySignature>,
}

/// A signature.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeySignature {
    /// Digest of the record.
    pub record: String,
    /// Who signed, as the key's owner wrote it.
    pub signer: String,
    /// The meaning of the signature, such as `performed` or `reviewed`.
    pub meaning: String,
    /// When it was signed, UTC, as the signer's clock said.
    pub time: String,
    /// The public key, 64 hexadecimal digits.
    pub key: String,
    /// The signature, 128 hexadecimal digits.
    pub signature: String,
}

/// Why something can't be signed or verified.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum SignatureError {
    /// The text is not the private key that is needed.
    #[error("is not a private Ed25519 key in PEM (PKCS#8, without a passphrase)")]
    PrivateKey,
    /// The text is not the public key that is needed.
    #[error("is not a public Ed25519 key in PEM (SubjectPublicKeyInfo)")]
    PublicKey,
    /// The system gave no random numbers for a key.
    #[error("the system gave no random numbers: {0}")]
    NoRandomNumbers(String),
    /// The record can't be signed.
    #[error("only a record as it was saved can be signed: {0}")]
    Record(String),
    /// A name or a meaning is missing or too long.
    #[error("the {0} is 1 to {LONGEST} characters, on one line")]
    Words(&'static str),
    /// The record has many signatures already.
    #[error("a record has at most {MOST} signatures")]
    TooMany,
    /// The text is no list of signatures.
    #[error("{0}")]
    Document(#[from] JsonError),
    /// The list is of a later version.
    #[error("the signatures are of version {0}; this program reads version 1")]
    Version(u32),
}

/// A private key.
pub struct PrivateKey(SigningKey);

/// A public key, and its name in messages.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PublicKey {
    key: VerifyingKey,
    name: String,
}

impl PrivateKey {
    /// A new key.
    ///
    /// # Errors
    /// When the system gives no random numbers.
    pub fn generate() -> Result<PrivateKey, SignatureError> {
        let mut secret = [0; 32];
        getrandom::fill(&mut secret).map_err(|error| SignatureError::NoRandomNumbers(error.to_string()))?;
        Ok(PrivateKey(SigningKey::from_bytes(&secret)))
    }

    /// Reads a key from PEM.
    ///
    /// # Errors
    /// When the text holds none, or one with a passphrase.
    pub fn from_pem(text: &str) -> Result<PrivateKey, SignatureError> {
        SigningKey::from_pkcs8_pem(text.trim()).map(PrivateKey).map_err(|_| SignatureError::PrivateKey)
    }

    /// The key as PEM, for its owner alone.
    ///
    /// # Errors
    /// [`SignatureError::PrivateKey`] when it can't be written; no key is known for which that happens.
    pub fn to_pem(&self) -> Result<impl AsRef<[u8]> + use<>, SignatureError> {
        // Without the public key beside it, so that programs that know only the first version of PKCS#8 read it.
        let bytes = KeypairBytes { secret_key: self.0.to_bytes(), public_key: None };
        // Its memory is wiped when it is dropped.
        bytes.to_pkcs8_pem(LineEnding::LF).map_err(|_| SignatureError::PrivateKey)
    }

    /// The public key as PEM, for those who verify.
    ///
    /// # Errors
    /// [`SignatureError::PublicKey`] when it can't be written; no key is known for which that happens.
    pub fn public_pem(&self) -> Result<String, SignatureError> {
        self.0.verifying_key().to_public_key_pem(LineEnding::LF).map_err(|_| SignatureError::PublicKey)
    }
}

impl PublicKey {
    /// Reads a key from PEM, called `name` in messages.
    ///
    /// # Errors
    /// When the text holds none.
    pub fn from_pem(text: &str, name: &str) -> Result<PublicKey, SignatureError> {
        let key = VerifyingKey::from_public_key_pem(text.trim()).map_err(|_| SignatureError::PublicKey)?;
        Ok(PublicKey { key, name: name.to_owned() })
    }
}

impl Default for Signatures {
    fn default() -> Signatures {
        Signatures { version: 1, signatures: Vec::new() }
    }
}

impl Signatures {
    /// Reads a list.
    ///
    /// # Errors
    /// When the text is none.
    pub fn from_json(text: &str) -> Result<Signatures, SignatureError> {
        let read: Signatures = json::parse(text)?;
        if read.version == 1 { Ok(read) } else { Err(SignatureError::Version(read.version)) }
    }

    /// The list as JSON.
    pub fn to_json(&self) -> String {
        fit::json(&serde_json::to_string_pretty(self).unwrap_or_default()).into_owned() + "\n"
    }

    /// Signs a record and adds the signature.
    ///
    /// # Errors
    /// When the record is not as it was saved, or a word is missing.
    pub fn sign(
        &mut self,
        record: &Record,
        key: &PrivateKey,
        signer: &str,
        meaning: &str,
        time: &str,
    ) -> Result<(), SignatureError> {
        let digest = whole(record)?;
        let word = |what, text: &str| match text.trim() {
            text if text.is_empty() || text.chars().count() > LONGEST || text.contains(fit::is_unfit) => {
                Err(SignatureError::Words(what))
            }
            text => Ok(text.to_owned()),
        };
        if self.signatures.len() >= MOST {
            return Err(SignatureError::TooMany);
        }
        let mut signed = KeySignature {
            record: digest.to_owned(),
            signer: word("signer's name", signer)?,
            meaning: word("meaning", meaning)?,
            time: time.to_owned(),
            key: hex(key.0.verifying_key().as_bytes()),
            signature: String::new(),
        };
        signed.signature = hex(&key.0.sign(signed.statement().as_bytes()).to_bytes());
        self.signatures.push(signed);
        Ok(())
    }

    /// Verifies the signatures of a record with public keys that are known, and adds what is found. Every signature must hold, and each
    /// key must have one.
    pub fn verify(&self, record: &Record, keys: &[PublicKey], found: &mut Integrity) {
        let mut seen = vec![false; keys.len()];
        for (index, signed) in self.signatures.iter().enumerate() {
            let who = format!("signature {} ({}, {}, {})", index + 1, signed.signer, signed.meaning, signed.time);
            if !signed.holds() {
                found.changed.push(format!("{who} is not one of its key: it was changed"));
                continue;
            }
            if Some(&signed.record) != record.digest.as_ref() {
                found.changed.push(format!("{who} is that of another record"));
                continue;
            }
            let known = keys.iter().position(|known| hex(known.key.as_bytes()) == signed.key);
            match known.and_then(|index| Some((keys.get(index)?, seen.get_mut(index)?))) {
                Some((known, seen)) => {
                    *seen = true;
                    let KeySignature { signer, meaning, time, .. } = signed;
                    found.signed.push(format!("{meaning} by {signer} at {time}, with the key {}", known.name));
                }
                None => found.unknown.push(format!("{who} has a key that was not named to verify: {}", signed.key)),
            }
        }
        for (key, _) in keys.iter().zip(&seen).filter(|(_, seen)| !**seen) {
            found.changed.push(format!("no signature of the key {}", key.name));
        }
    }
}

/// The digest of a record that is as it was saved.
fn whole(record: &Record) -> Result<&str, SignatureError> {
    let refused = |why: &str| SignatureError::Record(why.to_owned());
    if record.origin == RecordOrigin::Table {
        return Err(refused("a table has no digest"));
    }
    if let Some(why) = broken_seal(record) {
        return Err(refused(why));
    }
    if !record.doubt.is_empty() {
        return Err(refused("it was made from one that was changed"));
    }
    record.digest.as_deref().ok_or_else(|| refused("it has no digest"))
}

impl KeySignature {
    /// The signed text.
    fn statement(&self) -> String {
        let mut value = serde_json::to_value(self).unwrap_or(Value::Null);
        if let Value::Object(members) = &mut value {
            members.shift_remove("signature");
        }
        format!("{TITLE}\n{}", seal::canonical(&value))
    }

    /// Whether it was made with the private half of its key, over what it says.
    fn holds(&self) -> bool {
        let key = bytes::<32>(&self.key).and_then(|key| VerifyingKey::from_bytes(&key).ok());
        let signature = bytes::<64>(&self.signature).map(|signature| Bytes::from_bytes(&signature));
        // Strictly: a signature that was changed into another valid form, or a weak key, does not hold.
        key.zip(signature)
            .is_some_and(|(key, signature)| key.verify_strict(self.statement().as_bytes(), &signature).is_ok())
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Bytes written as [`hex`] writes them.
fn bytes<const N: usize>(text: &str) -> Option<[u8; N]> {
    let digits: Vec<u8> = text
        .bytes()
        .map(|byte| match byte {
            b'0'..=b'9' => Some(byte - b'0'),
            b'a'..=b'f' => Some(byte - b'a' + 10),
            _ => None,
        })
        .collect::<Option<_>>()?;
    let found: Vec<u8> = digits.chunks_exact(2).map(|pair| pair.iter().fold(0, |high, low| high << 4 | low)).collect();
    if digits.len() == 2 * N { found.try_into().ok() } else { None }
}
