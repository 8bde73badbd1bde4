//! Readings of a meter, as people write them: decimal commas, units, tables.

use crate::description::{OutputSignal, Rig, labels};

/// Units of a meter by the unit that they are turned into, with their factor.
const UNITS: [(&str, &str, f64); 10] = [
    ("uv", "mV", 1e-3),
    ("µv", "mV", 1e-3),
    ("μv", "mV", 1e-3),
    ("mv", "mV", 1.0),
    ("v", "mV", 1e3),
    ("ohm", "ohm", 1.0),
    ("ohms", "ohm", 1.0),
    ("ω", "ohm", 1.0),
    ("kohm", "ohm", 1e3),
    ("kω", "ohm", 1e3),
];

/// A reading such as `-3,75`, `-3.75 mV` or `1.002 kohm`, in `unit` (mV or ohm), which it has when it names none.
///
/// # Errors
/// The mistake, for people.
pub fn parse_reading(text: &str, unit: &str) -> Result<f64, String> {
    let text = text.trim().replace('\u{2212}', "-");
    let end = text.find(|c: char| !(c.is_ascii_digit() || "+-.,".contains(c))).unwrap_or(text.len());
    let (number, written) = text.split_at(end);
    let wrong = || {
        format!("'{}' is no reading: a number with a point or a comma, as -3.75 or -3,75 {unit}", text.escape_debug())
    };
    let points = number.matches(['.', ',']).count();
    if points > 1 {
        return Err(format!("'{}' has more than one point or comma: write it without thousands", text.escape_debug()));
    }
    let value: f64 = number.replace(',', ".").parse().map_err(|_| wrong())?;
    let written = written.trim().to_lowercase();
    if written.is_empty() {
        return Ok(value);
    }
    match UNITS.iter().find(|row| row.0 == written) {
        Some((_, into, factor)) if *into == unit => Ok(value * factor),
        Some(_) => Err(format!("'{}' is not in {unit}, which this output has", text.escape_debug())),
        None => Err(wrong()),
    }
}

/// The output that a word names, letters of either case, by American or European label.
pub fn find_output(rig: &Rig, word: &str) -> Option<usize> {
    let word = word.trim();
    rig.outputs.iter().position(|output| {
        let european = match output.signal {
            OutputSignal::Electrode(terminal) => Some(labels(terminal).1),
            OutputSignal::Bridge { .. } | OutputSignal::Resistor { .. } => None,
        };
        [Some(output.signal.name()), european].into_iter().flatten().any(|name| name.eq_ignore_ascii_case(word))
    })
}

/// Readings of one output: its index, low and high in the connector's unit.
pub type OutputReadings = (usize, [f64; 2]);

/// Readings of the output called `word`.
///
/// # Errors
/// No such output, or no readings; for people.
pub fn readings_of(rig: &Rig, word: &str, low: &str, high: &str) -> Result<OutputReadings, String> {
    let Some(index) = find_output(rig, word) else {
        let names: Vec<&str> = rig.outputs.iter().map(|output| output.signal.name()).collect();
        return Err(format!("the rig has no output '{}'; it has {}", word.trim().escape_debug(), names.join(", ")));
    };
    if rig.outputs.get(index).is_some_and(|output| !output.is_measured()) {
        return Err(format!("{} is the reference, 0 V by definition: it is not measured", word.trim().escape_debug()));
    }
    let unit = rig.outputs.get(index).map_or("mV", |output| output.signal.connector_unit());
    Ok((index, [parse_reading(low, unit)?, parse_reading(high, unit)?]))
}

/// Readings of a table with the columns `output`, `low` and `high`, separated by semicolons, tabs or commas; of the last,
/// decimals have points. Lines that start with `#` and empty ones do not count.
///
/// # Errors
/// A message with the number of the first line that is not such a row.
pub fn parse_table(rig: &Rig, text: &str) -> Result<Vec<OutputReadings>, String> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut lines =
        text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty() && !line.trim_start().starts_with('#'));
    let (_, head) = lines.next().ok_or("the table is empty")?;
    let separator = ['\t', ';', ','].into_iter().find(|c| head.contains(*c)).unwrap_or(',');
    let cells = |line: &str| -> Vec<String> {
        line.split(separator).map(|cell| cell.trim().trim_matches('"').trim().to_owned()).collect()
    };
    let heads: Vec<String> = cells(head).iter().map(|cell| cell.to_lowercase()).collect();
    let column = |name: &str| {
        heads
            .iter()
            .position(|head| head == name)
            .ok_or_else(|| format!("the table has no column '{name}'; it needs output, low, high"))
    };
    let columns = [column("output")?, column("low")?, column("high")?];
    let mut found: Vec<OutputReadings> = Vec::new();
    for (number, line) in lines {
        let cells = cells(line);
        let number = number + 1;
        if cells.len() != heads.len() {
            let hint = if separator == ',' { "; decimal commas need semicolons between the columns" } else { "" };
            return Err(format!("line {number} has {} cells and the head {}{hint}", cells.len(), heads.len()));
        }
        let cell = |i: usize| cells.get(columns[i]).map_or("", String::as_str);
        let row = readings_of(rig, cell(0), cell(1), cell(2)).map_err(|what| format!("line {number}: {what}"))?;
        if found.iter().any(|other| other.0 == row.0) {
            return Err(format!("line {number}: a second row for {}", cell(0)));
        }
        found.push(row);
    }
    Ok(found)
}

/// A resistance such as 10000000, 10M or 10 Mohm, in ohm.
///
/// # Errors
/// The range of a meter, for people.
pub fn resistance(text: &str) -> Result<f64, String> {
    let number = text.trim().trim_end_matches("ohm").trim_end();
    let (number, factor) = [('k', 1e3), ('M', 1e6), ('G', 1e9)]
        .iter()
        .find_map(|(letter, factor)| Some((number.strip_suffix(*letter)?, *factor)))
        .unwrap_or((number, 1.0));
    let ohm = number.trim().parse::<f64>().map(|number| number * factor);
    ohm.ok().filter(|ohm| (1e3..=1e12).contains(ohm)).ok_or_else(|| "a meter has 1k to 1000G ohm, as 10M".to_owned())
}

/// Output, low and high reading as written; a unit after the high one may stand for both.
///
/// # Errors
/// The form of readings, for people.
pub fn as_written(text: &str) -> Result<(String, String, String), String> {
    let expected = || "readings are OUTPUT=LOW/HIGH, as RA=-4.69/4.71 or 'RA=-4,69 / 4,71 mV'".to_owned();
    let (output, readings) = text.split_once('=').ok_or_else(expected)?;
    let (low, high) = readings.split_once('/').ok_or_else(expected)?;
    let unit = |text: &str| text.trim_start_matches(|c: char| !c.is_alphabetic()).to_owned();
    let low = if unit(low).is_empty() { format!("{low}{}", unit(high)) } else { low.to_owned() };
    Ok((output.to_owned(), low, high.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::parse;

    fn rig() -> Rig {
        let text = r#"{"version": 1, "converter": {"bits": 16, "low_v": -2.5, "high_v": 2.5, "coding": "offset-binary"},
          "outputs": [{"electrode": "RA", "attenuation": 500}, {"electrode": "C2", "attenuation": 500},
            {"respiration": "resistor", "base_ohm": 1000, "ohm_per_v": 2}]}"#;
        parse(text.as_bytes(), "r").unwrap()
    }

    #[test]
    fn readings_as_people_write_them() {
        let mv = |text| parse_reading(text, "mV");
        for text in ["-3.75", "-3,75", " -3,75 mV", "\u{2212}3.75mV", "-3750 uV", "-3750µV", "-0,00375 V"] {
            assert!((mv(text).unwrap() + 3.75).abs() < 1e-12, "{text}");
        }
        assert_eq!(mv("+.5"), Ok(0.5));
        assert_eq!(parse_reading("1,002 kΩ", "ohm"), Ok(1002.0));
        for text in ["", "mV", "-", "1.2.3", "1,234.5", "3.75 mA", "3.75 mV x", "1e3", "NaN", "inf", "3-4", "3 ohm"] {
            assert!(mv(text).is_err(), "{text}");
        }
        assert!(mv("1,234.5").unwrap_err().contains("thousands"));
        assert!(mv("3 kohm").unwrap_err().contains("not in mV"));
    }

    #[test]
    fn outputs_by_either_label() {
        for (word, index) in [
            ("ra", Some(0)),
            ("R", Some(0)),
            ("V2", Some(1)),
            ("c2", Some(1)),
            ("respiration", Some(2)),
            ("", None),
            ("LA", None),
        ] {
            assert_eq!(find_output(&rig(), word), index, "{word}");
        }
        assert!(readings_of(&rig(), "LA", "1", "2").unwrap_err().contains("it has RA, V2, respiration"));
        let text = r#"{"version": 1, "converter": {"bits": 16, "low_v": -2.5, "high_v": 2.5, "coding": "offset-binary"},
          "outputs": [{"electrode": "RL", "attenuation": 500}]}"#;
        let reference = parse(text.as_bytes(), "r").unwrap();
        assert!(readings_of(&reference, "N", "1", "2").unwrap_err().contains("not measured"));
    }

    #[test]
    fn tables_with_points_and_commas() {
        let expected = vec![(0, [-3.76, 3.71]), (2, [997.5, 1002.5])];
        for text in [
            "output,low,high\nRA,-3.76,3.71\nrespiration,997.5,1002.5 ohm\n",
            "\u{feff}# bench 4\noutput;low;high;note\r\nR;-3,76;3,71;cold\r\n\r\nRespiration;997,5;1,0025 kohm;\r\n",
            "high\toutput\tlow\n3.71\tRA\t-3.76\n1002.5\trespiration\t997.5",
        ] {
            assert_eq!(parse_table(&rig(), text).as_ref(), Ok(&expected), "{text}");
        }
        let wrong = |text| parse_table(&rig(), text).unwrap_err();
        assert!(
            wrong("output,low,high\nRA,-3,76,3,71").contains("line 2 has 5 cells"),
            "decimal commas between commas"
        );
        assert!(wrong("output,low\nRA,1").contains("'high'"));
        assert!(wrong("output,low,high\nRA,1,2\nR,1,2").contains("second row"));
        assert!(wrong("output,low,high\nV9,1,2").contains("no output 'V9'"));
        assert!(wrong("output,low,high\nRA,one,2").contains("line 2: 'one'"));
        assert!(wrong("").contains("empty"));
    }
}
