//! Why a quantity differs from a plain setting: for the words beside its value.

use super::rate::RateMeter;
use super::reading::{Cause, Causes};
use crate::anatomy::PressureSite;
use crate::field::transducer;
use crate::settings::Field;
use crate::timeline::PlayedStep;

/// Counts in the step.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct CauseCounts {
    pub(super) ventricular: u32,
    pub(super) premature: u32,
    /// Beats that the script asks for and that did not come.
    pub(super) refused: u32,
    /// Whether the ventricles fibrillated once settled.
    pub(super) fibrillated: bool,
}

fn ramps(step: &PlayedStep<'_>, moves: impl Fn(Field) -> bool) -> bool {
    step.ramps().any(|ramp| moves(ramp.field) && ramp.to != step.get(ramp.field))
}

pub(super) fn of_rate(step: &PlayedStep<'_>, counts: &CauseCounts, rate: &RateMeter) -> Causes {
    let moves = ramps(step, |field| field == Field::RateBpm);
    // A rate that is moved is not irregular by that.
    let spread = if moves { rate.change() } else { rate.spread() };
    let premature = counts.ventricular + counts.premature > 0;
    Causes::NONE
        .and_if(moves, Cause::Ramp)
        .and_if(premature && spread > 1.1, Cause::Premature)
        .and_if(!premature && spread > 1.1 && spread < 1.8, Cause::Irregular)
        .and_if(!premature && spread >= 1.8, Cause::Pauses)
}

pub(super) fn of_breaths(step: &PlayedStep<'_>, shallow: u32) -> Causes {
    Causes::NONE
        .and_if(ramps(step, |field| matches!(field, Field::BreathsPerMin | Field::BreathDepthOhm)), Cause::Ramp)
        .and_if(step.get(Field::BreathPauseS) > 0.0 && step.get(Field::BreathsPerMin) > 0.0, Cause::Periodic)
        .and_if(shallow > 0, Cause::ShallowBreaths)
        .and_if(step.is_on(Field::Obstructed) && step.get(Field::BreathsPerMin) > 0.0, Cause::Obstructed)
}

/// The group of settings that a field belongs to.
fn group(field: Field) -> &'static str {
    field.info().path.split_once('.').map_or("", |(group, _)| group)
}

/// Of a cuff's reading: `changed` when the deflation began in the step before, `differs` when methods read it differently.
pub(super) fn of_cuff(step: &PlayedStep<'_>, of_rate: Causes, changed: bool, differs: bool) -> Causes {
    let line = [Cause::Level, Cause::Damped, Cause::Ringing, Cause::Closed];
    let of_artery = of_pressure(step, PressureSite::Arterial, of_rate);
    let causes = of_artery.iter().filter(|cause| !line.contains(cause)).fold(of_rate, Causes::and);
    let causes = causes.and_if(changed, Cause::Changed);
    causes.and_if(differs && causes.is_empty(), Cause::WeakBeats)
}

pub(super) fn of_pressure(step: &PlayedStep<'_>, site: PressureSite, of_rate: Causes) -> Causes {
    use PressureSite as Site;
    let fields = transducer(site);
    if step.is_on(fields.closed) {
        return Causes::NONE.and(Cause::Closed).and_if(ramps(step, |field| field == fields.level), Cause::Ramp);
    }
    let own = group(fields.level);
    let source = match site {
        Site::Femoral | Site::LeftVentricle => "arterial",
        Site::RightAtrium => "venous",
        Site::Wedge => "left_atrium",
        Site::RightVentricle => "pulmonary",
        _ => own,
    };
    let moves = |field: Field| field == Field::RateBpm || group(field) == own || group(field) == source;
    let systemic = matches!(site, Site::Arterial | Site::Femoral);
    let in_chest = !systemic;
    let line = step.get(fields.line_hz) >= 1.0;
    let damping = step.get(fields.damping);
    let set = |field: Field| step.get(field) != 0.0;
    let irregular = |cause| of_rate.has(cause);
    let uneven = [Cause::Premature, Cause::Irregular, Cause::Pauses].into_iter().any(irregular);
    let of_beats = match site {
        // The heart's own waves alone move it.
        Site::Venous | Site::RightAtrium | Site::Wedge | Site::LeftAtrium => {
            [Cause::Premature, Cause::Irregular, Cause::Pauses]
                .into_iter()
                .fold(Causes::NONE, |causes, cause| causes.and_if(irregular(cause), cause))
        }
        _ => Causes::NONE.and_if(uneven, Cause::WeakBeats),
    };
    of_beats
        .and_if(set(fields.level), Cause::Level)
        .and_if(line && damping >= 0.6, Cause::Damped)
        .and_if(line && damping < 0.6, Cause::Ringing)
        .and_if(ramps(step, moves), Cause::Ramp)
        .and_if(systemic && set(Field::ArterialSwing), Cause::Paradoxus)
        .and_if(systemic && step.get(Field::PulseVariation) > 2.0, Cause::Variation)
        .and_if(systemic && set(Field::Alternans), Cause::Alternans)
        .and_if(in_chest && set(Field::ChestBreathing), Cause::Chest)
}
