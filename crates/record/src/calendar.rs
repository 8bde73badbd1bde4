//! The one calendar: days and moments as records write them.

use jiff::Timestamp;
use jiff::civil::Date;
use std::time::{SystemTime, UNIX_EPOCH};

/// A moment as `2026-11-25T14:03:07Z`; the start of 1970 for a clock that is set before it.
pub fn utc(at: SystemTime) -> String {
    let seconds = at.duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs());
    let at = i64::try_from(seconds).ok().and_then(|seconds| Timestamp::from_second(seconds).ok());
    at.unwrap_or(Timestamp::MAX).strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
}

/// The day it is, in UTC, as `2026-11-25`.
pub fn today() -> String {
    utc(SystemTime::now()).get(..10).unwrap_or_default().to_owned()
}

/// The day that a text begins with, as `2026-11-25` or `2026-11-25T14:03:07Z`; `None` for any other form, such as 05/11/2026
/// is another day on either side of an ocean.
pub fn day(text: &str) -> Option<Date> {
    let text = text.trim();
    let (day, rest) = (text.get(..10)?, text.get(10..)?);
    if rest.is_empty() || rest.starts_with(['T', ' ']) { Date::strptime("%Y-%m-%d", day).ok() } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn days_of_the_calendar() {
        let at = |seconds| utc(UNIX_EPOCH + Duration::from_secs(seconds));
        assert_eq!(at(0), "1970-01-01T00:00:00Z");
        // Common practice, no source: `date -u -d @N` of any system.
        assert_eq!(at(951_782_400), "2000-02-29T00:00:00Z");
        assert_eq!(at(951_868_800), "2000-03-01T00:00:00Z");
        assert_eq!(at(1_795_615_387), "2026-11-25T14:03:07Z");
        assert_eq!(at(4_107_542_399), "2100-02-28T23:59:59Z");
        assert_eq!(at(4_107_542_400), "2100-03-01T00:00:00Z");
        assert!(at(300_000_000_000).starts_with("9999-12-"));
    }

    #[test]
    fn days_as_people_write_them() {
        assert!(day("2026-11-25") < day("2027-01-01"));
        assert_eq!(day(" 2026-11-25T14:03:07Z"), day("2026-11-25"));
        for text in
            ["", "25.11.2026", "2026-02-30", "2026-11-25x", "11/25/2026", "2026-1-5", "\u{e9}\u{e9}\u{e9}\u{e9}\u{e9}"]
        {
            assert_eq!(day(text), None, "{text}");
        }
    }
}
