//! Whether the instruments of a record were within their calibration when they were used.

use crate::calendar::day;
use crate::record::{Instrument, Record, date};

/// Why the instruments can't be relied on, a line each.
pub fn missing(record: &Record) -> Vec<String> {
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
    record.instruments.iter().filter_map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

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
}
