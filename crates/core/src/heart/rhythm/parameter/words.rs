//! Words of the choices that several parameters have, or that have a word elsewhere too.

use crate::anatomy::{BeatCode, EctopicSite};
use crate::heart::rhythm::{JunctionalP, Priority};

/// As [`PRIORITIES`].
pub(super) const ALARMS: &[&str] = &["none", "low", "medium", "high"];
pub(super) const PRIORITIES: [Priority; 4] = [Priority::None, Priority::Low, Priority::Medium, Priority::High];
/// None, then as [`EctopicSite::ALL`].
pub(super) const SITES: &[&str] =
    &["none", "atrial", "junctional", "right-ventricular", "left-ventricular", "either-ventricle"];
/// Sources of the atria: the origins first.
pub(super) const ATRIA: &[&str] = &[
    "sinus-node",
    "ectopic-high",
    "ectopic-low",
    "ectopic-left",
    "junction",
    "flutter",
    "paced-p",
    "multifocal",
    "independent",
    "fibrillation",
    "device",
    "still",
];
/// As [`crate::anatomy::Pathway::ALL`].
pub(super) const PATHWAYS: &[&str] = &[
    "normal",
    "right-bundle-blocked",
    "left-bundle-blocked",
    "left-anterior-blocked",
    "left-posterior-blocked",
    "pre-excited",
    "right-ventricle",
    "left-ventricle",
    "paced",
    "escape",
    "dying",
    "bifascicular-blocked",
    "biventricular",
];
/// As [`BeatCode::ALL`]: the letters of the open waveform-database annotation set.
pub(super) const CODES: &[&str] =
    &["N", "L", "R", "A", "a", "J", "S", "V", "r", "F", "e", "j", "n", "E", "/", "f", "Q"];
/// As [`JUNCTIONS`].
const JUNCTION_WORDS: [&str; 4] = ["junction-p-before", "junction-p-within", "junction-p-after", "junction-no-p"];
pub(super) const JUNCTIONS: [JunctionalP; 4] =
    [JunctionalP::Before, JunctionalP::Within, JunctionalP::After, JunctionalP::Absent];
/// Number of a twisting focus: after the junction and the pathways; a shifting one follows.
pub(super) const TWISTING: usize = JUNCTIONS.len() + PATHWAYS.len();
pub(super) const FOCI: [&str; TWISTING + 2] = foci("", 0);
pub(super) const OR_NO_FOCUS: [&str; TWISTING + 3] = foci("none", 1);

/// Words of foci from an index on: the junction's, one for each pathway, twisting, shifting.
const fn foci<const N: usize>(before: &'static str, first: usize) -> [&'static str; N] {
    let mut words = [before; N];
    let mut i = first;
    while i < N {
        let focus = i - first;
        words[i] = if focus < JUNCTIONS.len() {
            JUNCTION_WORDS[focus]
        } else if focus < TWISTING {
            PATHWAYS[focus - JUNCTIONS.len()]
        } else if focus == TWISTING {
            "twisting"
        } else {
            "shifting"
        };
        i += 1;
    }
    words
}

// A choice that has a word elsewhere has the same here.
const _: () = {
    let mut i = 0;
    while i < BeatCode::ALL.len() {
        assert!(CODES[i].len() == 1 && CODES[i].as_bytes()[0] as char == BeatCode::ALL[i].symbol());
        i += 1;
    }
    let mut i = 0;
    while i < PRIORITIES.len() {
        assert!(same(ALARMS[i], PRIORITIES[i].id()));
        i += 1;
    }
    let mut i = 0;
    while i < EctopicSite::ALL.len() {
        // After none.
        assert!(same(SITES[1 + i], EctopicSite::ALL[i].id()));
        i += 1;
    }
};

const fn same(one: &str, other: &str) -> bool {
    let (one, other) = (one.as_bytes(), other.as_bytes());
    let mut i = 0;
    while i < one.len() && i < other.len() && one[i] == other[i] {
        i += 1;
    }
    i == one.len() && i == other.len()
}
