//! The limits that an entry is held to, as numbers: worked out here alone, for the report, the sessions and the worksheet's page.

use crate::plan::{Plan, PlanItem};
use serde::Serialize;
use std::collections::BTreeMap;

/// Times written in decimals are compared with the slack of a microsecond.
const SLACK_S: f64 = 1e-6;

/// The limits that the entry of an item is held to.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub enum EntryRule<'a> {
    /// A reading.
    Reading {
        /// Its unit.
        unit: &'a str,
        /// The least and the largest value that passes, infinite (in JSON null) where there is no limit; `None` when none does.
        passes: Option<[f64; 2]>,
        /// The value from which its error counts.
        value: Option<f64>,
        /// The band from which its error counts, where it moves.
        band: Option<[f64; 2]>,
        /// The limit in words.
        allowed: &'a str,
    },
    /// An alarm to hear.
    Alarm {
        /// Priority wanted.
        priority: &'a str,
        /// Soonest that a monitor can know, s from the start of the step.
        soonest_s: f64,
        /// The least time that is no mistake, s.
        earliest_s: f64,
        /// The time from which it counts as late, s.
        due_s: f64,
        /// The largest time that is not late, s.
        latest_s: f64,
    },
    /// An alarm that must not sound.
    Silence,
    /// An alarm that must end.
    Clear {
        /// The time from which it counts as late, s.
        due_s: f64,
        /// The largest time that is not late, s.
        latest_s: f64,
    },
    /// A check by hand that is in order or not.
    Check,
}

impl<'a> EntryRule<'a> {
    /// That of an item.
    pub fn of(item: PlanItem<'a>) -> EntryRule<'a> {
        match item {
            PlanItem::Reading(reading) => EntryRule::Reading {
                unit: &reading.unit,
                passes: reading.limits().allowed_in(reading.band()),
                value: reading.value.filter(|_| reading.band().is_some()),
                band: reading.band().filter(|_| reading.moves()),
                allowed: &reading.allowed,
            },
            PlanItem::Alarm(alarm) => EntryRule::Alarm {
                priority: &alarm.priority,
                soonest_s: alarm.soonest_s,
                earliest_s: alarm.soonest_s - SLACK_S,
                due_s: alarm.latest_s(),
                latest_s: alarm.latest_s() + SLACK_S,
            },
            PlanItem::Silence(_) => EntryRule::Silence,
            PlanItem::Clear(clear) => {
                EntryRule::Clear { due_s: clear.latest_s(), latest_s: clear.latest_s() + SLACK_S }
            }
            PlanItem::Check(_) => EntryRule::Check,
        }
    }

    /// Those of a plan, by the ids of its items.
    pub fn of_plan(plan: &Plan) -> BTreeMap<&str, EntryRule<'_>> {
        plan.items().map(|(_, item)| (item.id(), EntryRule::of(item))).collect()
    }
}
