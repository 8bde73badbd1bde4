//! Words of anatomy that every floor above shares: where beats start and how they spread, how they are annotated, where
//! pressures are measured.

/// Beat type, in the codes of the open waveform-database annotation set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum BeatCode {
    /// `N`: normal.
    Normal,
    /// `L`: left bundle branch block.
    LeftBundleBranchBlock,
    /// `R`: right bundle branch block.
    RightBundleBranchBlock,
    /// `A`: atrial premature.
    AtrialPremature,
    /// `a`: aberrated atrial premature.
    AberratedAtrialPremature,
    /// `J`: nodal (junctional) premature.
    JunctionalPremature,
    /// `S`: supraventricular premature or ectopic.
    SupraventricularPremature,
    /// `V`: premature ventricular contraction.
    VentricularPremature,
    /// `r`: R-on-T premature ventricular contraction.
    ROnT,
    /// `F`: fusion of ventricular and normal.
    Fusion,
    /// `e`: atrial escape.
    AtrialEscape,
    /// `j`: nodal (junctional) escape.
    JunctionalEscape,
    /// `n`: supraventricular escape.
    SupraventricularEscape,
    /// `E`: ventricular escape.
    VentricularEscape,
    /// `/`: paced.
    Paced,
    /// `f`: fusion of paced and normal.
    PacedFusion,
    /// `Q`: unclassifiable.
    Unclassifiable,
}

impl BeatCode {
    /// Every code.
    pub const ALL: &'static [BeatCode] = &[
        BeatCode::Normal,
        BeatCode::LeftBundleBranchBlock,
        BeatCode::RightBundleBranchBlock,
        BeatCode::AtrialPremature,
        BeatCode::AberratedAtrialPremature,
        BeatCode::JunctionalPremature,
        BeatCode::SupraventricularPremature,
        BeatCode::VentricularPremature,
        BeatCode::ROnT,
        BeatCode::Fusion,
        BeatCode::AtrialEscape,
        BeatCode::JunctionalEscape,
        BeatCode::SupraventricularEscape,
        BeatCode::VentricularEscape,
        BeatCode::Paced,
        BeatCode::PacedFusion,
        BeatCode::Unclassifiable,
    ];

    /// The one-letter symbol.
    pub const fn symbol(self) -> char {
        match self {
            BeatCode::Normal => 'N',
            BeatCode::LeftBundleBranchBlock => 'L',
            BeatCode::RightBundleBranchBlock => 'R',
            BeatCode::AtrialPremature => 'A',
            BeatCode::AberratedAtrialPremature => 'a',
            BeatCode::JunctionalPremature => 'J',
            BeatCode::SupraventricularPremature => 'S',
            BeatCode::VentricularPremature => 'V',
            BeatCode::ROnT => 'r',
            BeatCode::Fusion => 'F',
            BeatCode::AtrialEscape => 'e',
            BeatCode::JunctionalEscape => 'j',
            BeatCode::SupraventricularEscape => 'n',
            BeatCode::VentricularEscape => 'E',
            BeatCode::Paced => '/',
            BeatCode::PacedFusion => 'f',
            BeatCode::Unclassifiable => 'Q',
        }
    }
}

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
    /// The right bundle branch and the anterior fascicle of the left are blocked.
    Bifascicular,
    /// Pacing electrodes in the right ventricle's apex and on the side of the left ventricle.
    Biventricular,
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
        Pathway::Bifascicular,
        Pathway::Biventricular,
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
    /// One turn of typical flutter, 200 ms long: waves started a cycle apart join without a seam.
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

/// Site of a premature impulse.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum EctopicSite {
    /// Atrial.
    Atrium,
    /// The AV junction.
    Junction,
    /// The right ventricle.
    RightVentricle,
    /// The left ventricle.
    LeftVentricle,
    /// Right and left ventricle in turn.
    BothVentricles,
}

impl EctopicSite {
    /// Every site.
    pub const ALL: &'static [EctopicSite] = &[
        EctopicSite::Atrium,
        EctopicSite::Junction,
        EctopicSite::RightVentricle,
        EctopicSite::LeftVentricle,
        EctopicSite::BothVentricles,
    ];

    /// Word in scripts.
    pub const fn id(self) -> &'static str {
        match self {
            EctopicSite::Atrium => "atrial",
            EctopicSite::Junction => "junctional",
            EctopicSite::RightVentricle => "right-ventricular",
            EctopicSite::LeftVentricle => "left-ventricular",
            EctopicSite::BothVentricles => "either-ventricle",
        }
    }
}

/// Why a beat that was asked for does not come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Refusal {
    /// The chamber had just been activated and takes no second impulse.
    Refractory,
    /// Its impulse does not get through to the ventricles: a P wave may come, without its QRS.
    Blocked,
    /// The chamber fibrillates or flutters.
    Fibrillation,
    /// The step is over before its time.
    StepEnded,
}

impl Refusal {
    /// Word in the truth.
    pub const fn id(self) -> &'static str {
        match self {
            Refusal::Refractory => "refractory",
            Refusal::Blocked => "blocked",
            Refusal::Fibrillation => "fibrillation",
            Refusal::StepEnded => "step-ended",
        }
    }
}

/// A stretch of rhythm without countable beats, of time without breaths, or of something that settings add to the ECG.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Episode {
    /// Atrial fibrillation.
    AtrialFibrillation,
    /// Atrial flutter.
    AtrialFlutter,
    /// Ventricular flutter.
    VentricularFlutter,
    /// Ventricular fibrillation.
    VentricularFibrillation,
    /// No breathing: from the end of a breath to the start of the next.
    Apnoea,
    /// An ST level of at least 0.1 mV in a group of leads.
    StShift,
    /// Noise of any kind: hum, wander, muscle, motion (with the pauses between its bursts), surgery.
    Noise,
    /// An electrode is off.
    LeadOff,
    /// Efforts against a closed throat: from the start of the first to the start of the first breath, or to an apnoea.
    Obstruction,
}

impl Episode {
    /// Every kind that is a rhythm.
    pub(crate) const RHYTHMS: [Episode; 4] = [
        Episode::AtrialFibrillation,
        Episode::AtrialFlutter,
        Episode::VentricularFlutter,
        Episode::VentricularFibrillation,
    ];
}

/// A heart chamber that a device paces.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Chamber {
    /// Right atrium.
    Atrium,
    /// Right ventricle.
    Ventricle,
}

/// Where a pressure is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
#[repr(u8)]
pub enum PressureSite {
    /// Radial artery.
    Arterial = 0,
    /// Femoral artery.
    Femoral,
    /// Pulmonary artery.
    Pulmonary,
    /// A central vein.
    Venous,
    /// Right atrium.
    RightAtrium,
    /// Right ventricle.
    RightVentricle,
    /// Left ventricle.
    LeftVentricle,
    /// Left atrium.
    LeftAtrium,
    /// Wedged pulmonary artery.
    Wedge,
    /// Within the skull.
    Intracranial,
}

impl PressureSite {
    /// Every site.
    pub const ALL: &'static [PressureSite] = &[
        PressureSite::Arterial,
        PressureSite::Femoral,
        PressureSite::Pulmonary,
        PressureSite::Venous,
        PressureSite::RightAtrium,
        PressureSite::RightVentricle,
        PressureSite::LeftVentricle,
        PressureSite::LeftAtrium,
        PressureSite::Wedge,
        PressureSite::Intracranial,
    ];
    /// Number of sites.
    pub const COUNT: usize = Self::ALL.len();
}
