//! Frames: one value of every signal at one instant, the channels read from them, and their digest.

pub use crate::anatomy::PressureSite;

/// Leads of the electrocardiogram.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs)] // The names are the documentation: the twelve standard leads.
pub enum Lead {
    I,
    II,
    III,
    AVR,
    AVL,
    AVF,
    V1,
    V2,
    V3,
    V4,
    V5,
    V6,
}

impl Lead {
    /// Every lead, in their usual order.
    pub const ALL: [Lead; 12] = [
        Lead::I,
        Lead::II,
        Lead::III,
        Lead::AVR,
        Lead::AVL,
        Lead::AVF,
        Lead::V1,
        Lead::V2,
        Lead::V3,
        Lead::V4,
        Lead::V5,
        Lead::V6,
    ];

    /// The leads that frames hold, in the order of [`Frame::leads_mv`]; the other limb leads are worked out of I and II.
    pub const INDEPENDENT: [Lead; INDEPENDENT_LEADS] =
        [Lead::I, Lead::II, Lead::V1, Lead::V2, Lead::V3, Lead::V4, Lead::V5, Lead::V6];
}

/// Electrodes, by their AHA labels; potentials against the average of the three limbs, RL being the reference.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs)] // The names are the documentation: RA, LA, LL and the six chest positions.
pub enum Electrode {
    RA,
    LA,
    LL,
    V1,
    V2,
    V3,
    V4,
    V5,
    V6,
}

/// A signal that can be written out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Channel {
    /// An ECG lead, mV.
    Lead(Lead),
    /// An electrode's potential, mV.
    Electrode(Electrode),
    /// Respiration impedance, ohm.
    Respiration,
    /// A pressure, mmHg.
    Pressure(PressureSite),
    /// Pressure in the cuff, oscillations included, mmHg.
    Cuff,
    /// The cuff's oscillations alone, mmHg.
    CuffOscillation,
}

/// Kind of quantity of a channel, with its unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ChannelKind {
    /// Potential, mV.
    Potential,
    /// Impedance, ohm.
    Impedance,
    /// Pressure, mmHg.
    Pressure,
}

impl ChannelKind {
    /// Unit as printed.
    pub const fn unit(self) -> &'static str {
        match self {
            ChannelKind::Potential => "mV",
            ChannelKind::Impedance => "ohm",
            ChannelKind::Pressure => "mmHg",
        }
    }
}

impl Channel {
    /// Every channel: twelve leads, respiration, pressures, then the electrodes.
    pub const ALL: &'static [Channel] = &[
        Channel::Lead(Lead::I),
        Channel::Lead(Lead::II),
        Channel::Lead(Lead::III),
        Channel::Lead(Lead::AVR),
        Channel::Lead(Lead::AVL),
        Channel::Lead(Lead::AVF),
        Channel::Lead(Lead::V1),
        Channel::Lead(Lead::V2),
        Channel::Lead(Lead::V3),
        Channel::Lead(Lead::V4),
        Channel::Lead(Lead::V5),
        Channel::Lead(Lead::V6),
        Channel::Respiration,
        Channel::Pressure(PressureSite::Arterial),
        Channel::Pressure(PressureSite::Femoral),
        Channel::Pressure(PressureSite::Pulmonary),
        Channel::Pressure(PressureSite::Venous),
        Channel::Pressure(PressureSite::RightAtrium),
        Channel::Pressure(PressureSite::RightVentricle),
        Channel::Pressure(PressureSite::LeftVentricle),
        Channel::Pressure(PressureSite::LeftAtrium),
        Channel::Pressure(PressureSite::Wedge),
        Channel::Pressure(PressureSite::Intracranial),
        Channel::Cuff,
        Channel::CuffOscillation,
        Channel::Electrode(Electrode::RA),
        Channel::Electrode(Electrode::LA),
        Channel::Electrode(Electrode::LL),
        Channel::Electrode(Electrode::V1),
        Channel::Electrode(Electrode::V2),
        Channel::Electrode(Electrode::V3),
        Channel::Electrode(Electrode::V4),
        Channel::Electrode(Electrode::V5),
        Channel::Electrode(Electrode::V6),
    ];

    /// The channels written when none are named: twelve leads, respiration, arterial pressure.
    pub const USUAL: &'static [Channel] = Self::ALL.split_at(14).0;

    /// Word in flags, headers and sidecars.
    pub const fn id(self) -> &'static str {
        match self {
            Channel::Lead(Lead::I) => "I",
            Channel::Lead(Lead::II) => "II",
            Channel::Lead(Lead::III) => "III",
            Channel::Lead(Lead::AVR) => "aVR",
            Channel::Lead(Lead::AVL) => "aVL",
            Channel::Lead(Lead::AVF) => "aVF",
            Channel::Lead(Lead::V1) => "V1",
            Channel::Lead(Lead::V2) => "V2",
            Channel::Lead(Lead::V3) => "V3",
            Channel::Lead(Lead::V4) => "V4",
            Channel::Lead(Lead::V5) => "V5",
            Channel::Lead(Lead::V6) => "V6",
            Channel::Electrode(Electrode::RA) => "electrode-RA",
            Channel::Electrode(Electrode::LA) => "electrode-LA",
            Channel::Electrode(Electrode::LL) => "electrode-LL",
            Channel::Electrode(Electrode::V1) => "electrode-V1",
            Channel::Electrode(Electrode::V2) => "electrode-V2",
            Channel::Electrode(Electrode::V3) => "electrode-V3",
            Channel::Electrode(Electrode::V4) => "electrode-V4",
            Channel::Electrode(Electrode::V5) => "electrode-V5",
            Channel::Electrode(Electrode::V6) => "electrode-V6",
            Channel::Respiration => "respiration",
            Channel::Pressure(PressureSite::Arterial) => "arterial",
            Channel::Pressure(PressureSite::Femoral) => "femoral",
            Channel::Pressure(PressureSite::Pulmonary) => "pulmonary",
            Channel::Pressure(PressureSite::Venous) => "venous",
            Channel::Pressure(PressureSite::RightAtrium) => "right-atrium",
            Channel::Pressure(PressureSite::RightVentricle) => "right-ventricle",
            Channel::Pressure(PressureSite::LeftVentricle) => "left-ventricle",
            Channel::Pressure(PressureSite::LeftAtrium) => "left-atrium",
            Channel::Pressure(PressureSite::Wedge) => "wedge",
            Channel::Pressure(PressureSite::Intracranial) => "intracranial",
            Channel::Cuff => "cuff",
            Channel::CuffOscillation => "cuff-oscillation",
        }
    }

    /// Kind of quantity.
    pub const fn kind(self) -> ChannelKind {
        match self {
            Channel::Lead(_) | Channel::Electrode(_) => ChannelKind::Potential,
            Channel::Respiration => ChannelKind::Impedance,
            Channel::Pressure(_) | Channel::Cuff | Channel::CuffOscillation => ChannelKind::Pressure,
        }
    }

    /// The channel with this word, letters of either case.
    pub fn find(id: &str) -> Option<Channel> {
        Self::ALL.iter().copied().find(|channel| channel.id().eq_ignore_ascii_case(id))
    }
}

/// Independent leads carried in a frame, in this order: I, II, V1 to V6.
pub const INDEPENDENT_LEADS: usize = 8;

/// One value of every signal at one instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Frame {
    /// Leads I, II, V1 to V6, mV; the other four follow from I and II.
    pub leads_mv: [f32; INDEPENDENT_LEADS],
    /// Impedance, ohm.
    pub respiration_ohm: f32,
    /// Pressures by site, mmHg.
    pub pressure_mmhg: [f32; PressureSite::COUNT],
    /// Pressure in the cuff with the oscillations, and the oscillations alone, mmHg.
    pub cuff_mmhg: [f32; 2],
}

impl Frame {
    /// A lead, mV: III, aVR, aVL and aVF by Einthoven and Goldberger from I and II.
    pub fn lead_mv(&self, lead: Lead) -> f32 {
        let [i, ii, v1, v2, v3, v4, v5, v6] = self.leads_mv;
        match lead {
            Lead::I => i,
            Lead::II => ii,
            Lead::III => iii(i, ii),
            Lead::AVR => avr(i, ii),
            Lead::AVL => avl(i, ii),
            Lead::AVF => avf(i, ii),
            Lead::V1 => v1,
            Lead::V2 => v2,
            Lead::V3 => v3,
            Lead::V4 => v4,
            Lead::V5 => v5,
            Lead::V6 => v6,
        }
    }

    /// I, II, III, aVR, aVL, aVF and V1 to V6, mV: the outputs of a rig, at the cost of four sums.
    pub fn twelve_leads_mv(&self) -> [f32; 12] {
        let [i, ii, v1, v2, v3, v4, v5, v6] = self.leads_mv;
        let [iii, avr, avl, avf] = [Lead::III, Lead::AVR, Lead::AVL, Lead::AVF].map(|lead| self.lead_mv(lead));
        [i, ii, iii, avr, avl, avf, v1, v2, v3, v4, v5, v6]
    }

    /// An electrode's potential, mV, against the mean of the limbs (so that RA + LA + LL = 0).
    pub fn electrode_mv(&self, electrode: Electrode) -> f32 {
        let [i, ii, v1, v2, v3, v4, v5, v6] = self.leads_mv;
        match electrode {
            Electrode::RA => ra(i, ii),
            Electrode::LA => la(i, ii),
            Electrode::LL => ll(i, ii),
            Electrode::V1 => v1,
            Electrode::V2 => v2,
            Electrode::V3 => v3,
            Electrode::V4 => v4,
            Electrode::V5 => v5,
            Electrode::V6 => v6,
        }
    }

    /// The value of a channel in its unit.
    pub fn sample(&self, channel: Channel) -> f32 {
        match channel {
            Channel::Lead(lead) => self.lead_mv(lead),
            Channel::Electrode(electrode) => self.electrode_mv(electrode),
            Channel::Respiration => self.respiration_ohm,
            Channel::Pressure(site) => self.pressure_mmhg[site as usize],
            Channel::Cuff => self.cuff_mmhg[0],
            Channel::CuffOscillation => self.cuff_mmhg[1],
        }
    }
}

// Leads derived from I and II: Einthoven, Goldberger, and RA + LA + LL = 0.

pub(crate) fn iii(i: f32, ii: f32) -> f32 {
    ii - i
}

pub(crate) fn avr(i: f32, ii: f32) -> f32 {
    -0.5 * (i + ii)
}

pub(crate) fn avl(i: f32, ii: f32) -> f32 {
    i - 0.5 * ii
}

pub(crate) fn avf(i: f32, ii: f32) -> f32 {
    ii - 0.5 * i
}

pub(crate) fn ra(i: f32, ii: f32) -> f32 {
    (i + ii) * (-1.0 / 3.0)
}

pub(crate) fn la(i: f32, ii: f32) -> f32 {
    (2.0 * i - ii) * (1.0 / 3.0)
}

pub(crate) fn ll(i: f32, ii: f32) -> f32 {
    (2.0 * ii - i) * (1.0 / 3.0)
}

/// FNV-1a over the bits of frames: equal digests, equal signals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Digest(u64);

impl Default for Digest {
    fn default() -> Digest {
        Digest(0xcbf2_9ce4_8422_2325)
    }
}

impl Digest {
    /// The digest so far.
    pub const fn value(self) -> u64 {
        self.0
    }

    /// Takes in a frame.
    pub fn update(&mut self, frame: &Frame) {
        for value in
            frame.leads_mv.iter().chain([&frame.respiration_ohm]).chain(&frame.pressure_mmhg).chain(&frame.cuff_mmhg)
        {
            for byte in value.to_bits().to_le_bytes() {
                self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
            }
        }
    }
}
