//! Wave shapes of the bodies, as deflections on the Frank vector.
//!
//! A [`Pathway`] says how the ventricles are activated, an [`AtrialOrigin`] where the atria are; each body draws each in
//! its own shape, one file per body. Nothing here knows when a beat comes.

pub mod adult;
pub mod child;
pub mod neonate;

/// How the ventricles are activated: what the QRS and T look like.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Pathway {
    /// Down both bundle branches.
    Normal,
    /// The right bundle branch is blocked.
    RightBundleBranchBlock,
    /// The left bundle branch is blocked.
    LeftBundleBranchBlock,
    /// The anterior fascicle of the left bundle is blocked.
    LeftAnteriorFascicular,
    /// The posterior fascicle of the left bundle is blocked.
    LeftPosteriorFascicular,
    /// An accessory pathway and the AV node together: a delta wave.
    PreExcited,
    /// A focus in the right ventricle's outflow tract.
    RightVentricle,
    /// A focus in the left ventricle.
    LeftVentricle,
    /// A pacing electrode in the right ventricle's apex.
    Paced,
    /// An escape focus low in the ventricles.
    Escape,
    /// A dying heart: very wide and low.
    Agonal,
}

impl Pathway {
    /// Every pathway.
    pub const ALL: &'static [Pathway] = &[
        Pathway::Normal,
        Pathway::RightBundleBranchBlock,
        Pathway::LeftBundleBranchBlock,
        Pathway::LeftAnteriorFascicular,
        Pathway::LeftPosteriorFascicular,
        Pathway::PreExcited,
        Pathway::RightVentricle,
        Pathway::LeftVentricle,
        Pathway::Paced,
        Pathway::Escape,
        Pathway::Agonal,
    ];
}

/// Where an atrial activation starts: what the P wave looks like.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum AtrialOrigin {
    /// The sinus node.
    Sinus,
    /// A focus high in the right atrium.
    EctopicHigh,
    /// A focus low in the right atrium.
    EctopicLow,
    /// A focus in the left atrium.
    EctopicLeft,
    /// The AV junction: the atria are activated backwards.
    Junction,
    /// One turn of typical flutter, [`FLUTTER_CYCLE_MS`] long: waves started a cycle apart join without a seam.
    Flutter,
    /// A pacing electrode in the right atrium's appendage.
    Paced,
}

impl AtrialOrigin {
    /// Every origin.
    pub const ALL: &'static [AtrialOrigin] = &[
        AtrialOrigin::Sinus,
        AtrialOrigin::EctopicHigh,
        AtrialOrigin::EctopicLow,
        AtrialOrigin::EctopicLeft,
        AtrialOrigin::Junction,
        AtrialOrigin::Flutter,
        AtrialOrigin::Paced,
    ];
}

/// Cycle for which the waves of [`AtrialOrigin::Flutter`] are drawn, ms: 300 a minute. Another cycle stretches them.
pub const FLUTTER_CYCLE_MS: f32 = 200.0;

/// One deflection of a template; times in ms, flanks as in [`super::deflection`], size in mV on X, Y, Z.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wave {
    /// Start after the template's start.
    pub at_ms: f32,
    /// Rise.
    pub rise_ms: f32,
    /// Plateau.
    pub hold_ms: f32,
    /// Fall.
    pub fall_ms: f32,
    /// Peak on X (left), Y (down), Z (back), mV.
    pub mv: [f32; 3],
}

/// QRS complex and T wave of one kind of beat.
#[derive(Debug)]
pub struct Complex {
    /// QRS waves, from QRS onset, at the nominal duration.
    pub qrs: &'static [Wave],
    /// Nominal QRS duration, ms: the waves stretch when another is set.
    pub qrs_ms: f32,
    /// Peak of the heart vector after QRS onset at the nominal duration, ms.
    pub peak_ms: f32,
    /// ST and T waves, from the end of the QRS, at the nominal JT (QT less QRS), with which they stretch.
    pub t: &'static [Wave],
    /// Nominal QT, ms.
    pub qt_ms: f32,
}

/// A wave without plateau.
const fn wave(at_ms: f32, rise_ms: f32, fall_ms: f32, mv: [f32; 3]) -> Wave {
    Wave { at_ms, rise_ms, hold_ms: 0.0, fall_ms, mv }
}
