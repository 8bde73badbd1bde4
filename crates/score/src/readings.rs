//! Numeric readings of a monitor over time against the expected values.
//!
//! Expected: a table with `reading`, `start_s`, `end_s`, `expected`, and a tolerance: `tolerance` (unit of the reading),
//! `tolerance_percent` (of the expected value) or both, the larger counts; `settle_s` is the time the monitor may take.
//! Measured: a table with `time_s`, `reading`, `value`, or with one column per reading beside the time.
//!
//! A step's readings are judged from `start_s + settle_s` on, in which all must lie within the tolerance, the edge included.
//! Settling time: from the start of the step to the first reading after which none is outside any more.

use pulsewright_text::number::short;
use pulsewright_text::table::MOST_ROWS;
use serde::Serialize;

use crate::instant::RecordInstant;
use crate::read::beats::TimeColumn;
use crate::read::{InputPosition, ReadOptions, Table, TableProblem};
use crate::report::TestCase;
use crate::report::csv::{line, number};
use crate::report::text::{aligned, number as shown};
use crate::tolerance::Tolerance;

/// One expectation.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Expectation {
    /// Name of the reading, such as `heart_rate_bpm`.
    pub reading: String,
    /// Start of the step, s.
    pub start_s: f64,
    /// End of the step, s.
    pub end_s: f64,
    /// Value, in the unit of the reading.
    pub expected: f64,
    /// Lowest value expected; the value itself where it does not move.
    pub low: f64,
    /// Highest value expected.
    pub high: f64,
    /// Largest error allowed, in the unit of the reading.
    pub tolerance: f64,
    /// Time the monitor may take to settle, s.
    pub settle_s: f64,
}

/// One value that the monitor showed.
#[derive(Clone, Debug, PartialEq)]
pub struct ShownReading {
    /// When.
    pub at: RecordInstant,
    /// Name of the reading.
    pub reading: String,
    /// Value, in its unit.
    pub value: f64,
}

/// How one expectation fared.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReadingResult {
    /// The expected value.
    #[serde(flatten)]
    pub expectation: Expectation,
    /// Readings after the time to settle.
    pub readings: usize,
    /// Those of them within the tolerance.
    pub within: usize,
    /// Their mean error; `None` without readings.
    pub mean_error: Option<f64>,
    /// Their largest absolute error.
    pub largest_error: Option<f64>,
    /// Time from the start of the step until readings stay within the tolerance, s; `None` if they never do.
    pub settled_after_s: Option<f64>,
    /// True if there are readings after the time to settle and all are within the tolerance.
    pub passed: bool,
}

/// Reads expectations.
///
/// # Errors
/// Missing columns, broken rows, and no row: there would be nothing to compare.
pub fn expectations(table: &Table) -> Result<Vec<Expectation>, TableProblem> {
    let reading = table.required(&["reading", "name"])?;
    let (start, end) = (table.required(&["start_s", "from_s"])?, table.required(&["end_s", "to_s"])?);
    let expected = table.required(&["expected", "value"])?;
    let (absolute, percent) = (table.column(&["tolerance"]), table.column(&["tolerance_percent"]));
    let settle = table.column(&["settle_s"]);
    let (low, high) = (table.column(&["low"]), table.column(&["high"]));
    let banded = low.is_some() && high.is_some();
    if absolute.is_none() && percent.is_none() && !banded {
        return Err(TableProblem::new(InputPosition::Whole, "no column tolerance or tolerance_percent"));
    }
    if table.is_empty() {
        return Err(TableProblem::new(InputPosition::Whole, "the reference expects no reading"));
    }
    let mut found = Vec::new();
    table.rows(|row| {
        let optional = |column: Option<usize>| column.map_or(Ok(None), |column| table.number(row, column));
        if banded && row.cell(expected).trim().is_empty() {
            return Ok(());
        }
        let expected = table.required_number(row, expected)?;
        let (low, high) = (optional(low)?.unwrap_or(expected), optional(high)?.unwrap_or(expected));
        if low > high {
            return Err(TableProblem::new(row.place, "low is above high"));
        }
        let (absolute, percent) = (optional(absolute)?, optional(percent)?);
        let tolerance = Tolerance { absolute, percent, ..Tolerance::default() }.width(expected);
        let tolerance = tolerance.or(banded.then_some(0.0));
        let Some(tolerance) = tolerance.filter(|tolerance| *tolerance >= 0.0) else {
            return Err(TableProblem::new(row.place, "a tolerance of at least 0 is missing"));
        };
        let (start_s, end_s) = (table.required_number(row, start)?, table.required_number(row, end)?);
        let settle_s = optional(settle)?.unwrap_or(0.0);
        if !(start_s < end_s && settle_s >= 0.0) {
            return Err(TableProblem::new(
                row.place,
                "the step must end after it starts, and settle_s must not be negative",
            ));
        }
        found.push(Expectation {
            reading: row.cell(reading).into(),
            start_s,
            end_s,
            expected,
            low,
            high,
            tolerance,
            settle_s,
        });
        Ok(())
    })?;
    Ok(found)
}

/// Reads measured values; empty cells are readings not shown.
///
/// # Errors
/// No column of times, broken rows, more values than a table may have rows.
pub fn measured(table: &Table, options: &ReadOptions) -> Result<Vec<ShownReading>, TableProblem> {
    if table.is_blank() {
        return Ok(Vec::new());
    }
    let times = TimeColumn::find(table, options)?;
    let long = table.column(&["reading", "name"]).zip(table.column(&["value"]));
    let names = table.columns.clone().unwrap_or_default();
    let mut found = Vec::new();
    table.rows(|row| {
        let at = times.instant(table, row)?;
        match long {
            Some((reading, value)) => {
                if let Some(value) = table.number(row, value)? {
                    found.push(ShownReading { at, reading: row.cell(reading).into(), value });
                }
            }
            None => {
                // A row may be shorter than the heading, by far.
                for (column, name) in names.iter().enumerate().take(row.width()) {
                    // Remarks may stand beside the readings: only numbers are readings here.
                    if let Ok(Some(value)) = table.number(row, column) {
                        found.push(ShownReading { at, reading: name.trim().into(), value });
                    }
                }
            }
        }
        if found.len() as u64 > MOST_ROWS {
            return Err(TableProblem::new(row.place, format!("more than {MOST_ROWS} readings; split the file")));
        }
        Ok(())
    })?;
    found.sort_by_key(|reading| reading.at);
    Ok(found)
}

/// Holds readings, in order of time, against expectations.
pub fn score(expectations: &[Expectation], readings: &[ShownReading]) -> Vec<ReadingResult> {
    expectations.iter().map(|expectation| judge(expectation, readings)).collect()
}

fn judge(expectation: &Expectation, readings: &[ShownReading]) -> ReadingResult {
    // They are in order, so a step of a day does not search the readings of the whole day.
    let (_, from_start) = readings.split_at(readings.partition_point(|r| r.at.s() < expectation.start_s));
    let (in_step, _) = from_start.split_at(from_start.partition_point(|r| r.at.s() <= expectation.end_s));
    let of_step = in_step.iter().filter(|r| r.reading.eq_ignore_ascii_case(&expectation.reading));
    let tolerance = Tolerance::of(expectation.tolerance);
    let values: Vec<(f64, f64)> = of_step.map(|r| (r.at.s() - expectation.start_s, r.value)).collect();
    let band = [expectation.low, expectation.high];
    let fits = |value: f64| tolerance.allows_in(Some(band), value);
    let last_outside = values.iter().rposition(|(_, value)| !fits(*value));
    let settled = values.get(last_outside.map_or(0, |index| index + 1));
    let late = values.iter().filter(|(after, _)| *after >= expectation.settle_s);
    let within = late.clone().filter(|(_, value)| fits(*value)).count();
    let judged: Vec<f64> = late.map(|(_, value)| value - expectation.expected).collect();
    let count = judged.len();
    ReadingResult {
        readings: count,
        within,
        mean_error: (count > 0).then(|| judged.iter().sum::<f64>() / count as f64),
        largest_error: judged.iter().map(|error| error.abs()).reduce(f64::max),
        settled_after_s: settled.map(|(after, _)| *after),
        passed: count > 0 && within == count,
        expectation: expectation.clone(),
    }
}

/// The results as a table for people.
pub fn text(results: &[ReadingResult]) -> String {
    let titles = [
        "reading",
        "from s",
        "to s",
        "expected",
        "tolerance",
        "readings",
        "within",
        "mean error",
        "largest",
        "settled s",
        "verdict",
    ];
    let mut rows = vec![titles.map(str::to_owned).to_vec()];
    for result in results {
        let e = &result.expectation;
        rows.push(vec![
            e.reading.clone(),
            short(e.start_s),
            short(e.end_s),
            short(e.expected),
            short(e.tolerance),
            result.readings.to_string(),
            result.within.to_string(),
            shown(result.mean_error),
            shown(result.largest_error),
            shown(result.settled_after_s),
            if result.passed { "pass" } else { "FAIL" }.into(),
        ]);
    }
    aligned(&rows)
}

/// The results as CSV.
pub fn csv(results: &[ReadingResult]) -> String {
    let mut out = String::from(
        "reading,start_s,end_s,expected,tolerance,settle_s,readings,within,mean_error,largest_error,settled_after_s,passed\n",
    );
    for result in results {
        let e = &result.expectation;
        let numbers = [e.start_s, e.end_s, e.expected, e.tolerance, e.settle_s].map(short);
        let figures = [number(result.mean_error), number(result.largest_error), number(result.settled_after_s)];
        let counts = [result.readings.to_string(), result.within.to_string()];
        let verdict = result.passed.to_string();
        let cells = [&e.reading].into_iter().chain(&numbers).chain(&counts).chain(&figures).chain([&verdict]);
        out += &line(cells.map(String::as_str));
    }
    out
}

/// The results as test cases.
pub fn cases(results: &[ReadingResult]) -> Vec<TestCase> {
    let case = |result: &ReadingResult| {
        let e = &result.expectation;
        let why = || {
            format!(
                "expected {} within {}: {} of {} readings within, largest error {}",
                short(e.expected),
                short(e.tolerance),
                result.within,
                result.readings,
                shown(result.largest_error)
            )
        };
        let name = format!("from {} s", short(e.start_s));
        TestCase::new(&e.reading, &name, (!result.passed).then(why))
    };
    results.iter().map(case).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_text::table;

    fn scored(expected: &str, shown: &str) -> Vec<ReadingResult> {
        let expected = expectations(&table::parse(expected, None).expect("reads")).expect("reads");
        let shown = measured(&table::parse(shown, None).expect("reads"), &ReadOptions::default()).expect("reads");
        score(&expected, &shown)
    }

    const STEP: &str = "reading,start_s,end_s,expected,tolerance,settle_s\nheart_rate_bpm,10,20,80,2,5\n";

    #[test]
    fn settling_and_tolerance() {
        let results =
            scored(STEP, "time_s,heart_rate_bpm,remark\n9,200,\n11,60,x\n13,77.9,\n14,78,\n16,82,\n19,81,\n21,10,\n");
        let result = &results[0];
        assert!(result.passed);
        assert_eq!((result.readings, result.within), (2, 2));
        assert_eq!(
            (result.settled_after_s, result.mean_error, result.largest_error),
            (Some(4.0), Some(1.5), Some(2.0))
        );
        let late = scored(STEP, "time_s,reading,value\n16,Heart_Rate_bpm,82.1\n19,heart_rate_bpm,80\n");
        assert!(!late[0].passed);
        assert_eq!(late[0].settled_after_s, Some(9.0));
        let never = scored(STEP, "time_s,reading,value\n19,heart_rate_bpm,90\n");
        assert_eq!((never[0].passed, never[0].settled_after_s), (false, None));
        assert!(!scored(STEP, "time_s,reading,value\n12,heart_rate_bpm,80\n")[0].passed, "nothing after settling");
    }

    #[test]
    fn a_reference_must_expect_something() {
        for text in ["", "<html>", "<html>\n<p>1\n", "[]", "reading,start_s,end_s,expected,tolerance\n"] {
            assert!(expectations(&table::read(text.into(), None, None).expect("reads")).is_err(), "{text}");
        }
    }

    #[test]
    fn numbers_of_any_size_take_few_characters() {
        let results = scored(STEP, "time_s,heart_rate_bpm\n16,1e300\n");
        assert!(text(&results).lines().chain(csv(&results).lines()).all(|line| line.len() < 200));
        assert!(cases(&results).iter().all(|case| case.failure.as_ref().is_some_and(|why| why.len() < 200)));
    }

    #[test]
    fn a_band_takes_what_lies_in_it() {
        let band = "reading,start_s,end_s,expected,low,high,tolerance\nr,0,9,105,90,120,2\ns,0,9,,,,\n";
        for (value, passes) in [("88", true), ("105", true), ("122", true), ("87.9", false), ("122.1", false)] {
            let results = scored(band, &format!("time_s,r\n1,{value}\n"));
            assert_eq!((results.len(), results[0].passed), (1, passes), "{value}");
        }
        assert!(scored("reading,start_s,end_s,expected,low,high\nr,0,9,105,90,120\n", "time_s,r\n1,90\n")[0].passed);
    }

    #[test]
    fn larger_tolerance_counts_and_edges_pass() {
        let step = "reading,start_s,end_s,expected,tolerance,tolerance_percent\nr,0,9,50,5,1\nr,0,9,0.2,0.1,\nr,0,9,200,1,10\n";
        let results = scored(step, "time_s,r\n1,220\n");
        let tolerances: Vec<f64> = results.iter().map(|r| r.expectation.tolerance).collect();
        assert_eq!(tolerances, [5.0, 0.1, 20.0]);
        assert!(results[2].passed);
        assert!(scored(step, "time_s,r\n1,0.30000000000000004\n")[1].passed);
    }
}
