//! The instruments of a record: whether they are named, and were within their calibration when they were used.

use crate::calendar::day;
use crate::record::{Instrument, Record, date};

/// The kinds of instruments that a check asks for.
pub const KINDS: [&str; 3] = ["Rig", "Meter that verified the rig", "Pressure or cuff reference"];

/// The output of a record whose signal did not leave the program.
pub const NO_OUTPUT: &str = "none";

/// Why the instruments can't be relied on, a line each.
///
/// Where the program played the signal to an output, the rig and the meter that verified it have to be named.
pub fn missing(record: &Record) -> Vec<String> {
    let played = record.played.as_ref().is_some_and(|played| played.output != NO_OUTPUT);
    let named = |what: &str| record.instruments.iter().any(|of| of.what == what && !of.id.trim().is_empty());
    let needed = KINDS.iter().take(2).filter(|what| played && !named(what));
    let unnamed = needed.map(|what| format!("{what}: its number is not entered"));
    let used = day(date(record)).or_else(|| day(&record.saved_at));
    let one = |instrument: &Instrument| {
        let due = instrument.due.trim();
        let name = [instrument.what.trim(), instrument.id.trim()].join(" ");
        if due.is_empty() {
            return None;
        }
        match (day(due), used) {
            (None, _) => Some(format!("{name}: calibrated until \"{due}\", which is not a day such as 2027-03-01")),
            (_, None) => Some(format!("{name}: calibrated until {due}, but the record has no day such as 2027-03-01")),
            (Some(until), Some(used)) if until < used => {
                Some(format!("{name}: its calibration ran out on {until}, before {used}"))
            }
            _ => None,
        }
    };
    unnamed.chain(record.instruments.iter().filter_map(one)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::PlaybackRecord;

    #[test]
    fn calibration_runs_out_after_its_last_day() {
        let on = |day: &str, due: &str| {
            let instrument = Instrument { what: "Meter".into(), id: "M-7".into(), due: due.into() };
            let mut record = Record { instruments: vec![instrument], ..Record::default() };
            record.about.insert("date".into(), day.into());
            missing(&record)
        };
        assert_eq!(
            on("2026-11-25", "2020-01-31"),
            ["Meter M-7: its calibration ran out on 2020-01-31, before 2026-11-25"]
        );
        assert!(on("2026-11-25", "2026-11-25").is_empty());
        assert!(on("2026-11-25", "").is_empty());
        assert!(on("2026-11-25", "next year")[0].contains("not a day such as"));
        assert!(on("today", "2027-01-01")[0].contains("the record has no day"));
    }

    #[test]
    fn a_signal_that_was_played_needs_its_rig_and_meter() {
        let instrument = |what: &str, id: &str| Instrument { what: what.into(), id: id.into(), due: String::new() };
        let played = |output: &str| Some(PlaybackRecord { output: output.into(), ..PlaybackRecord::default() });
        let mut record = Record { played: played("/dev/rig"), ..Record::default() };
        assert_eq!(missing(&record).len(), 2);
        record.instruments = vec![instrument(KINDS[0], "R-1"), instrument(KINDS[1], " ")];
        assert_eq!(missing(&record), ["Meter that verified the rig: its number is not entered"]);
        record.instruments[1].id = "M-7".into();
        assert!(missing(&record).is_empty());
        let silent = Record { played: played(NO_OUTPUT), ..Record::default() };
        assert!(missing(&silent).is_empty() && missing(&Record::default()).is_empty());
    }
}
