//! Standard rows of values (IEC 60063) and the marking code of a value (IEC 60062).

/// A standard row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PreferredValues {
    /// 24 values a decade.
    E24,
    /// 96 values a decade.
    E96,
}

/// E24 is rounded by hand in the standard; a formula misses some of its values.
const E24: [f64; 24] = [
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2,
    9.1,
];

impl PreferredValues {
    /// Word of the row.
    pub fn word(self) -> &'static str {
        match self {
            PreferredValues::E24 => "E24",
            PreferredValues::E96 => "E96",
        }
    }

    /// The values of the decade from 1 to 10.
    fn decade(self) -> Vec<f64> {
        match self {
            PreferredValues::E24 => E24.to_vec(),
            PreferredValues::E96 => {
                (0..96).map(|i| (100.0 * 10.0_f64.powf(f64::from(i) / 96.0)).round() / 100.0).collect()
            }
        }
    }

    /// Every value from `low` to `high`.
    pub fn between(self, low: f64, high: f64) -> Vec<f64> {
        let decade = self.decade();
        let first = low.max(1e-15).log10().floor() as i32;
        let last = high.max(1e-15).log10().floor() as i32;
        let all = (first..=last).flat_map(|power| decade.iter().map(move |value| scaled(*value, power)));
        all.filter(|value| *value >= low * (1.0 - 1e-9) && *value <= high * (1.0 + 1e-9)).collect()
    }

    /// The value nearest to `wanted` by ratio; `wanted` is positive.
    pub fn nearest(self, wanted: f64) -> f64 {
        let off = |value: &f64| (value / wanted).ln().abs();
        let near = self.between(wanted * 0.8, wanted * 1.25);
        near.into_iter().min_by(|a, b| off(a).total_cmp(&off(b))).unwrap_or(wanted)
    }
}

/// `value × 10^power`, rounded as it would be written.
fn scaled(value: f64, power: i32) -> f64 {
    format!("{value}e{power}").parse().unwrap_or(value)
}

/// One or two resistors of E96 in series for `wanted` ohm: one when it is within 0.02 %, else the pair that comes nearest.
pub fn series(wanted: f64) -> Vec<f64> {
    let one = PreferredValues::E96.nearest(wanted);
    if (one / wanted - 1.0).abs() <= 2e-4 {
        return vec![one];
    }
    let off = |pair: &[f64; 2]| (pair[0] + pair[1] - wanted).abs();
    let pairs = PreferredValues::E96.between(wanted / 2.0, wanted).into_iter().filter(|first| wanted - first >= 1.0);
    let pairs = pairs.map(|first| [first, PreferredValues::E96.nearest(wanted - first)]);
    pairs.min_by(|a, b| off(a).total_cmp(&off(b))).map_or(vec![one], |pair| pair.to_vec())
}

/// Marking code: `40k2`, `100R`, `47n`.
pub fn code(value: f64, unit_letter: char) -> String {
    let marks =
        [(1e9, 'G'), (1e6, 'M'), (1e3, 'k'), (1.0, unit_letter), (1e-3, 'm'), (1e-6, 'u'), (1e-9, 'n'), (1e-12, 'p')];
    // Rounding first keeps 0.9999999 out of the decade below.
    let (scale, mark) = marks.into_iter().find(|(scale, _)| value >= scale * (1.0 - 1e-6)).unwrap_or((1e-12, 'p'));
    let digits = format!("{:.3}", value / scale);
    let (whole, part) = digits.split_once('.').unwrap_or((&digits, ""));
    format!("{whole}{mark}{}", part.trim_end_matches('0'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_have_the_values_of_the_standard() {
        // IEC 60063, table of E96: first and last values, and some between; from memory.
        let row = PreferredValues::E96.between(1.0, 9.99);
        assert_eq!(row.len(), 96);
        assert_eq!(row[..5], [1.0, 1.02, 1.05, 1.07, 1.10]);
        assert_eq!((row[48], row[95]), (3.16, 9.76));
        assert!([2.49, 4.02, 4.99, 7.5, 8.25].iter().all(|value| row.contains(value)));
        assert_eq!(PreferredValues::E24.nearest(50_900.0), 51_000.0);
        assert_eq!(PreferredValues::E96.nearest(99.0), 100.0);
        assert_eq!(PreferredValues::E24.between(9e-9, 1.1e-8), [9.1e-9, 1e-8, 1.1e-8]);
    }

    #[test]
    fn pairs_come_near() {
        assert_eq!(series(40_000.0).iter().sum::<f64>(), 40_000.0);
        assert_eq!(series(100_000.0), [100_000.0]);
        for wanted in [24_900.0, 4900.0, 123_456.0, 37.3, 1e6 - 7.0] {
            let found: f64 = series(wanted).iter().sum();
            assert!((found / wanted - 1.0).abs() < 2e-4, "{wanted}: {found}");
        }
    }

    #[test]
    fn codes_by_hand() {
        let found = [40_200.0, 100.0, 51_000.0, 1e7, 49.9].map(|ohm| code(ohm, 'R'));
        assert_eq!(found, ["40k2", "100R", "51k", "10M", "49R9"]);
        assert_eq!([4.7e-8, 1.5e-10, 1e-7].map(|farad| code(farad, 'F')), ["47n", "150p", "100n"]);
    }
}
