//! The day it is, in UTC.

use std::time::{SystemTime, UNIX_EPOCH};

/// Today as 2026-11-25; a clock before 1970 counts as its first day.
pub fn today() -> String {
    let seconds = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs());
    date(seconds / 86_400)
}

/// The date of a day since 1970-01-01: years of 365 or 366 days, months of their lengths.
fn date(days: u64) -> String {
    let leap = |year: u64| year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
    let (mut year, mut rest) = (1970, days);
    while rest >= 365 + u64::from(leap(year)) {
        rest -= 365 + u64::from(leap(year));
        year += 1;
    }
    let february = 28 + u64::from(leap(year));
    let mut month = 1;
    for length in [31, february, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31] {
        if rest < length {
            break;
        }
        rest -= length;
        month += 1;
    }
    format!("{year:04}-{month:02}-{:02}", rest + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_at_the_edges_of_months_and_years() {
        let dates = [0, 30, 31, 58, 59, 364, 365, 789, 790, 11_016, 11_017, 20_782].map(date);
        assert_eq!(
            dates,
            [
                "1970-01-01",
                "1970-01-31",
                "1970-02-01",
                "1970-02-28",
                "1970-03-01",
                "1970-12-31",
                "1971-01-01",
                "1972-02-29",
                "1972-03-01",
                "2000-02-29",
                "2000-03-01",
                "2026-11-25"
            ]
        );
    }
}
