//! Headers of records: the line of each signal.

/// A signal of a record, as its line in the header says.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct SignalLine {
    /// The file that holds it.
    pub file: String,
    /// The format of its samples.
    pub format: u32,
    /// Bytes before the first sample of the file.
    pub offset: u64,
    /// Units of the converter in a unit of the channel.
    pub gain: f64,
    /// The converter's value at zero.
    pub baseline: i32,
    /// Unit; mV where the line gives none.
    pub unit: String,
    /// Sum of all samples, 16 bits, where the line says it.
    pub sum: Option<i16>,
    /// Its name.
    pub name: String,
}

/// Units of the converter in a millivolt where the line says none or 0: the format's own value.
const USUAL_GAIN: f64 = 200.0;

/// The lines of the signals below a record line that announces so many.
pub(crate) fn signals(text: &str) -> Result<Vec<SignalLine>, String> {
    let mut lines = text.lines().filter(|line| !line.trim().is_empty() && !line.starts_with('#'));
    let record = lines.next().ok_or("no record line")?;
    let mut fields = record.split_whitespace();
    if fields.next().is_some_and(|name| name.contains('/')) {
        return Err("a record of several segments; name one of them".to_owned());
    }
    let count: usize = fields.next().and_then(|count| count.parse().ok()).ok_or("no number of signals")?;
    let found: Result<Vec<SignalLine>, String> = lines.take(count).map(signal).collect();
    let found = found?;
    match found.len() {
        0 => Err("a record without signals".to_owned()),
        lines if lines < count => Err(format!("{count} signals announced, {lines} described")),
        _ => Ok(found),
    }
}

/// A number at the start of a text, and what follows it.
fn leading<T: std::str::FromStr>(text: &str) -> Option<(T, &str)> {
    let end =
        text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+' | 'e' | 'E'))).unwrap_or(text.len());
    let (number, rest) = text.split_at_checked(end)?;
    Some((number.parse().ok()?, rest))
}

fn signal(line: &str) -> Result<SignalLine, String> {
    let mut fields = line.split_whitespace();
    let wrong = |what: &str| format!("signal line '{line}': {what}");
    let file = fields.next().ok_or_else(|| wrong("no file"))?;
    let form = fields.next().ok_or_else(|| wrong("no format"))?;
    let digits = form.find(|c: char| !c.is_ascii_digit()).unwrap_or(form.len());
    let (format, more) = form.split_at(digits);
    let format = format.parse().map_err(|_| wrong("no format"))?;
    if more.starts_with(['x', ':']) || more.contains(':') {
        return Err(wrong("several samples a frame and skewed signals are not read"));
    }
    let offset = match more.strip_prefix('+') {
        Some(offset) => offset.parse().map_err(|_| wrong("no byte offset after +"))?,
        None => 0,
    };
    let (mut gain, mut unit, mut baseline) = (USUAL_GAIN, "mV".to_owned(), None);
    if let Some(field) = fields.next() {
        let (number, rest) = leading::<f64>(field).ok_or_else(|| wrong("no gain"))?;
        if number != 0.0 {
            gain = number;
        }
        let (in_brackets, rest) = match rest.strip_prefix('(') {
            Some(rest) => rest.split_once(')').ok_or_else(|| wrong("an open bracket after the gain"))?,
            None => ("", rest),
        };
        if !in_brackets.is_empty() {
            baseline = Some(in_brackets.parse().map_err(|_| wrong("no baseline after the gain"))?);
        }
        if let Some(word) = rest.strip_prefix('/') {
            unit = word.to_owned();
        }
    }
    if !gain.is_finite() {
        return Err(wrong("no gain"));
    }
    let _resolution = fields.next();
    let zero: i32 = match fields.next() {
        Some(field) => field.parse().map_err(|_| wrong("no value of zero"))?,
        None => 0,
    };
    let _first = fields.next();
    let sum = match fields.next() {
        Some(field) => Some(field.parse::<i64>().map_err(|_| wrong("no check sum"))? as i16),
        None => None,
    };
    let _block = fields.next();
    let name: Vec<&str> = fields.collect();
    Ok(SignalLine {
        file: file.to_owned(),
        format,
        offset,
        gain,
        baseline: baseline.unwrap_or(zero),
        unit,
        sum,
        name: name.join(" "),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_of_signals() {
        let text = "# note\n100 2 360 650000\n100.dat 212 200 11 1024 995 -22131 0 MLII\nx.dat 16+512 16(-3)/mmHg 12 0 5 65535 0 ABP 1\n";
        let found = signals(text).expect("a header");
        assert_eq!((found[0].format, found[0].gain, found[0].baseline, found[0].sum), (212, 200.0, 1024, Some(-22131)));
        assert_eq!((found[0].name.as_str(), found[0].unit.as_str()), ("MLII", "mV"));
        assert_eq!((found[1].offset, found[1].gain, found[1].baseline, found[1].sum), (512, 16.0, -3, Some(-1)));
        assert_eq!((found[1].name.as_str(), found[1].unit.as_str()), ("ABP 1", "mmHg"));
        let bare = signals("r 1\nr.dat 80\n").expect("a header");
        assert_eq!((bare[0].gain, bare[0].baseline, bare[0].sum, bare[0].name.as_str()), (200.0, 0, None, ""));
    }

    #[test]
    fn broken_lines_say_why() {
        for (text, part) in [
            ("", "no record line"),
            ("r", "no number of signals"),
            ("r/3 2 360", "several segments"),
            ("r 0 360", "without signals"),
            ("r 2 360\nr.dat 16", "2 signals announced, 1 described"),
            ("r 1 360\nr.dat", "no format"),
            ("r 1 360\nr.dat 16x2", "several samples a frame"),
            ("r 1 360\nr.dat 16+x", "no byte offset"),
            ("r 1 360\nr.dat 16 x", "no gain"),
            ("r 1 360\nr.dat 16 200(3", "an open bracket"),
            ("r 1 360\nr.dat 16 200 11 z", "no value of zero"),
            ("r 1 360\nr.dat 16 200 11 0 0 s", "no check sum"),
        ] {
            let message = signals(text).expect_err(text);
            assert!(message.contains(part), "{text}: {message}");
        }
    }
}
