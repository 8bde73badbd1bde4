//! Alarms of pressures: a limit passed for some seconds.

use super::alarm::{AlarmBoard, AlarmKind, AlarmSink};
use super::limits::AlarmLimit;
use super::pressure::PressureLook;
use crate::anatomy::PressureSite;
use crate::time::Instant;

/// Time that a pressure lies beyond a limit before the alarm, s (makers' printed delays).
const DELAY_S: f32 = 4.0;

/// Which part of a pressure.
#[derive(Clone, Copy)]
enum Part {
    Systolic,
    Diastolic,
    Mean,
}

use AlarmKind as Kind;
use AlarmLimit as Limit;
use Part::{Diastolic, Mean, Systolic};
use PressureSite as Site;

/// Site, alarm, whether it is one of high pressure, and its limits.
type Row = (Site, Kind, bool, &'static [(Part, Limit)]);

const TABLE: [Row; 8] = [
    (
        Site::Arterial,
        Kind::ArterialHigh,
        true,
        &[
            (Systolic, Limit::ArterialSystolicHigh),
            (Diastolic, Limit::ArterialDiastolicHigh),
            (Mean, Limit::ArterialMeanHigh),
        ],
    ),
    (
        Site::Arterial,
        Kind::ArterialLow,
        false,
        &[
            (Systolic, Limit::ArterialSystolicLow),
            (Diastolic, Limit::ArterialDiastolicLow),
            (Mean, Limit::ArterialMeanLow),
        ],
    ),
    (
        Site::Pulmonary,
        Kind::PulmonaryHigh,
        true,
        &[(Systolic, Limit::PulmonarySystolicHigh), (Diastolic, Limit::PulmonaryDiastolicHigh)],
    ),
    (Site::Pulmonary, Kind::PulmonaryLow, false, &[(Systolic, Limit::PulmonarySystolicLow)]),
    (Site::Venous, Kind::VenousHigh, true, &[(Mean, Limit::VenousMeanHigh)]),
    (Site::Venous, Kind::VenousLow, false, &[(Mean, Limit::VenousMeanLow)]),
    (Site::Intracranial, Kind::IntracranialHigh, true, &[(Mean, Limit::IntracranialMeanHigh)]),
    (Site::Intracranial, Kind::IntracranialLow, false, &[(Mean, Limit::IntracranialMeanLow)]),
];

/// Since when each pressure of the table lies beyond its limit.
#[derive(Clone, Debug)]
pub(super) struct PressureAlarms {
    since: [Option<Instant>; TABLE.len()],
}

impl PressureAlarms {
    pub(super) fn new() -> PressureAlarms {
        PressureAlarms { since: [None; TABLE.len()] }
    }

    /// A pulse, or a second without one, was read.
    pub(super) fn look(
        &mut self,
        site: PressureSite,
        look: &PressureLook,
        now: Instant,
        limit: &dyn Fn(AlarmLimit) -> f32,
        board: &mut AlarmBoard,
        sink: &mut dyn AlarmSink,
    ) {
        let rows = TABLE.iter().zip(&mut self.since).filter(|((of, ..), _)| *of == site);
        for ((_, kind, high, parts), since) in rows {
            // A limit that is switched off is NaN, and nothing is beyond it.
            let beyond = parts.iter().any(|(part, of)| {
                let value = match part {
                    Part::Systolic => look.high,
                    Part::Diastolic => look.low,
                    Part::Mean => look.mean,
                };
                if *high { value > limit(*of) } else { value < limit(*of) }
            });
            if !beyond {
                *since = None;
                board.clear(*kind, now, sink);
                continue;
            }
            let began = *since.get_or_insert(look.from);
            if now.since(began).as_secs() >= DELAY_S {
                board.raise(*kind, began, now);
            }
        }
    }
}
