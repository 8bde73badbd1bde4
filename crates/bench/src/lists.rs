//! Favourite and recent rhythms, kept in the folder.

use crate::error::BenchError;
use crate::kept;
use pulsewright_core::heart::catalogue::find;
use pulsewright_files::atomic::{Claim, FileError};
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// Name of its file.
const FILE: &str = "console.json";

/// How many recent rhythms it keeps.
const RECENT: usize = 8;

/// The lists.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Lists {
    /// Favourites, in the order in which they were chosen.
    pub favourites: Vec<String>,
    /// The rhythms played last, the latest first.
    pub recent: Vec<String>,
}

/// The lists with their file.
pub struct KeptLists {
    path: PathBuf,
    claim: Claim,
    /// The lists.
    pub lists: Lists,
}

impl KeptLists {
    /// The lists of a folder, empty where there are none.
    ///
    /// # Errors
    /// When they can't be read: they are never written over then. When another session works in the folder.
    pub fn open(folder: &Path) -> Result<KeptLists, BenchError> {
        let path = folder.join(FILE);
        let claim = Claim::new(&path)?;
        let mut lists: Lists = kept::read(&path, "the list of favourite and recent rhythms")?;
        lists.favourites.retain(|id| find(id).is_some());
        lists.recent.retain(|id| find(id).is_some());
        Ok(KeptLists { path, claim, lists })
    }

    /// A rhythm was played.
    pub fn played(&mut self, id: &str) -> Result<(), FileError> {
        self.lists.recent.retain(|other| other != id);
        self.lists.recent.insert(0, id.to_owned());
        self.lists.recent.truncate(RECENT);
        self.keep()
    }

    /// A rhythm becomes a favourite, or is one no more.
    pub fn favour(&mut self, id: &str, on: bool) -> Result<(), FileError> {
        self.lists.favourites.retain(|other| other != id);
        if on {
            self.lists.favourites.push(id.to_owned());
        }
        self.keep()
    }

    fn keep(&self) -> Result<(), FileError> {
        let text = serde_json::to_string_pretty(&self.lists).unwrap_or_default() + "\n";
        self.claim.write_whole(&self.path, text.as_bytes())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[test]
    fn favourites_and_recent_rhythms_outlive_the_program() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut kept = KeptLists::open(folder.path()).expect("the lists");
        for id in ["sinus", "asystole", "sinus", "torsades"] {
            kept.played(id).expect("written");
        }
        kept.favour("asystole", true).expect("written");
        kept.favour("sinus", true).expect("written");
        kept.favour("asystole", false).expect("written");
        assert!(KeptLists::open(folder.path()).is_err(), "one session works in a folder at a time");
        drop(kept);
        let lists = KeptLists::open(folder.path()).expect("the lists").lists;
        assert_eq!(lists.recent, ["torsades", "sinus", "asystole"]);
        assert_eq!(lists.favourites, ["sinus"]);
    }

    #[test]
    fn lists_that_cannot_be_read_are_left_alone() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join(FILE);
        for text in ["{\"favourites\": [", "{\"favourites\": [7]}", "{\"newer\": []}"] {
            fs::write(&path, text).expect("written");
            assert!(KeptLists::open(folder.path()).is_err(), "{text}");
            assert_eq!(fs::read_to_string(&path).expect("text"), text);
        }
    }
}
