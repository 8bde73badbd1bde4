//! The sites: which settings each reads, when a contraction reaches it, and what it starts there.

use super::arterial::{self, FEMORAL, Form, PULMONARY, RADIAL, Target};
use super::chambers::{self, CENTRAL_VEIN, LEFT_ATRIUM, LEFT_VENTRICLE, RIGHT_ATRIUM, RIGHT_VENTRICLE, WEDGE};
use super::contractions::Contractions;
use super::ejection::Stroke;
use super::intracranial;
use super::line::{Connection, Line};
use super::trace::Plan;
use crate::anatomy::PressureSite;
use crate::field::{Field, Values};
use crate::math::{max, min};
use crate::respiration::Respiration;
use crate::time::{Instant, Span};

/// The settings of a site's transducer.
#[derive(Clone, Copy, Debug)]
pub struct SiteFields {
    /// Level added, mmHg.
    pub level: Field,
    /// Stopcock: 0 open, 1 closed.
    pub closed: Field,
    /// Natural frequency of the line, Hz; 0 for none.
    pub line_hz: Field,
    /// Damping ratio of the line.
    pub damping: Field,
}

/// The settings of the transducer at a site.
pub const fn fields(site: PressureSite) -> SiteFields {
    macro_rules! of {
        ($level:ident, $closed:ident, $hz:ident, $damping:ident) => {
            SiteFields { level: Field::$level, closed: Field::$closed, line_hz: Field::$hz, damping: Field::$damping }
        };
    }
    match site {
        PressureSite::Arterial => of!(ArterialLevel, ArterialClosed, ArterialLineHz, ArterialDamping),
        PressureSite::Femoral => of!(FemoralLevel, FemoralClosed, FemoralLineHz, FemoralDamping),
        PressureSite::Pulmonary => of!(PulmonaryLevel, PulmonaryClosed, PulmonaryLineHz, PulmonaryDamping),
        PressureSite::Venous => of!(VenousLevel, VenousClosed, VenousLineHz, VenousDamping),
        PressureSite::RightAtrium => of!(RightAtriumLevel, RightAtriumClosed, RightAtriumLineHz, RightAtriumDamping),
        PressureSite::RightVentricle => {
            of!(RightVentricleLevel, RightVentricleClosed, RightVentricleLineHz, RightVentricleDamping)
        }
        PressureSite::LeftVentricle => {
            of!(LeftVentricleLevel, LeftVentricleClosed, LeftVentricleLineHz, LeftVentricleDamping)
        }
        PressureSite::LeftAtrium => of!(LeftAtriumLevel, LeftAtriumClosed, LeftAtriumLineHz, LeftAtriumDamping),
        PressureSite::Wedge => of!(WedgeLevel, WedgeClosed, WedgeLineHz, WedgeDamping),
        PressureSite::Intracranial => {
            of!(IntracranialLevel, IntracranialClosed, IntracranialLineHz, IntracranialDamping)
        }
    }
}

/// From QRS onset to what the beat starts at a site, after this pre-ejection period.
pub fn beat_delay(site: PressureSite, pre_ejection_s: f32) -> Span {
    let transit_s = match site {
        PressureSite::Arterial => RADIAL.transit_s,
        PressureSite::Femoral => FEMORAL.transit_s,
        PressureSite::Pulmonary => PULMONARY.transit_s,
        // Through the carotid arteries, shorter than to the wrist (from memory).
        PressureSite::Intracranial => 0.03,
        _ => return Span::from_secs(chambers::CLOSING_S).plus(lag(site)),
    };
    Span::from_secs(pre_ejection_s + transit_s)
}

/// How much later than in the heart an atrial pressure is seen at a site.
pub fn lag(site: PressureSite) -> Span {
    match site {
        PressureSite::Venous => const { Span::from_secs(CENTRAL_VEIN.lag_s) },
        PressureSite::LeftAtrium => const { Span::from_secs(LEFT_ATRIUM.lag_s) },
        PressureSite::Wedge => const { Span::from_secs(WEDGE.lag_s) },
        _ => const { Span::from_secs(RIGHT_ATRIUM.lag_s) },
    }
}

/// From P onset to what the atria start at a site, where they start something.
pub fn atrial_delay(site: PressureSite) -> Span {
    Span::from_secs(chambers::A_WAVE_S).plus(lag(site))
}

/// Largest alternation, as a share of the pulse pressure.
pub const MOST_ALTERNANS: f32 = 0.8;

/// What holds at an instant.
pub struct Moment<'v> {
    /// The instant.
    pub at: Instant,
    /// Expected interval between beats.
    pub period: Span,
    /// What is set; nothing before the first step.
    pub set: Option<&'v dyn Values>,
    /// Breathing.
    pub respiration: &'v Respiration,
    /// The rhythm's share of a normal stroke.
    pub ejection: f32,
}

impl Moment<'_> {
    fn get(&self, field: Field) -> f32 {
        self.set.map_or(0.0, |set| set.value(field, self.at))
    }

    /// Breathing as beats feel it, 0 to 1: level for 30 % of inspiration and expiration at either end, so that a beat
    /// meets both ends of it at four beats a breath or more.
    fn sway(&self) -> f32 {
        crate::math::clamp(1.6 * self.respiration.filling(self.at) - 0.3, 0.0, 1.0)
    }

    /// Fall of the pressure in the chest, mmHg.
    fn chest(&self) -> f32 {
        let most = self.get(Field::ChestBreathing);
        if most == 0.0 { 0.0 } else { most * self.sway() }
    }

    /// What an artery is to hold for a beat; `odd` tells odd beats from even ones.
    pub fn target(&self, site: PressureSite, odd: bool) -> Target {
        let period = self.period;
        if site == PressureSite::Pulmonary {
            let fall = self.chest();
            let diastolic = max(self.get(Field::PulmonaryDiastolic) - fall, 1.0);
            let systolic = max(self.get(Field::PulmonarySystolic) - fall, diastolic + 1.0);
            return Target { systolic_mmhg: systolic, diastolic_mmhg: diastolic, period };
        }
        let (mut systolic, mut diastolic) = (self.get(Field::ArterialSystolic), self.get(Field::ArterialDiastolic));
        if site == PressureSite::Femoral {
            let (own_systolic, own_diastolic) = (self.get(Field::FemoralSystolic), self.get(Field::FemoralDiastolic));
            systolic = if own_systolic > 0.0 { own_systolic } else { systolic };
            diastolic = if own_diastolic > 0.0 { own_diastolic } else { diastolic };
        }
        let (swing, variation) = (self.get(Field::ArterialSwing), self.get(Field::PulseVariation));
        let sway = if swing == 0.0 && variation == 0.0 { 0.5 } else { self.sway() };
        let fall = swing * sway;
        let variation = 0.01 * variation * (sway - 0.5);
        let size = (systolic - diastolic) * (1.0 + variation);
        let diastolic = max(diastolic - fall, 1.0);
        let alternation = if odd { 0.0 } else { self.get(Field::Alternans) };
        // Each weak pulse stays one: a larger alternation would take it away.
        let systolic = diastolic + size - min(alternation, MOST_ALTERNANS * size);
        Target { systolic_mmhg: systolic, diastolic_mmhg: diastolic, period }
    }

    /// Systolic pressure that this rhythm's regular beats hold in an artery, mmHg.
    fn held(&self, artery: PressureSite, odd: bool) -> f32 {
        let target = self.target(artery, odd);
        if self.ejection >= 1.0 {
            return target.systolic_mmhg;
        }
        let form = if artery == PressureSite::Pulmonary { &PULMONARY } else { &RADIAL };
        arterial::held(form, self.ejection, &target)
    }

    /// Systolic and end-diastolic pressure of a ventricle, mmHg.
    fn ventricle(&self, site: PressureSite, odd: bool) -> (f32, f32) {
        let (set, artery) = match site {
            PressureSite::LeftVentricle => (Field::LeftVentricleSystolic, PressureSite::Arterial),
            _ => (Field::RightVentricleSystolic, PressureSite::Pulmonary),
        };
        let systolic = self.get(set);
        let systolic = if systolic > 0.0 { systolic - self.chest() } else { self.held(artery, odd) };
        let end_diastolic = self.end_diastolic(site);
        (max(systolic, end_diastolic + 1.0), end_diastolic)
    }

    fn end_diastolic(&self, site: PressureSite) -> f32 {
        let end = match site {
            PressureSite::LeftVentricle => Field::LeftVentricleEndDiastolic,
            _ => Field::RightVentricleEndDiastolic,
        };
        max(self.get(end) - self.chest(), 0.5)
    }

    fn atrium(&self, site: PressureSite) -> (&'static chambers::Atrium, f32, f32) {
        let right = (Field::VenousMean, Field::VenousWave);
        let left = (Field::LeftAtriumMean, Field::LeftAtriumWave);
        let (form, (mean, wave)) = match site {
            PressureSite::RightAtrium => (&RIGHT_ATRIUM, right),
            PressureSite::LeftAtrium => (&LEFT_ATRIUM, left),
            PressureSite::Wedge => (&WEDGE, left),
            _ => (&CENTRAL_VEIN, right),
        };
        (form, self.get(mean) - self.chest(), self.get(wave))
    }

    /// Pressure and slope at which a regular beat finds a site, mmHg and mmHg/s.
    pub fn before_beat(&self, site: PressureSite) -> (f32, f32) {
        let foot = |form| arterial::foot(form, self.ejection, &self.target(site, true));
        let mmhg = match site {
            PressureSite::Arterial => foot(&RADIAL),
            PressureSite::Femoral => foot(&FEMORAL),
            PressureSite::Pulmonary => foot(&PULMONARY),
            _ => self.rest(site),
        };
        (mmhg, 0.0)
    }

    /// Pressure where nothing beats, mmHg.
    pub fn rest(&self, site: PressureSite) -> f32 {
        match site {
            PressureSite::Arterial | PressureSite::Femoral | PressureSite::Pulmonary => {
                arterial::asymptote(self.target(site, true).diastolic_mmhg)
            }
            PressureSite::Venous | PressureSite::RightAtrium | PressureSite::LeftAtrium | PressureSite::Wedge => {
                self.atrium(site).1
            }
            PressureSite::RightVentricle | PressureSite::LeftVentricle => self.end_diastolic(site),
            PressureSite::Intracranial => self.get(Field::IntracranialMean),
        }
    }

    /// What a beat starts at a site from the pressure and slope there; `None` when it is too weak.
    ///
    /// `contractions` tells when the atria contracted in the last cycles.
    pub fn beat(
        &self,
        site: PressureSite,
        here: (f32, f32),
        stroke: &Stroke,
        contractions: &Contractions,
    ) -> Option<Plan> {
        let period = self.period;
        let artery =
            |form: &Form| arterial::pulse(form, here.0, stroke.strength, self.ejection, &self.target(site, stroke.odd));
        match site {
            PressureSite::Arterial => artery(&RADIAL),
            PressureSite::Femoral => artery(&FEMORAL),
            PressureSite::Pulmonary => artery(&PULMONARY),
            PressureSite::Venous | PressureSite::RightAtrium | PressureSite::LeftAtrium | PressureSite::Wedge => {
                let (form, mean, wave) = self.atrium(site);
                Some(chambers::systole(form, here, (mean, wave), contractions, period))
            }
            PressureSite::RightVentricle => {
                let (systolic, end) = self.ventricle(site, stroke.odd);
                Some(chambers::contraction(&RIGHT_VENTRICLE, here, systolic, end, self.force(stroke), period))
            }
            PressureSite::LeftVentricle => {
                let (systolic, end) = self.ventricle(site, stroke.odd);
                Some(chambers::contraction(&LEFT_VENTRICLE, here, systolic, end, self.force(stroke), period))
            }
            PressureSite::Intracranial => {
                let (mean, pulse) = (self.get(Field::IntracranialMean), self.get(Field::IntracranialPulse));
                let second = 0.01 * self.get(Field::IntracranialSecond);
                let size = min(stroke.strength, 1.4);
                (stroke.strength >= arterial::WEAKEST)
                    .then(|| intracranial::pulse(here, mean, pulse * size, second, period))
            }
        }
    }

    /// From an a wave to the closing of the valves of a conducted beat, s.
    fn left_s(&self) -> f32 {
        0.001 * self.get(Field::PrMs) + chambers::CLOSING_S - chambers::A_WAVE_S
    }

    /// A stroke's strength against that of this rhythm's regular beats.
    fn force(&self, stroke: &Stroke) -> f32 {
        stroke.strength / max(self.ejection, 0.05)
    }

    /// What the atria start, with a share of their usual `force`, at a site whose resting pressure is `base`; `closed`
    /// when the ventricles are contracting.
    pub fn atrial(&self, site: PressureSite, here: (f32, f32), base: f32, force: f32, closed: bool) -> Option<Plan> {
        let period = self.period;
        match site {
            PressureSite::RightVentricle | PressureSite::LeftVentricle => {
                let end_diastolic = self.end_diastolic(site);
                // Nothing comes in before the ventricle has relaxed. Where what it started from is not known, it contracts: closed.
                let relaxed = here.0 < 1.5 * end_diastolic && here.1 > -10.0 * end_diastolic;
                (relaxed && !closed).then(|| chambers::kick(here, end_diastolic, force, self.left_s(), period))
            }
            _ => {
                let (_, _, wave) = self.atrium(site);
                Some(chambers::a_wave(here, base, force * wave, closed, period))
            }
        }
    }

    /// How the transducer at a site is connected.
    pub fn connection(&self, site: PressureSite) -> Connection {
        let fields = fields(site);
        Connection {
            open: self.open(site),
            level_mmhg: self.get(fields.level),
            line: Line::new(self.get(fields.line_hz), self.get(fields.damping)),
        }
    }

    /// Share of the vessel's pressure that arrives at the transducer at a site.
    pub fn open(&self, site: PressureSite) -> f32 {
        1.0 - self.get(fields(site).closed)
    }

    /// Catheter whip at a site, mmHg.
    pub fn whip(&self, site: PressureSite) -> f32 {
        if site == PressureSite::Pulmonary { self.get(Field::PulmonaryWhip) } else { 0.0 }
    }
}
