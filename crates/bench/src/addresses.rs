//! The address book: the equipment that is checked and the instruments, kept in the folder.

use crate::error::BenchError;
use crate::kept::StoredDocument;
use pulsewright_files::atomic::FileError;
use pulsewright_record::record::Instrument;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::Path;

/// Name of its file.
const FILE: &str = "addresses.json";

/// The document in the file.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Entries {
    /// The equipment, in the order in which it came first.
    pub assets: Vec<Asset>,
    /// The instruments as they were used last, one of each kind.
    pub instruments: Vec<Instrument>,
    /// The kit as it was used last, one piece for each line of plans.
    pub kit: Vec<KitPiece>,
}

/// A piece of kit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct KitPiece {
    /// The line of a plan that asks for it.
    pub line: String,
    /// Its own number.
    pub id: String,
    /// Where it belongs.
    pub place: String,
    /// Name of its picture, in the folder; may be empty.
    pub picture: String,
}

/// A piece of equipment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Asset {
    /// Its number.
    pub asset: String,
    /// Its type.
    pub model: String,
    /// Its serial number.
    pub serial: String,
    /// Version of its software.
    pub software: String,
    /// Where it is used.
    pub location: String,
    /// When the next check is due, as 2027-03-01.
    pub next_due: String,
    /// When it was checked last.
    pub checked: String,
    /// How it fared then.
    pub overall: String,
    /// The record of that, in the folder.
    pub record: String,
}

/// The address book with its file.
pub struct Addresses(StoredDocument<Entries>);

impl Addresses {
    /// The address book of a folder, empty where there is none or no folder.
    ///
    /// # Errors
    /// When it can't be read: it is never written over then. When another session works in the folder.
    pub fn open(folder: Option<&Path>) -> Result<Addresses, BenchError> {
        StoredDocument::open(folder, FILE, "the address book").map(Addresses)
    }

    /// The document.
    pub fn entries(&self) -> &Entries {
        &self.0.value
    }

    /// A piece of equipment by its number.
    pub fn asset(&self, number: &str) -> Option<&Asset> {
        self.entries().assets.iter().find(|asset| asset.asset == number)
    }

    /// Keeps a piece of equipment, in the place of one with the same number.
    ///
    /// # Errors
    /// When the file can't be written.
    pub fn keep_asset(&mut self, asset: Asset) -> Result<(), FileError> {
        let assets = &mut self.0.value.assets;
        match assets.iter_mut().find(|other| other.asset == asset.asset) {
            Some(other) => *other = asset,
            None => assets.push(asset),
        }
        self.0.keep()
    }

    /// Keeps an instrument, in the place of one of the same kind.
    ///
    /// # Errors
    /// When the file can't be written.
    pub fn keep_instrument(&mut self, instrument: Instrument) -> Result<(), FileError> {
        let instruments = &mut self.0.value.instruments;
        match instruments.iter_mut().find(|other| other.what == instrument.what) {
            Some(other) => *other = instrument,
            None => instruments.push(instrument),
        }
        self.0.keep()
    }

    /// Changes the piece of kit of a line, and keeps it.
    ///
    /// # Errors
    /// When the file can't be written.
    pub fn keep_piece(&mut self, line: &str, change: impl FnOnce(&mut KitPiece)) -> Result<(), FileError> {
        let kit = &mut self.0.value.kit;
        match kit.iter_mut().find(|piece| piece.line == line) {
            Some(piece) => change(piece),
            None => {
                let mut piece = KitPiece { line: line.to_owned(), ..KitPiece::default() };
                change(&mut piece);
                kit.push(piece);
            }
        }
        self.0.keep()
    }
}

impl Asset {
    /// From the words of a record.
    pub fn of(about: &BTreeMap<String, String>) -> Asset {
        let word = |word: &str| about.get(word).map_or("", String::as_str).trim().to_owned();
        Asset {
            asset: word("asset"),
            model: word("model"),
            serial: word("serial"),
            software: word("software"),
            location: word("location"),
            ..Asset::default()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[test]
    fn addresses_outlive_the_program_and_a_broken_file_is_left_alone() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut book = Addresses::open(Some(folder.path())).expect("an address book");
        let asset =
            |number: &str, model: &str| Asset { asset: number.to_owned(), model: model.to_owned(), ..Asset::default() };
        for (number, model) in [("INV-1", "one"), ("INV-2", "two"), ("INV-1", "three")] {
            book.keep_asset(asset(number, model)).expect("written");
        }
        drop(book);
        let book = Addresses::open(Some(folder.path())).expect("an address book");
        assert_eq!(book.entries().assets, [asset("INV-1", "three"), asset("INV-2", "two")]);
        drop(book);
        let path = folder.path().join(FILE);
        fs::write(&path, "{\"assets\": [").expect("written");
        assert!(Addresses::open(Some(folder.path())).is_err());
        assert_eq!(fs::read_to_string(&path).expect("text"), "{\"assets\": [");
    }
}
