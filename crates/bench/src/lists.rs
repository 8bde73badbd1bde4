//! Favourite and recent rhythms, kept in the folder.

use crate::error::BenchError;
use crate::kept::StoredDocument;
use pulsewright_core::heart::catalogue::find;
use pulsewright_files::atomic::FileError;
use serde::{Deserialize, Serialize};
use std::path::Path;

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
pub struct StoredLists(StoredDocument<Lists>);

impl StoredLists {
    /// The lists of a folder, empty where there are none or no folder.
    ///
    /// # Errors
    /// When they can't be read: they are never written over then. When another session works in the folder.
    pub fn open(folder: Option<&Path>) -> Result<StoredLists, BenchError> {
        let mut kept: StoredDocument<Lists> =
            StoredDocument::open(folder, FILE, "the list of favourite and recent rhythms")?;
        kept.value.favourites.retain(|id| find(id).is_some());
        kept.value.recent.retain(|id| find(id).is_some());
        Ok(StoredLists(kept))
    }

    /// The lists.
    pub fn lists(&self) -> &Lists {
        &self.0.value
    }

    /// A rhythm was played.
    pub fn played(&mut self, id: &str) -> Result<(), FileError> {
        let recent = &mut self.0.value.recent;
        recent.retain(|other| other != id);
        recent.insert(0, id.to_owned());
        recent.truncate(RECENT);
        self.0.keep()
    }

    /// A rhythm becomes a favourite, or is one no more.
    pub fn favour(&mut self, id: &str, on: bool) -> Result<(), FileError> {
        let favourites = &mut self.0.value.favourites;
        favourites.retain(|other| other != id);
        if on {
            favourites.push(id.to_owned());
        }
        self.0.keep()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[test]
    fn favourites_and_recent_rhythms_outlive_the_program() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut kept = StoredLists::open(Some(folder.path())).expect("the lists");
        for id in ["sinus", "asystole", "sinus", "torsades"] {
            kept.played(id).expect("written");
        }
        kept.favour("asystole", true).expect("written");
        kept.favour("sinus", true).expect("written");
        kept.favour("asystole", false).expect("written");
        assert!(StoredLists::open(Some(folder.path())).is_err(), "one session works in a folder at a time");
        drop(kept);
        let kept = StoredLists::open(Some(folder.path())).expect("the lists");
        let lists = kept.lists();
        assert_eq!(lists.recent, ["torsades", "sinus", "asystole"]);
        assert_eq!(lists.favourites, ["sinus"]);
    }

    #[test]
    fn lists_that_cannot_be_read_are_left_alone() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join(FILE);
        for text in ["{\"favourites\": [", "{\"favourites\": [7]}", "{\"newer\": []}"] {
            fs::write(&path, text).expect("written");
            assert!(StoredLists::open(Some(folder.path())).is_err(), "{text}");
            assert_eq!(fs::read_to_string(&path).expect("text"), text);
        }
    }
}
