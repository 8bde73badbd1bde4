//! The arterial pressure as a chain of pulses.
//!
//! ```text
//! systolic      .-.
//!              /   \   dicrotic
//! notch       /     \_.-.
//!            /           ''--..__
//! foot  ____/                    ''--  = diastolic at the expected next foot
//!           |rise|    |notch
//! ```
//!
//! A pulse of full strength peaks at the systolic pressure set and its runoff, an exponential towards the asymptote,
//! meets the diastolic pressure set exactly when the next foot is due. A weaker beat starts from the higher pressure
//! where the early foot finds it and adds less; its runoff scales alike, which is the linear map of a two-element
//! Windkessel, so that with no ejection at all the pressure runs down to the asymptote.

use crate::math::{clamp, exp, ln, max, min};
use crate::time::{Instant, Span};

/// Asymptote of the pressure once flow has stopped, mmHg, and time constant, s: 24.2 mmHg and 2.9 s in ventricular
/// fibrillation (Schipke 2003).
const ARREST_MMHG: f32 = 24.2;
const ARREST_TAU_S: f32 = 2.9;
/// Runoff begins at this share of the pulse pressure above diastolic; the notch lies at the other.
const RUNOFF_SHARE: f32 = 0.42;
const NOTCH_SHARE: f32 = 0.36;
/// Aorta to radial artery, s: pulse wave velocity 6 to 10 m/s, textbook (from memory).
const TRANSIT_S: f32 = 0.070;

/// Pressure set, and the period of the beats that are to hold it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Target {
    /// Systolic, mmHg.
    pub systolic_mmhg: f32,
    /// Diastolic, mmHg.
    pub diastolic_mmhg: f32,
    /// Expected interval between beats.
    pub period: Span,
}

/// From QRS onset to the foot of the radial pulse: pre-ejection period 131 - 0.4 HR ms (Weissler 1968, men, from
/// memory) and transit.
pub fn delay(period: Span) -> Span {
    let rate = 60.0 / max(period.as_secs(), 0.15);
    Span::from_secs(clamp(0.131 - 0.000_4 * rate, 0.040, 0.131) + TRANSIT_S)
}

/// Ejection time at this period, s: 413 - 1.7 HR ms (Weissler 1968, men, from memory), at most 45 % of the period.
pub fn ejection_time_s(period: Span) -> f32 {
    let period_s = max(period.as_secs(), 0.15);
    let regression = 0.413 - 0.001_7 * 60.0 / period_s;
    min(max(regression, 0.12), 0.45 * period_s)
}

/// Asymptote of the runoff for a diastolic pressure, mmHg.
fn asymptote(diastolic_mmhg: f32) -> f32 {
    min(ARREST_MMHG, 0.4 * diastolic_mmhg)
}

/// A pulse, closed form in the time since its foot.
#[derive(Clone, Copy, Debug)]
pub struct PulseShape {
    foot: Instant,
    /// Time already gone by at `foot`, s: nonzero only for the pulse that a player starts in the middle of.
    gone_s: f32,
    foot_mmhg: f32,
    systolic_mmhg: f32,
    notch_mmhg: f32,
    runoff_mmhg: f32,
    asymptote_mmhg: f32,
    rise_s: f32,
    notch_s: f32,
    runoff_s: f32,
    due_s: f32,
    per_tau: f32,
}

impl PulseShape {
    /// A pulse with its foot at `foot`, where the pressure is `foot_mmhg`, of `strength` (1 is that of a regular beat).
    ///
    /// `None` when the beat is too weak to open the valve.
    pub fn new(foot: Instant, foot_mmhg: f32, strength: f32, target: &Target) -> Option<PulseShape> {
        if strength < 0.08 {
            return None;
        }
        let pulse = target.systolic_mmhg - target.diastolic_mmhg;
        let period_s = target.period.as_secs();
        let floor = asymptote(target.diastolic_mmhg);
        // A full beat forgets where it started from; a weak one does not.
        let base = foot_mmhg + min(strength, 1.0) * (target.diastolic_mmhg - foot_mmhg);
        let systolic = max(base + strength * pulse, foot_mmhg + 0.25 * strength * pulse);
        let ejection_s = ejection_time_s(target.period);
        let notch_s = ejection_s;
        let runoff_s = ejection_s + min(0.07, 0.15 * period_s);
        // Where the runoff has to get to, by the map of a full pulse.
        let ratio = (target.diastolic_mmhg - floor) / (target.diastolic_mmhg + RUNOFF_SHARE * pulse - floor);
        let aim = floor + ratio * (base + RUNOFF_SHARE * strength * pulse - floor);
        let runoff = max(base + RUNOFF_SHARE * strength * pulse, aim + 0.05 * (systolic - aim));
        let per_tau = ln((runoff - floor) / (aim - floor)) / (period_s - runoff_s);
        Some(PulseShape {
            foot,
            gone_s: 0.0,
            foot_mmhg,
            systolic_mmhg: systolic,
            notch_mmhg: min(base + NOTCH_SHARE * strength * pulse, runoff),
            runoff_mmhg: runoff,
            asymptote_mmhg: floor,
            rise_s: min(0.12, 0.42 * ejection_s),
            notch_s,
            runoff_s,
            due_s: period_s,
            per_tau,
        })
    }

    /// The steady pulse, already under way so that its next foot is due at `next_foot`.
    pub fn under_way(next_foot: Instant, target: &Target) -> Option<PulseShape> {
        let mut pulse = PulseShape::new(Instant::ZERO, target.diastolic_mmhg, 1.0, target)?;
        pulse.gone_s = target.period.as_secs() - next_foot.since(Instant::ZERO).as_secs();
        Some(pulse)
    }

    /// A pressure at rest, mmHg.
    pub fn at_rest(mmhg: f32) -> PulseShape {
        PulseShape {
            foot: Instant::ZERO,
            gone_s: 0.0,
            foot_mmhg: mmhg,
            systolic_mmhg: mmhg,
            notch_mmhg: mmhg,
            runoff_mmhg: mmhg,
            asymptote_mmhg: mmhg,
            rise_s: 0.1,
            notch_s: 0.2,
            runoff_s: 0.3,
            due_s: 1.0,
            per_tau: 1.0,
        }
    }

    /// Pressure at the foot, mmHg.
    pub fn foot_mmhg(&self) -> f32 {
        self.foot_mmhg
    }

    /// Pressure at the peak, mmHg.
    pub fn systolic_mmhg(&self) -> f32 {
        self.systolic_mmhg
    }

    /// From foot to peak.
    pub fn rise(&self) -> Span {
        Span::from_secs(self.rise_s)
    }

    /// Pressure at `now`, mmHg.
    pub fn at(&self, now: Instant) -> f32 {
        let t = now.since(self.foot).as_secs() + self.gone_s;
        if t < self.rise_s {
            cubic(t, self.rise_s, self.foot_mmhg, self.systolic_mmhg, 0.0)
        } else if t < self.notch_s {
            cubic(t - self.rise_s, self.notch_s - self.rise_s, self.systolic_mmhg, self.notch_mmhg, 0.0)
        } else if t < self.runoff_s {
            let slope = -(self.runoff_mmhg - self.asymptote_mmhg) * self.per_tau;
            cubic(t - self.notch_s, self.runoff_s - self.notch_s, self.notch_mmhg, self.runoff_mmhg, slope)
        } else if t < self.due_s {
            self.runoff(t)
        } else {
            let due = self.runoff(self.due_s);
            self.asymptote_mmhg + (due - self.asymptote_mmhg) * exp((self.due_s - t) * (1.0 / ARREST_TAU_S))
        }
    }

    fn runoff(&self, t: f32) -> f32 {
        self.asymptote_mmhg + (self.runoff_mmhg - self.asymptote_mmhg) * exp((self.runoff_s - t) * self.per_tau)
    }

    /// Mean over the expected period, mmHg, by the integral of each piece.
    pub fn mean_mmhg(&self) -> f32 {
        let slope = -(self.runoff_mmhg - self.asymptote_mmhg) * self.per_tau;
        let up = 0.5 * (self.foot_mmhg + self.systolic_mmhg) * self.rise_s;
        let down = 0.5 * (self.systolic_mmhg + self.notch_mmhg) * (self.notch_s - self.rise_s);
        let width = self.runoff_s - self.notch_s;
        let dicrotic = 0.5 * (self.notch_mmhg + self.runoff_mmhg) * width - slope * width * width * (1.0 / 12.0);
        let rest = self.due_s - self.runoff_s;
        let fall = (self.runoff_mmhg - self.runoff(self.due_s)) / max(self.per_tau, 1e-6);
        (up + down + dicrotic + self.asymptote_mmhg * rest + fall) / self.due_s
    }
}

/// Cubic from `from` with zero slope to `to` with slope `slope` over `width`, at `t`.
fn cubic(t: f32, width: f32, from: f32, to: f32, slope: f32) -> f32 {
    let x = t / width;
    let x2 = x * x;
    from + (to - from) * (x2 * (3.0 - 2.0 * x)) + slope * width * (x2 * (x - 1.0))
}

/// Feet that can be on their way at once: the delay is below 0.21 s and beats are at least 0.15 s apart.
const PENDING: usize = 3;

/// A beat whose pulse has not arrived yet.
#[derive(Clone, Copy, Debug)]
struct Coming {
    foot: Instant,
    strength: f32,
}

/// Arterial pressure.
#[derive(Clone, Debug)]
pub struct Arterial {
    pulse: PulseShape,
    coming: [Option<Coming>; PENDING],
    vigour: f32,
}

/// A beat after a pause longer than this finds a weakened heart.
const ARREST_S: f32 = 3.0;

impl Arterial {
    /// The pressure before the first beat: the steady pulse under way, or the asymptote when no beat is coming.
    pub fn new(first_beat: Option<Instant>, target: &Target) -> Arterial {
        let rest = PulseShape::at_rest(asymptote(target.diastolic_mmhg));
        let pulse =
            first_beat.and_then(|beat| PulseShape::under_way(beat.plus(delay(target.period)), target)).unwrap_or(rest);
        Arterial { pulse, coming: [None; PENDING], vigour: 1.0 }
    }

    /// A ventricular activation at `onset`, `interval` after the one before (`None` for the first).
    ///
    /// `ejection` is the rhythm's; what the filling time makes of it is worked out here: at 60 % of the expected
    /// interval less than half a stroke, after a pause up to a third more.
    pub fn beat(&mut self, onset: Instant, interval: Option<Span>, ejection: f32, target: &Target) {
        let share = interval.map_or(1.0, |interval| interval.as_secs() / target.period.as_secs());
        if interval.is_some_and(|interval| interval.as_secs() > ARREST_S && share > 1.5) {
            self.vigour = 0.55;
        } else {
            self.vigour += (1.0 - self.vigour) * 0.35;
            if self.vigour > 0.995 {
                self.vigour = 1.0;
            }
        }
        let filling = if share < 1.0 { 1.0 - 1.4 * (1.0 - share) } else { 1.0 + 0.35 * min(share - 1.0, 1.0) };
        let strength = max(filling, 0.0) * ejection * self.vigour;
        let coming = Coming { foot: onset.plus(delay(target.period)), strength };
        if let Some(place) = self.coming.iter_mut().find(|place| place.is_none()) {
            *place = Some(coming);
        }
    }

    /// When the next pulse arrives; `NEVER` when none is on its way.
    pub fn next(&self) -> Instant {
        self.coming.iter().flatten().map(|coming| coming.foot).min().unwrap_or(Instant::NEVER)
    }

    /// Starts the pulse that has arrived; `None` when the beat was too weak for one.
    pub fn start(&mut self, target: &Target) -> Option<(Instant, PulseShape)> {
        let due = self.next();
        let place = self.coming.iter_mut().find(|place| place.is_some_and(|coming| coming.foot == due))?;
        let coming = place.take()?;
        let pulse = PulseShape::new(due, self.pulse.at(due), coming.strength, target)?;
        self.pulse = pulse;
        Some((due, pulse))
    }

    /// Pressure at `now`, mmHg.
    pub fn at(&self, now: Instant) -> f32 {
        self.pulse.at(now)
    }
}

/// Systolic, diastolic and mean pressure, mmHg, that regular beats of this ejection hold; `None` without pulses.
pub fn steady(target: &Target, ejection: f32) -> Option<(f32, f32, f32)> {
    let floor = asymptote(target.diastolic_mmhg);
    let pulse = target.systolic_mmhg - target.diastolic_mmhg;
    let ratio = (target.diastolic_mmhg - floor) / (target.diastolic_mmhg + RUNOFF_SHARE * pulse - floor);
    // Fixed point of the map from one foot to the next.
    let share = min(ejection, 1.0);
    let above = ratio * (share * (target.diastolic_mmhg - floor) + RUNOFF_SHARE * ejection * pulse)
        / (1.0 - ratio * (1.0 - share));
    let shape = PulseShape::new(Instant::ZERO, floor + above, ejection, target)?;
    Some((shape.systolic_mmhg, shape.foot_mmhg, shape.mean_mmhg()))
}
