//! The record that every other starts from, and the words of records.

pub(super) use crate::anatomy::{AtrialOrigin, BeatCode, Pathway};
pub(super) use crate::field::Field;
pub(super) use crate::heart::rhythm::{
    Atria, AvNode, Coupling, EctopicConduction, EctopicSite, Ectopy, Escape, Focus, JunctionalP, Pacing, PacingFault,
    PacingMode, Pattern, Priority, Rhythm, SinusFault, UsualRate, Ventricles,
};

impl Rhythm {
    /// Regular sinus rhythm, from which a record of one's own differs where it says so.
    pub const SINUS: Rhythm = SINUS_RECORD;
}

/// Regular sinus rhythm; from it the other records differ only where they say so.
pub(super) const SINUS_RECORD: Rhythm = Rhythm {
    id: "sinus",
    name: "Sinus rhythm",
    usual: UsualRate::Resting(1.0),
    min_bpm: 20.0,
    max_bpm: 350.0,
    alarm: Priority::None,
    values: &[],
    atria: Atria::Driving(AtrialOrigin::Sinus),
    sinus_fault: None,
    av: AvNode::Conducting,
    pathway: Pathway::Normal,
    code: BeatCode::Normal,
    ventricles: Ventricles::Following,
    escape: None,
    ectopy: None,
    pacing: None,
    ejection: 1.0,
};

/// A focus in the ventricles, annotated as given.
pub(super) const fn focus(pathway: Pathway, code: BeatCode) -> Ventricles {
    Ventricles::Focus { focus: Focus::Ventricle(pathway), code, spread: 0.0 }
}

/// A focus in the AV junction, with its P wave where it is said, annotated as given.
pub(super) const fn junction(p: JunctionalP, code: BeatCode) -> Ventricles {
    Ventricles::Focus { focus: Focus::Junction(p), code, spread: 0.0 }
}

/// Single premature beats from a site with a full beat between them.
pub(super) const fn premature(site: EctopicSite, pattern: Pattern) -> Option<Ectopy> {
    Some(Ectopy {
        site,
        pattern,
        coupling: Coupling::Period(0.6),
        foci: 1,
        run: 1,
        run_period: 0.5,
        interpolated: false,
        conduction: EctopicConduction::Normal,
    })
}
