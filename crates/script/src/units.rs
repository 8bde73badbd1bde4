//! Units of fields as people read them: a ratio, whose unit is 1, has none.

/// A unit as a table or a form shows it.
pub fn shown(unit: &'static str) -> &'static str {
    if unit == "1" { "" } else { unit }
}

/// A unit as it follows a number, with the space between them.
pub fn after_number(unit: &'static str) -> String {
    match shown(unit) {
        "" => String::new(),
        unit => format!(" {unit}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ratio_has_no_unit() {
        assert_eq!([shown("1"), shown("mV")], ["", "mV"]);
        assert_eq!([after_number("1"), after_number("mV")], ["", " mV"]);
    }
}
