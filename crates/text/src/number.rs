//! Numbers of any size in few characters.

/// Largest that is written out.
const PLAIN: f64 = 1e12;

/// The shortest decimal that means the number; with an exponent where that would take many digits.
pub fn short(value: f64) -> String {
    let size = value.abs();
    if size == 0.0 || (1e-6..PLAIN).contains(&size) { value.to_string() } else { format!("{value:e}") }
}

/// With this many decimals; with an exponent where it is too large for that.
pub fn fixed(value: f64, decimals: usize) -> String {
    if value.abs() < PLAIN { format!("{value:.decimals$}") } else { format!("{value:.decimals$e}") }
}

/// A count with its noun, which takes an `s` in the plural.
pub fn counted(count: u64, noun: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {noun}{plural}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_has_no_plural() {
        assert_eq!([0, 1, 2].map(|count| counted(count, "pack")), ["0 packs", "1 pack", "2 packs"]);
    }

    #[test]
    fn few_characters_and_the_same_number() {
        assert_eq!(
            [1e300, -0.5, 0.0, 72.0, 1e-300, 123_456_789.25].map(short),
            ["1e300", "-0.5", "0", "72", "1e-300", "123456789.25"]
        );
        for value in [1e300, 0.1 + 0.2, f64::MIN_POSITIVE, 1.5e12, -7e-7] {
            assert_eq!(short(value).parse(), Ok(value));
            assert!(short(value).len() < 26);
        }
        assert_eq!((fixed(1e300, 2), fixed(2.5, 2)), ("1.00e300".to_owned(), "2.50".to_owned()));
    }
}
