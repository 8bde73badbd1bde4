//! The sites: the settings of each, the delay of a contraction to it, and its effect there.

use super::arterial::{self, ArterialTarget, FEMORAL, PULMONARY, RADIAL};
use super::chambers::{
    self, CENTRAL_VEIN, EJECTION, LEFT_ATRIUM, LEFT_VENTRICLE, Outflow, RIGHT_ATRIUM, RIGHT_VENTRICLE, Side, WEDGE,
};
use super::chest::Chest;
use super::conditions::PressureConditions;
use super::contractions::Contractions;
use super::ejection::Stroke;
use super::intracranial;
use super::trace::{Stillness, Trace, TracePlan};
use crate::anatomy::PressureSite;
use crate::math::{clamp, exp, max, min};
use crate::respiration::Respiration;
use crate::time::{Instant, Span};

/// From QRS onset to the effect of a beat at a site, where beats have this period.
pub(crate) fn beat_delay(site: PressureSite, period: Span) -> Span {
    let transit_s = match site {
        PressureSite::Arterial => RADIAL.transit_s,
        PressureSite::Femoral => FEMORAL.transit_s,
        PressureSite::Pulmonary => PULMONARY.transit_s,
        // Through the carotid arteries, shorter than to the wrist (from memory).
        PressureSite::Intracranial => 0.03,
        _ => return Span::from_secs(chambers::closing_s(period)).plus(lag(site)),
    };
    Span::from_secs(arterial::pre_ejection_s(period) + transit_s)
}

/// Delay of an atrial pressure from the heart to a site.
pub(crate) fn lag(site: PressureSite) -> Span {
    match site {
        PressureSite::Venous => const { Span::from_secs(CENTRAL_VEIN.lag_s) },
        PressureSite::Wedge => const { Span::from_secs(WEDGE.lag_s) },
        _ => Span::ZERO,
    }
}

/// From P onset to the effect of the atria at a site, where they have one.
pub(crate) fn atrial_delay(site: PressureSite) -> Span {
    Span::from_secs(chambers::A_WAVE_S).plus(lag(site))
}

/// Share of the expected interval below which a beat is early.
const EARLY: f32 = 0.8;

/// Largest alternation, as a share of the pulse pressure.
pub(crate) const MOST_ALTERNANS: f32 = 0.8;

/// A value for each of the heart's two sides.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Sides<T> {
    /// Left ventricle and atrium, aorta.
    pub left: T,
    /// Right ventricle and atrium, pulmonary artery.
    pub right: T,
}

impl<T> Sides<T> {
    /// The side that a site in or before the heart belongs to.
    pub(crate) fn of(&self, site: PressureSite) -> &T {
        match site {
            PressureSite::LeftVentricle | PressureSite::LeftAtrium | PressureSite::Wedge => &self.left,
            _ => &self.right,
        }
    }
}

/// A beat of the ventricles: its effects at every site, settled when it starts.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SiteBeat {
    /// How strong it is.
    pub stroke: Stroke,
    /// The rhythm's share of a normal stroke.
    ejection: f32,
    /// Expected interval to the next.
    period: Span,
    /// Interval between beats with the valve times of this one: an early beat has filled little and is over sooner.
    pub timing: Span,
    /// Systolic and diastolic pressures that full beats hold, mmHg.
    arterial: (f32, f32),
    femoral: (f32, f32),
    pulmonary: (f32, f32),
}

impl SiteBeat {
    /// The pulse that it makes in an artery from a foot at `foot_mmhg`; `None` when it is too weak.
    fn pulse(&self, site: PressureSite, foot_mmhg: f32, still: Stillness) -> Option<TracePlan> {
        let (form, (systolic_mmhg, diastolic_mmhg)) = match site {
            PressureSite::Pulmonary => (&PULMONARY, self.pulmonary),
            PressureSite::Femoral => (&FEMORAL, self.femoral),
            _ => (&RADIAL, self.arterial),
        };
        let target = ArterialTarget { systolic_mmhg, diastolic_mmhg, period: self.period };
        arterial::pulse(form, foot_mmhg, self.stroke.strength, self.ejection, &target, self.timing, still)
    }
}

/// State of the heart from beat to beat.
pub(crate) struct HeartState<'h> {
    /// Aorta and pulmonary artery, at the heart.
    pub arteries: &'h Sides<Trace>,
    /// Resting pressures of the atria, mmHg.
    pub rests: &'h Sides<f32>,
    /// When the atria contracted in the last cycles.
    pub contractions: &'h Contractions,
}

/// The conditions at an instant.
pub(crate) struct Moment<'v> {
    /// The instant.
    pub at: Instant,
    /// Expected interval between beats.
    pub period: Span,
    /// The settings.
    pub set: &'v PressureConditions,
    /// Breathing.
    pub respiration: &'v Respiration,
    /// The rhythm's share of a normal stroke.
    pub ejection: f32,
}

/// Breathing as beats feel it, 0 to 1: level for 30 % of inspiration and expiration at either end, so that a beat meets both ends of
/// it at four beats a breath or more.
fn sway(lung_volume: f32) -> f32 {
    clamp(1.6 * lung_volume - 0.3, 0.0, 1.0)
}

impl Moment<'_> {
    /// The pressure in the chest as a site takes it.
    pub(crate) fn chest(&self, site: PressureSite) -> Chest<'_> {
        Chest::new(site, self.respiration)
    }

    /// Target of an artery for a beat; `odd` marks every other beat.
    pub(crate) fn target(&self, site: PressureSite, odd: bool) -> ArterialTarget {
        let period = self.period;
        if site == PressureSite::Pulmonary {
            let diastolic = max(self.set.pulmonary_diastolic_mmhg, 1.0);
            let systolic = max(self.set.pulmonary_systolic_mmhg, diastolic + 1.0);
            return ArterialTarget { systolic_mmhg: systolic, diastolic_mmhg: diastolic, period };
        }
        let (mut systolic, mut diastolic) = (self.set.arterial_systolic_mmhg, self.set.arterial_diastolic_mmhg);
        if site == PressureSite::Femoral {
            let (own_systolic, own_diastolic) = (self.set.femoral_systolic_mmhg, self.set.femoral_diastolic_mmhg);
            systolic = if own_systolic > 0.0 { own_systolic } else { systolic };
            diastolic = if own_diastolic > 0.0 { own_diastolic } else { diastolic };
        }
        let (swing, variation) = (self.set.arterial_swing_mmhg, self.set.pulse_variation_percent);
        let still = swing == 0.0 && variation == 0.0;
        let sway = if still { 0.5 } else { sway(self.respiration.lung_volume(self.at)) };
        let fall = swing * sway;
        let variation = 0.01 * variation * (sway - 0.5);
        let size = (systolic - diastolic) * (1.0 + variation);
        let diastolic = max(diastolic - fall, 1.0);
        let alternation = if odd { 0.0 } else { self.set.alternans_mmhg };
        // Each weak pulse stays one: a larger alternation would take it away.
        let systolic = diastolic + size - min(alternation, MOST_ALTERNANS * size);
        ArterialTarget { systolic_mmhg: systolic, diastolic_mmhg: diastolic, period }
    }

    /// Interval between beats with the valve times of one that comes `interval` after the one before.
    pub(crate) fn timing(&self, interval: Option<Span>) -> Span {
        let early = interval.filter(|interval| *interval < self.period.scaled(EARLY));
        early.map_or(self.period, |interval| interval.scaled(1.0 / EARLY))
    }

    /// A beat that starts now, `interval` after the one before.
    pub(crate) fn beat(&self, stroke: Stroke, interval: Option<Span>) -> SiteBeat {
        let set = |site| {
            let target = self.target(site, stroke.odd);
            (target.systolic_mmhg, target.diastolic_mmhg)
        };
        SiteBeat {
            stroke,
            ejection: self.ejection,
            period: self.period,
            timing: self.timing(interval),
            arterial: set(PressureSite::Arterial),
            femoral: set(PressureSite::Femoral),
            pulmonary: set(PressureSite::Pulmonary),
        }
    }

    /// Mean filling pressure, mmHg.
    fn filling_mmhg(&self) -> f32 {
        arterial::filling_mmhg(self.set.venous_mean_mmhg)
    }

    /// By how much the top of a regular beat of a ventricle is above that of its artery, mmHg: 0 unless set.
    fn over_mmhg(&self, site: PressureSite) -> f32 {
        let (set, artery, form) = match site {
            PressureSite::LeftVentricle => (self.set.left_ventricle_systolic_mmhg, PressureSite::Arterial, &RADIAL),
            _ => (self.set.right_ventricle_systolic_mmhg, PressureSite::Pulmonary, &PULMONARY),
        };
        if set <= 0.0 {
            return 0.0;
        }
        max(set - arterial::held(form, self.ejection, &self.target(artery, true)), 0.0)
    }

    fn end_diastolic(&self, site: PressureSite) -> f32 {
        let end = match site {
            PressureSite::LeftVentricle | PressureSite::LeftAtrium | PressureSite::Wedge => {
                self.set.left_ventricle_end_diastolic_mmhg
            }
            _ => self.set.right_ventricle_end_diastolic_mmhg,
        };
        max(end, 0.5)
    }

    /// Mean pressure set for an atrium, mmHg.
    pub(crate) fn atrial_mean(&self, site: PressureSite) -> f32 {
        match site {
            PressureSite::LeftVentricle | PressureSite::LeftAtrium | PressureSite::Wedge => {
                self.set.left_atrium_mean_mmhg
            }
            _ => self.set.venous_mean_mmhg,
        }
    }

    /// Atrium and ventricle as seen at a site in or before the heart, over this resting pressure.
    pub(crate) fn side(&self, site: PressureSite, rest_mmhg: f32) -> Side {
        let (atrium, wave) = match site {
            PressureSite::LeftVentricle | PressureSite::LeftAtrium => (&LEFT_ATRIUM, self.set.left_atrium_wave_mmhg),
            PressureSite::Wedge => (&WEDGE, self.set.left_atrium_wave_mmhg),
            PressureSite::Venous => (&CENTRAL_VEIN, self.set.venous_wave_mmhg),
            _ => (&RIGHT_ATRIUM, self.set.venous_wave_mmhg),
        };
        Side {
            atrium,
            rest_mmhg,
            wave_mmhg: wave,
            end_diastolic_mmhg: self.end_diastolic(site),
            filling_mmhg: self.filling_mmhg(),
            period: self.period,
            timing: self.period,
            rise_s: chambers::rise_s(0.001 * self.set.pr_ms + chambers::closing_s(self.period) - chambers::A_WAVE_S),
        }
    }

    /// The same in a beat.
    fn side_in(&self, site: PressureSite, rest_mmhg: f32, beat: &SiteBeat) -> Side {
        Side { period: beat.period, timing: beat.timing, ..self.side(site, rest_mmhg) }
    }

    /// Pressure and slope at which a regular beat finds a site, mmHg and mmHg/s.
    pub(crate) fn before_beat(&self, site: PressureSite, rests: &Sides<f32>) -> (f32, f32) {
        let foot = |form| arterial::foot(form, self.ejection, &self.target(site, true));
        let mmhg = match site {
            PressureSite::Arterial => foot(&RADIAL),
            PressureSite::Femoral => foot(&FEMORAL),
            PressureSite::Pulmonary => foot(&PULMONARY),
            PressureSite::Intracranial => self.set.intracranial_mean_mmhg,
            PressureSite::LeftVentricle | PressureSite::RightVentricle => self.end_diastolic(site),
            _ => *rests.of(site),
        };
        (mmhg, 0.0)
    }

    /// Where a site goes when nothing beats.
    pub(crate) fn still(&self, site: PressureSite) -> Stillness {
        let form = match site {
            PressureSite::Arterial => &RADIAL,
            PressureSite::Femoral => &FEMORAL,
            PressureSite::Pulmonary => &PULMONARY,
            PressureSite::Intracranial => return Stillness { mmhg: self.set.intracranial_mean_mmhg, per_s: 1.0 },
            _ => return arterial::still_vein(self.filling_mmhg()),
        };
        arterial::still(form, self.target(site, true).diastolic_mmhg, self.filling_mmhg())
    }

    /// The pulse that a beat makes in an artery from a foot at `foot_mmhg`; `None` when it is too weak.
    pub(crate) fn pulse(&self, site: PressureSite, foot_mmhg: f32, beat: &SiteBeat) -> Option<TracePlan> {
        beat.pulse(site, foot_mmhg, self.still(site))
    }

    /// Pressure where nothing beats, mmHg.
    pub(crate) fn rest(&self, site: PressureSite) -> f32 {
        self.still(site).mmhg
    }

    /// Plan of a beat at a site from the pressure and slope there; `None` when it is too weak.
    ///
    /// From the opening of the valves on, the beat ejects into the arteries of `heart`.
    pub(crate) fn start(
        &self,
        site: PressureSite,
        here: (f32, f32),
        beat: &SiteBeat,
        heart: &HeartState<'_>,
    ) -> Option<TracePlan> {
        match site {
            PressureSite::Arterial | PressureSite::Femoral | PressureSite::Pulmonary => self.pulse(site, here.0, beat),
            PressureSite::Venous | PressureSite::RightAtrium | PressureSite::LeftAtrium | PressureSite::Wedge => {
                Some(self.side_in(site, *heart.rests.of(site), beat).waves(here, heart.contractions.came_before()))
            }
            PressureSite::RightVentricle | PressureSite::LeftVentricle => {
                let form = if site == PressureSite::LeftVentricle { &LEFT_VENTRICLE } else { &RIGHT_VENTRICLE };
                let artery = heart.arteries.of(site);
                let strength = beat.stroke.strength;
                // The arteries of the body do not breathe with the chest, so its pressure does not open the valve to them.
                let breathing = self.chest(site);
                let apart = |at_s: f32| {
                    let (mmhg, slope) = breathing.here(self.at.shifted(at_s));
                    (-mmhg, -slope)
                };
                let moves = site == PressureSite::LeftVentricle && !breathing.is_still();
                let outflow = if strength < arterial::WEAKEST {
                    let against_mmhg = artery.here(self.at).0 + if moves { apart(0.0).0 } else { 0.0 };
                    Outflow::Shut { against_mmhg, share: 0.4 + 0.6 * strength / arterial::WEAKEST }
                } else {
                    let over_mmhg = self.over_mmhg(site) * strength / max(self.ejection, 0.05);
                    Outflow::Open { ejected: artery.plan(), over_mmhg }
                };
                let mut plan = self.side_in(site, *heart.rests.of(site), beat).contraction(form, here, &outflow);
                if moves && matches!(outflow, Outflow::Open { .. }) {
                    plan.lift(EJECTION, apart);
                }
                Some(plan)
            }
            PressureSite::Intracranial => {
                let (mean, pulse) = (self.set.intracranial_mean_mmhg, self.set.intracranial_pulse_mmhg);
                let second = 0.01 * self.set.intracranial_second_percent;
                let size = min(beat.stroke.strength, 1.4);
                (beat.stroke.strength >= arterial::WEAKEST)
                    .then(|| intracranial::pulse(here, mean, pulse * size, second, self.period))
            }
        }
    }

    /// Plan of an atrial contraction, with a share of the usual `force`, at the site of `trace`; `closed` when the ventricles are
    /// contracting. `waited_s` is the time since the last ventricular beat, beyond two periods.
    pub(crate) fn atrial(
        &self,
        site: PressureSite,
        trace: &Trace,
        heart: &HeartState<'_>,
        force: f32,
        closed: bool,
        waited_s: f32,
    ) -> TracePlan {
        let still = arterial::still_vein(self.filling_mmhg());
        // Without beats resting and end-diastolic pressure go to the mean filling pressure, too.
        let left = exp(-still.per_s * max(waited_s, 0.0));
        let fallen = |mmhg: f32| still.mmhg + left * (mmhg - still.mmhg);
        let side = self.side(site, fallen(*heart.rests.of(site)));
        let side = Side { end_diastolic_mmhg: fallen(side.end_diastolic_mmhg), ..side };
        let here = trace.here(self.at);
        if !matches!(site, PressureSite::RightVentricle | PressureSite::LeftVentricle) {
            return side.a_wave(here, force, closed);
        }
        let relaxed = here.0 < 1.5 * side.end_diastolic_mmhg && here.1 > -10.0 * side.end_diastolic_mmhg;
        if relaxed && !closed {
            side.kick(here, force)
        } else {
            side.late_kick(trace.rest_of_plan(self.at, still), force)
        }
    }

    /// Whether the transducer at a site is open to the patient.
    pub(crate) fn is_open(&self, site: PressureSite) -> bool {
        self.set.closed & 1 << site as u16 == 0
    }

    /// Catheter whip at a site, mmHg.
    pub(crate) fn whip(&self, site: PressureSite) -> f32 {
        if site == PressureSite::Pulmonary { self.set.pulmonary_whip_mmhg } else { 0.0 }
    }
}
