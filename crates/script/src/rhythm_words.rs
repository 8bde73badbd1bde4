//! Everyday words and abbreviations of rhythms, and the groups in which the trade lists them.
//!
//! One table for every search: messages about an unknown rhythm, and the list of a page. Abbreviations are those in common
//! clinical use (common practice, no source).

/// A group of rhythms.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RhythmGroup {
    /// From the sinus node.
    Sinus,
    /// From the atria.
    Atrial,
    /// From the AV junction.
    Junctional,
    /// Blocks between atria and ventricles.
    AvBlock,
    /// Beats that take another way through the ventricles, or recover in another time.
    Conduction,
    /// Premature ventricular beats.
    VentricularPremature,
    /// Ventricular rhythms.
    Ventricular,
    /// Rhythms without a circulation.
    Arrest,
    /// Pacing.
    Paced,
}

impl RhythmGroup {
    /// Every group, in the order of a list.
    pub const ALL: &'static [RhythmGroup] = &[
        RhythmGroup::Sinus,
        RhythmGroup::Atrial,
        RhythmGroup::Junctional,
        RhythmGroup::AvBlock,
        RhythmGroup::Conduction,
        RhythmGroup::VentricularPremature,
        RhythmGroup::Ventricular,
        RhythmGroup::Arrest,
        RhythmGroup::Paced,
    ];

    /// Heading of the group.
    pub const fn name(self) -> &'static str {
        match self {
            RhythmGroup::Sinus => "Sinus",
            RhythmGroup::Atrial => "Atrial",
            RhythmGroup::Junctional => "Junctional",
            RhythmGroup::AvBlock => "AV block",
            RhythmGroup::Conduction => "Conduction and QT",
            RhythmGroup::VentricularPremature => "Ventricular premature beats",
            RhythmGroup::Ventricular => "Ventricular rhythms",
            RhythmGroup::Arrest => "Cardiac arrest",
            RhythmGroup::Paced => "Pacing",
        }
    }
}

/// The words of a rhythm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RhythmWords {
    /// Its word in scripts.
    pub id: &'static str,
    /// Its group.
    pub group: RhythmGroup,
    /// Everyday words for it: lower case, several words with spaces between them. No two rhythms share one.
    pub words: &'static [&'static str],
}

/// The words of the rhythm with this word in scripts.
pub fn of(id: &str) -> Option<&'static RhythmWords> {
    ALL.iter().find(|rhythm| rhythm.id == id)
}

/// The word in scripts of a rhythm that is known by an everyday word; letters of either case, hyphens count as spaces.
pub fn in_full(everyday: &str) -> Option<&'static str> {
    let typed = everyday.trim().to_lowercase().replace(['-', '_'], " ");
    ALL.iter().find(|rhythm| rhythm.words.contains(&typed.as_str())).map(|rhythm| rhythm.id)
}

const fn row(id: &'static str, group: RhythmGroup, words: &'static [&'static str]) -> RhythmWords {
    RhythmWords { id, group, words }
}

use RhythmGroup::{Arrest, Atrial, AvBlock, Conduction, Junctional, Paced, Sinus, Ventricular, VentricularPremature};

/// Every row, in the order of the groups.
#[rustfmt::skip] // A table: one row a rhythm.
pub static ALL: &[RhythmWords] = &[
    row("sinus", Sinus, &["nsr", "sr", "normal", "normal sinus", "sinus rhythm"]),
    row("sinus-bradycardia", Sinus, &["sb", "brady", "bradycardia", "slow"]),
    row("sinus-tachycardia", Sinus, &["st", "stach", "sinus tach", "tachycardia", "tachy"]),
    row("sinus-arrhythmia", Sinus, &["respiratory arrhythmia"]),
    row("sinus-arrest", Sinus, &["pause", "sinus pause"]),
    row("sinus-exit-block", Sinus, &["sa block", "sinoatrial block"]),
    row("atrial-premature", Atrial, &["apc", "apb", "pac", "pacs", "premature atrial"]),
    row("atrial-premature-aberrant", Atrial, &["aberrant pac", "aberrant apc"]),
    row("atrial-premature-blocked", Atrial, &["blocked pac", "blocked apc", "nonconducted pac"]),
    row("multifocal-atrial-tachycardia", Atrial, &["mat"]),
    row("atrial-fibrillation", Atrial, &["af", "afib", "a fib", "atrial fib"]),
    row("atrial-fibrillation-fine", Atrial, &["fine af", "fine afib"]),
    row("atrial-fibrillation-pre-excited", Atrial, &["pre excited af", "wpw af", "af with wpw"]),
    row("atrial-fibrillation-complete-block", Atrial, &["regularised af", "af with complete block", "af with chb"]),
    row("atrial-flutter", Atrial, &["afl", "aflutter", "a flutter"]),
    row("atrial-flutter-varying", Atrial, &["variable flutter", "flutter varying block"]),
    row("supraventricular-tachycardia", Atrial, &["svt", "psvt", "avnrt"]),
    row("supraventricular-tachycardia-aberrant", Atrial, &["aberrant svt", "svt with aberrancy", "wide svt"]),
    row("atrial-tachycardia", Atrial, &["at", "atach", "pat"]),
    row("junctional-premature", Junctional, &["pjc", "jpb", "premature junctional"]),
    row("junctional-escape", Junctional, &["jer", "nodal", "nodal rhythm"]),
    row("junctional-accelerated", Junctional, &["ajr"]),
    row("junctional-tachycardia", Junctional, &["jt", "jet"]),
    row("av-block-1", AvBlock, &["1avb", "avb1", "first degree", "first degree block", "long pr"]),
    row("av-block-2-type-1", AvBlock, &["wenckebach", "mobitz 1", "mobitz i", "second degree type 1"]),
    row("av-block-2-type-2", AvBlock, &["mobitz 2", "mobitz ii", "mobitz", "second degree type 2"]),
    row("av-block-2-1", AvBlock, &["2 to 1 block", "2:1", "2:1 block"]),
    row("av-block-high-grade", AvBlock, &["high grade block", "advanced block"]),
    row("av-block-3-junctional", AvBlock, &["third degree narrow", "chb narrow"]),
    row("av-block-3-ventricular", AvBlock, &["chb", "3avb", "avb3", "complete heart block", "third degree", "heart block"]),
    row("right-bundle-branch-block", Conduction, &["rbbb"]),
    row("left-bundle-branch-block", Conduction, &["lbbb", "bbb", "bundle branch block"]),
    row("left-anterior-fascicular-block", Conduction, &["lafb", "lahb"]),
    row("left-posterior-fascicular-block", Conduction, &["lpfb", "lphb"]),
    row("bifascicular-block", Conduction, &["rbbb and lafb", "rbbb with lafb", "bifascicular"]),
    row("pre-excitation", Conduction, &["wpw", "delta wave"]),
    row("long-qt", Conduction, &["lqts", "lqt"]),
    row("short-qt", Conduction, &["sqts", "sqt"]),
    row("ventricular-premature", VentricularPremature, &["pvc", "pvcs", "vpc", "vpb", "ves", "premature ventricular", "extrasystole"]),
    row("ventricular-premature-left", VentricularPremature, &["left pvc"]),
    row("ventricular-multifocal", VentricularPremature, &["multifocal pvc", "multifocal pvcs", "multiform pvc"]),
    row("ventricular-interpolated", VentricularPremature, &["interpolated pvc"]),
    row("ventricular-r-on-t", VentricularPremature, &["r on t", "ront"]),
    row("ventricular-couplet", VentricularPremature, &["couplet", "couplets", "pair", "pairs"]),
    row("ventricular-run", VentricularPremature, &["run", "salvo", "nsvt", "triplet"]),
    row("ventricular-bigeminy", VentricularPremature, &["bigeminy", "bigem"]),
    row("ventricular-bigeminy-alternating", VentricularPremature, &["alternating bigeminy"]),
    row("ventricular-trigeminy", VentricularPremature, &["trigeminy", "trigem"]),
    row("ventricular-quadrigeminy", VentricularPremature, &["quadrigeminy"]),
    row("idioventricular", Ventricular, &["ivr", "ventricular escape"]),
    row("idioventricular-accelerated", Ventricular, &["aivr"]),
    row("ventricular-tachycardia", Ventricular, &["vt", "vtach", "v tach", "monomorphic vt", "mvt"]),
    row("ventricular-tachycardia-right", Ventricular, &["rvot vt", "right ventricular tachycardia", "lbbb vt"]),
    row("ventricular-tachycardia-polymorphic", Ventricular, &["pvt", "polymorphic vt"]),
    row("ventricular-tachycardia-bidirectional", Ventricular, &["bidirectional vt"]),
    row("torsades", Ventricular, &["tdp", "torsade", "torsades de pointes"]),
    row("ventricular-flutter", Arrest, &["vfl", "vflutter"]),
    row("ventricular-fibrillation", Arrest, &["vf", "vfib", "v fib", "coarse vf", "fibrillation"]),
    row("ventricular-fibrillation-fine", Arrest, &["fine vf", "fine vfib"]),
    row("agonal", Arrest, &["dying heart"]),
    row("pulseless-electrical-activity", Arrest, &["pea", "no pulse", "electromechanical dissociation"]),
    row("ventricular-standstill", Arrest, &["p wave asystole", "p waves only", "standstill"]),
    row("asystole", Arrest, &["asys", "asy", "flatline", "flat line", "arrest"]),
    row("paced-aai", Paced, &["aai", "a paced", "atrial paced"]),
    row("paced-vvi", Paced, &["vvi", "v paced", "ventricular paced", "paced", "pacemaker"]),
    row("paced-vvi-competing", Paced, &["vvi sensing", "vvi inhibited", "paced fusion"]),
    row("paced-ddd", Paced, &["ddd", "av paced", "dual chamber"]),
    row("paced-ddd-competing", Paced, &["ddd sensing", "ddd inhibited", "ddd fusion"]),
    row("paced-tracking", Paced, &["vat", "tracking"]),
    row("paced-biventricular", Paced, &["biv", "crt", "biventricular", "resynchronisation"]),
    row("paced-loop", Paced, &["pmt", "endless loop tachycardia", "pacemaker tachycardia"]),
    row("paced-no-capture", Paced, &["failure to capture", "no capture", "loss of capture"]),
    row("paced-no-response", Paced, &["spikes only", "pacing without response"]),
    row("paced-no-sensing", Paced, &["failure to sense", "undersensing"]),
    row("paced-oversensing", Paced, &["oversensing"]),
];

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::heart::catalogue::RHYTHMS;

    #[test]
    fn every_rhythm_has_its_row_and_no_row_is_of_another() {
        for rhythm in RHYTHMS {
            assert!(of(rhythm.id).is_some(), "{} is in no group", rhythm.id);
        }
        assert_eq!(ALL.len(), RHYTHMS.len());
        let groups: Vec<usize> =
            ALL.iter().filter_map(|row| RhythmGroup::ALL.iter().position(|group| *group == row.group)).collect();
        assert!(groups.is_sorted(), "rows are in the order of the groups");
    }

    #[test]
    fn every_word_means_one_rhythm() {
        let mut words: Vec<&str> = ALL.iter().flat_map(|row| row.words).copied().collect();
        words.extend(RHYTHMS.iter().map(|rhythm| rhythm.id));
        words.sort_unstable();
        let twice = words.windows(2).find(|pair| pair[0] == pair[1]);
        assert_eq!(twice, None);
        assert_eq!(in_full("V-Fib"), Some("ventricular-fibrillation"));
        assert_eq!(in_full("Complete heart block"), Some("av-block-3-ventricular"));
        assert_eq!(in_full(""), None);
    }
}
