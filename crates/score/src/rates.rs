//! Interval, rate and timing errors over matched beats.
//!
//! RR error: root mean square of reference RR minus test RR over matched pairs (considered for EC38, dropped
//! there, still reported by the open comparator). An interval is void if it is the first of its side or if it
//! touches fibrillation or shutdown. Each side's interval runs from *its own* beat before, so a missed
//! or extra beat shows in it; `intact` leaves those out and shows the timing alone.
//!
//! Heart rate (EC38 leaves the method to be disclosed): at each beat the mean over the last
//! [`RATE_INTERVALS`] valid intervals; each test value is compared with the reference value nearest in time; the error is the
//! root mean square, in bpm and as a share of the mean reference value.

use serde::Serialize;

use crate::instant::RecordInstant;

/// Intervals averaged for one heart-rate value.
pub const RATE_INTERVALS: usize = 8;

/// Sums of an error; records add up.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ErrorSum {
    count: u64,
    sum: f64,
    sum_of_squares: f64,
    largest: f64,
}

impl ErrorSum {
    /// Counts one error.
    pub fn take(&mut self, error: f64) {
        self.count += 1;
        self.sum += error;
        self.sum_of_squares += error * error;
        self.largest = self.largest.max(error.abs());
    }

    /// Adds another record.
    pub fn add(&mut self, other: &ErrorSum) {
        self.count += other.count;
        self.sum += other.sum;
        self.sum_of_squares += other.sum_of_squares;
        self.largest = self.largest.max(other.largest);
    }

    /// The figures.
    pub fn figures(&self) -> ErrorFigures {
        if self.count == 0 {
            return ErrorFigures::default();
        }
        let count = self.count as f64;
        let mean = self.sum / count;
        let mean_square = self.sum_of_squares / count;
        ErrorFigures {
            count: self.count,
            mean: Some(mean),
            rms: Some(mean_square.sqrt()),
            deviation: Some((mean_square - mean * mean).max(0.0).sqrt()),
            largest: Some(self.largest),
        }
    }
}

/// An error as reported; `None` where nothing was compared.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct ErrorFigures {
    /// Values compared.
    pub count: u64,
    /// Mean error.
    pub mean: Option<f64>,
    /// Root mean square.
    pub rms: Option<f64>,
    /// Standard deviation about the mean.
    pub deviation: Option<f64>,
    /// Largest absolute error.
    pub largest: Option<f64>,
}

/// Sums for one record.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RateSums {
    /// Test time minus reference time, ms.
    pub offset_ms: ErrorSum,
    /// Test RR minus reference RR, ms.
    pub rr_ms: ErrorSum,
    /// The same where the beats before match too.
    pub rr_intact_ms: ErrorSum,
    /// Test rate minus reference rate, bpm.
    pub rate_bpm: ErrorSum,
    /// Reference rates that were compared, bpm.
    pub reference_rate_bpm: ErrorSum,
}

impl RateSums {
    /// Adds another record.
    pub fn add(&mut self, other: &RateSums) {
        self.offset_ms.add(&other.offset_ms);
        self.rr_ms.add(&other.rr_ms);
        self.rr_intact_ms.add(&other.rr_intact_ms);
        self.rate_bpm.add(&other.rate_bpm);
        self.reference_rate_bpm.add(&other.reference_rate_bpm);
    }

    /// The figures.
    pub fn figures(&self) -> RateFigures {
        let rate_bpm = self.rate_bpm.figures();
        let reference = self.reference_rate_bpm.figures().mean;
        let share = rate_bpm.rms.zip(reference).map(|(rms, mean)| 100.0 * rms / mean);
        RateFigures {
            offset_ms: self.offset_ms.figures(),
            rr_ms: self.rr_ms.figures(),
            rr_intact_ms: self.rr_intact_ms.figures(),
            rate_bpm,
            rate_percent: share,
        }
    }
}

/// Interval, rate and timing errors of a record or of many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct RateFigures {
    /// Test time minus reference time of matched beats, ms.
    pub offset_ms: ErrorFigures,
    /// Test RR minus reference RR, ms.
    pub rr_ms: ErrorFigures,
    /// The same over intervals whose two beats match.
    pub rr_intact_ms: ErrorFigures,
    /// Test heart rate minus reference heart rate, bpm.
    pub rate_bpm: ErrorFigures,
    /// Root-mean-square rate error as percent of the mean reference rate.
    pub rate_percent: Option<f64>,
}

/// Intervals of one side, ms: element `i` ends at beat `i`; `None` where void.
pub fn intervals_ms(beats: &[RecordInstant], void: impl Fn(RecordInstant, RecordInstant) -> bool) -> Vec<Option<f64>> {
    let mut intervals = Vec::with_capacity(beats.len());
    intervals.extend(beats.first().map(|_| None));
    intervals.extend(beats.windows(2).map(|pair| (!void(pair[0], pair[1])).then(|| (pair[1] - pair[0]).ms())));
    intervals
}

/// Heart rate at each beat after [`RATE_INTERVALS`] valid intervals in a row, bpm.
pub fn rates_bpm(beats: &[RecordInstant], intervals_ms: &[Option<f64>]) -> Vec<(RecordInstant, f64)> {
    let mut rates = Vec::new();
    let mut sum = 0.0;
    let mut valid = 0;
    for (index, interval) in intervals_ms.iter().enumerate() {
        let Some(interval) = interval else {
            (sum, valid) = (0.0, 0);
            continue;
        };
        sum += interval;
        valid += 1;
        if valid > RATE_INTERVALS {
            sum -= intervals_ms[index - RATE_INTERVALS].unwrap_or(0.0);
        }
        if valid >= RATE_INTERVALS && sum > 0.0 {
            rates.push((beats[index], 60_000.0 * RATE_INTERVALS as f64 / sum));
        }
    }
    rates
}

/// Compares each test rate with the reference rate nearest in time.
pub fn compare_rates(reference: &[(RecordInstant, f64)], test: &[(RecordInstant, f64)], sums: &mut RateSums) {
    let mut nearest = 0;
    for (at, rate) in test {
        while let (Some(here), Some(next)) = (reference.get(nearest), reference.get(nearest + 1)) {
            if next.0.distance(*at) > here.0.distance(*at) {
                break;
            }
            nearest += 1;
        }
        let Some((_, expected)) = reference.get(nearest) else {
            return;
        };
        sums.rate_bpm.take(rate - expected);
        sums.reference_rate_bpm.take(*expected);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(s: f64) -> RecordInstant {
        RecordInstant::from_s(s).expect("in range")
    }

    #[test]
    fn rate_over_the_last_intervals() {
        let beats: Vec<RecordInstant> = (0..12).map(|i| at(f64::from(i) * 0.8)).collect();
        let intervals = intervals_ms(&beats, |_, _| false);
        let rates = rates_bpm(&beats, &intervals);
        assert_eq!(rates.len(), 12 - RATE_INTERVALS);
        assert!(rates.iter().all(|(_, rate)| (rate - 75.0).abs() < 1e-6), "{rates:?}");
        let torn = intervals_ms(&beats, |from, _| from == beats[5]);
        assert!(rates_bpm(&beats, &torn).is_empty());
    }

    #[test]
    fn error_figures() {
        let mut sum = ErrorSum::default();
        assert_eq!(sum.figures().rms, None);
        sum.take(3.0);
        sum.take(-1.0);
        let figures = sum.figures();
        assert_eq!(figures.mean, Some(1.0));
        assert_eq!(figures.rms, Some(5.0_f64.sqrt()));
        assert_eq!(figures.deviation, Some(2.0));
        assert_eq!(figures.largest, Some(3.0));
    }
}
