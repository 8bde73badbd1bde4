//! Tables of text cells: what CSV and JSON become before their columns get a meaning.

use csv::StringRecord;

use super::{Place, Problem};

/// Cells of text under column names.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// Column names; `None` when the first row already holds numbers.
    pub columns: Option<Vec<String>>,
    /// Rows in file order.
    pub rows: Vec<Row>,
    /// True where `0,5` may mean one half (the delimiter is not the comma).
    pub decimal_comma: bool,
}

/// One row.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Where it stands.
    pub place: Place,
    /// Its cells, in one piece of text, as a day has a million; short rows simply have fewer.
    pub(super) cells: StringRecord,
}

impl Row {
    /// How many cells it has.
    pub fn width(&self) -> usize {
        self.cells.len()
    }

    /// A cell without surrounding space; empty if the row is too short.
    pub fn cell(&self, column: usize) -> &str {
        self.cells.get(column).map_or("", |cell| cell.trim())
    }
}

impl Table {
    /// First column that has one of the names (any case); `None` if there is none.
    pub fn column(&self, names: &[&str]) -> Option<usize> {
        let columns = self.columns.as_ref()?;
        names.iter().find_map(|name| columns.iter().position(|column| column.trim().eq_ignore_ascii_case(name)))
    }

    /// Column of a name that must be there.
    pub fn required(&self, names: &[&str]) -> Result<usize, Problem> {
        self.column(names).ok_or_else(|| {
            let have = match &self.columns {
                Some(columns) => format!("columns are {}", columns.join(", ")),
                None => "there is no header line".into(),
            };
            Problem::new(Place::Whole, format!("no column {}; {have}", names.join(" or ")))
        })
    }

    /// A cell as a finite number; `None` if the cell is empty.
    pub fn number(&self, row: &Row, column: usize) -> Result<Option<f64>, Problem> {
        let cell = row.cell(column);
        if cell.is_empty() {
            return Ok(None);
        }
        let parsed = if self.decimal_comma { cell.replace(',', ".").parse() } else { cell.parse::<f64>() };
        match parsed {
            Ok(value) if value.is_finite() => Ok(Some(value)),
            _ => {
                let name = self.columns.as_ref().and_then(|columns| columns.get(column));
                let name = name.map(|name| format!(" in column {}", name.trim())).unwrap_or_default();
                Err(Problem::new(row.place, format!("'{}'{name} is not a number", shortened(cell))))
            }
        }
    }

    /// A cell that must be a finite number.
    pub fn required_number(&self, row: &Row, column: usize) -> Result<f64, Problem> {
        self.number(row, column)?.ok_or_else(|| Problem::new(row.place, "a number is missing"))
    }
}

/// The cell, cut where it would flood a message.
pub fn shortened(text: &str) -> String {
    const LONGEST: usize = 40;
    if text.chars().count() <= LONGEST {
        return text.into();
    }
    text.chars().take(LONGEST).chain("...".chars()).collect()
}

/// Reads delimited text.
///
/// Lines starting with `#` and blank lines do not count. The delimiter is the one given, else the tab,
/// semicolon, comma or bar found in the first line that counts, else white space.
/// A first line without any number is the header.
pub fn parse(text: &str, delimiter: Option<u8>) -> Result<Table, Problem> {
    let first = text.lines().find(|line| !line.trim().is_empty() && !line.starts_with('#'));
    let Some(first) = first else {
        return Ok(Table { columns: Some(Vec::new()), ..Table::default() });
    };
    let delimiter = delimiter.or_else(|| b"\t;,|".iter().copied().find(|d| first.as_bytes().contains(d)));
    let rows = match delimiter {
        Some(delimiter) => delimited(text, delimiter)?,
        None => spaced(text),
    };
    let mut rows = rows.into_iter();
    let decimal_comma = delimiter != Some(b',');
    let mut table = Table { columns: None, rows: Vec::new(), decimal_comma };
    if let Some(row) = rows.next() {
        let number = |cell: &str| cell.trim().replace(',', ".").parse::<f64>().is_ok();
        if row.cells.iter().any(number) {
            table.rows.push(row);
        } else {
            table.columns = Some(row.cells.iter().map(str::to_owned).collect());
        }
    }
    table.rows.extend(rows);
    Ok(table)
}

fn delimited(text: &str, delimiter: u8) -> Result<Vec<Row>, Problem> {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .comment(Some(b'#'))
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| {
            let place = error.position().map_or(Place::Whole, |position| Place::Line(position.line()));
            Problem::new(place, error.to_string())
        })?;
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        let place = record.position().map_or(Place::Whole, |position| Place::Line(position.line()));
        rows.push(Row { place, cells: record });
    }
    Ok(rows)
}

fn spaced(text: &str) -> Vec<Row> {
    let lines = text.lines().enumerate();
    let lines = lines.filter(|(_, line)| !line.trim().is_empty() && !line.starts_with('#'));
    lines
        .map(|(index, line)| Row { place: Place::Line(index as u64 + 1), cells: line.split_whitespace().collect() })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn delimiters_comments_and_headers() {
        for text in [
            "# note\ntime_s,code\n0.5,N\n",
            "time_s;code\n0,5;N\n",
            "time_s\tcode\n0.5\tN",
            "time_s code\n\n 0.5   N\n",
            "time_s|code\n0.5|N",
        ] {
            let table = parse(text, None).expect("reads");
            assert_eq!(table.columns.as_deref(), Some(&["time_s".to_owned(), "code".to_owned()][..]), "{text}");
            assert_eq!(table.number(&table.rows[0], 0), Ok(Some(0.5)), "{text}");
            assert_eq!(table.rows[0].cell(1), "N");
        }
        let bare = parse("1\n2\n3\n", None).expect("reads");
        assert_eq!((bare.columns, bare.rows.len()), (None, 3));
    }

    #[test]
    fn wrong_numbers_say_where() {
        let table = parse("time_s\n0.5\nNaN\n1e999\nx\n", None).expect("reads");
        assert_eq!(table.number(&table.rows[0], 0), Ok(Some(0.5)));
        for (row, line) in [(1, 3), (2, 4), (3, 5)] {
            let problem = table.number(&table.rows[row], 0).expect_err("not a number");
            assert_eq!(problem.place, Place::Line(line));
            assert!(problem.what.contains("time_s"));
        }
    }
}
