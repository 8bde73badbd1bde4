//! Tables of text cells: CSV and JSON before their columns get a meaning.
//!
//! The text is held once; rows are made of it one at a time, so that a table costs little more memory than its file.

mod json;

use crate::fit;
use csv::StringRecord;
use std::borrow::Cow;
use std::ops::Range;

/// Most rows of a table: a month of beats.
pub const MOST_ROWS: u64 = 4_000_000;

/// Longest row, bytes.
const LONGEST_ROW: usize = 64 << 10;

/// A mistake in a content, and its place.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{}{what}", place.before())]
pub struct TableProblem {
    /// Where.
    pub place: InputPosition,
    /// The mistake, and the allowed form.
    pub what: String,
}

/// A place in an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InputPosition {
    /// Offset in a binary file.
    Byte(usize),
    /// Line of a text, from 1.
    Line(u64),
    /// Line and column of a text, from 1.
    LineColumn(usize, usize),
    /// Item of a JSON array, from 1.
    Item(u64),
    /// The input as a whole.
    Whole,
}

impl std::fmt::Display for InputPosition {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            InputPosition::Byte(byte) => write!(f, "byte {byte}"),
            InputPosition::Line(line) => write!(f, "line {line}"),
            InputPosition::LineColumn(line, column) => write!(f, "line {line}, column {column}"),
            InputPosition::Item(item) => write!(f, "item {item}"),
            InputPosition::Whole => write!(f, "the whole input"),
        }
    }
}

impl InputPosition {
    /// The words before a problem; none when it is one of the whole input.
    fn before(self) -> String {
        if self == InputPosition::Whole { String::new() } else { format!("{self}: ") }
    }
}

impl TableProblem {
    /// A problem at a place; the text is made fit for one line.
    pub fn new(place: InputPosition, what: impl Into<String>) -> TableProblem {
        TableProblem { place, what: fit::message(&what.into()) }
    }
}

/// Cells of text under column names.
#[derive(Clone, Debug)]
pub struct Table {
    /// Column names; `None` when the first row already holds numbers.
    pub columns: Option<Vec<String>>,
    /// True where `0,5` may mean one half (the delimiter is not the comma).
    pub decimal_comma: bool,
    text: String,
    body: Body,
    empty: bool,
}

/// Where the rows are in the text.
#[derive(Clone, Debug)]
enum Body {
    Nothing,
    Delimited(u8),
    Spaced,
    /// A JSON list of numbers or objects.
    List(Range<usize>),
    /// JSON lists of equal length, one for each column.
    Columns(Vec<Range<usize>>),
}

/// One row.
#[derive(Debug)]
pub struct TableRow<'r> {
    /// Where it stands.
    pub place: InputPosition,
    cells: &'r StringRecord,
}

impl<'r> TableRow<'r> {
    /// How many cells it has; short rows simply have fewer.
    pub fn width(&self) -> usize {
        self.cells.len()
    }

    /// A cell without surrounding space; empty if the row is too short.
    pub fn cell(&self, column: usize) -> &'r str {
        self.cells.get(column).map_or("", str::trim)
    }
}

impl Table {
    /// First column that has one of the names (any case); `None` if there is none.
    pub fn column(&self, names: &[&str]) -> Option<usize> {
        let columns = self.columns.as_ref()?;
        names.iter().find_map(|name| columns.iter().position(|column| column.trim().eq_ignore_ascii_case(name)))
    }

    /// Column of a name that must be there.
    ///
    /// # Errors
    /// Which columns there are.
    pub fn required(&self, names: &[&str]) -> Result<usize, TableProblem> {
        self.column(names).ok_or_else(|| {
            TableProblem::new(
                InputPosition::Whole,
                format!("no column {}; {}", names.join(" or "), self.columns_listed()),
            )
        })
    }

    /// Which columns there are, for messages.
    pub fn columns_listed(&self) -> String {
        const MOST: usize = 20;
        match &self.columns {
            None => "there is no header line".into(),
            Some(columns) if columns.is_empty() => "the table is empty".into(),
            Some(columns) => {
                let names: Vec<Cow<'_, str>> =
                    columns.iter().take(MOST).map(|name| fit::cut(name.trim(), 40)).collect();
                format!("columns are {}{}", names.join(", "), if columns.len() > MOST { ", ..." } else { "" })
            }
        }
    }

    /// Whether there is no row.
    pub fn is_empty(&self) -> bool {
        self.empty
    }

    /// Whether the text is empty: neither a row nor a column name.
    pub fn is_blank(&self) -> bool {
        self.empty && self.columns.as_ref().is_none_or(Vec::is_empty)
    }

    /// A cell as a finite number; `None` if the cell is empty.
    ///
    /// # Errors
    /// When it is anything else.
    pub fn number(&self, row: &TableRow<'_>, column: usize) -> Result<Option<f64>, TableProblem> {
        let cell = row.cell(column);
        if cell.is_empty() {
            return Ok(None);
        }
        let parsed = if self.decimal_comma { cell.replace(',', ".").parse() } else { cell.parse::<f64>() };
        match parsed {
            Ok(value) if value.is_finite() => Ok(Some(value)),
            _ => {
                let name = self.columns.as_ref().and_then(|columns| columns.get(column));
                let name = name.map(|name| format!(" in column {}", fit::cut(name.trim(), 40))).unwrap_or_default();
                Err(TableProblem::new(row.place, format!("'{}'{name} is not a number", fit::cut(cell, 40))))
            }
        }
    }

    /// A cell that must be a finite number.
    ///
    /// # Errors
    /// When it is not.
    pub fn required_number(&self, row: &TableRow<'_>, column: usize) -> Result<f64, TableProblem> {
        self.number(row, column)?.ok_or_else(|| TableProblem::new(row.place, "a number is missing"))
    }

    /// Gives every row to `each`, in file order.
    ///
    /// # Errors
    /// The error of `each`, broken cells, and more than [`MOST_ROWS`] rows.
    pub fn rows(&self, mut each: impl FnMut(&TableRow<'_>) -> Result<(), TableProblem>) -> Result<(), TableProblem> {
        let mut count = 0;
        let mut counted = |row: &TableRow<'_>| {
            count += 1;
            if count > MOST_ROWS {
                let what = format!("more than {MOST_ROWS} rows; split the file");
                return Err(TableProblem::new(row.place, what));
            }
            each(row)
        };
        let mut header = self.columns.is_some();
        let mut below_header = |row: &TableRow<'_>| if std::mem::take(&mut header) { Ok(()) } else { counted(row) };
        match &self.body {
            Body::Nothing => Ok(()),
            Body::Delimited(delimiter) => delimited(&self.text, *delimiter, &mut below_header),
            Body::Spaced => spaced(&self.text, &mut below_header),
            Body::List(list) => json::list_rows(&self.text, list, self.columns.as_deref(), &mut counted),
            Body::Columns(lists) => json::column_rows(&self.text, lists, &mut counted),
        }
    }

    fn new(text: String, columns: Option<Vec<String>>, decimal_comma: bool, body: Body) -> Result<Table, TableProblem> {
        let mut table = Table { columns, decimal_comma, text, body, empty: true };
        let mut any = false;
        match table.rows(|row| {
            any = true;
            Err(TableProblem { place: row.place, what: String::new() })
        }) {
            Err(problem) if !any => return Err(problem),
            _ => table.empty = !any,
        }
        Ok(table)
    }
}

/// Gives rows on until one of them is refused.
type Each<'e> = &'e mut dyn FnMut(&TableRow<'_>) -> Result<(), TableProblem>;

/// Reads bytes as a table: JSON when `is_json` is true, or when it is `None` and they look like JSON.
///
/// # Errors
/// [`parse`], [`parse_json`], and bytes that are not UTF-8 text.
pub fn read(bytes: Vec<u8>, is_json: Option<bool>, delimiter: Option<u8>) -> Result<Table, TableProblem> {
    let text = String::from_utf8(bytes).map_err(|error| {
        let valid = error.utf8_error().valid_up_to();
        TableProblem::new(InputPosition::Byte(valid), "not UTF-8 text")
    })?;
    let text = match text.strip_prefix('\u{feff}') {
        Some(rest) => rest.to_owned(),
        None => text,
    };
    if is_json.unwrap_or_else(|| text.trim_start().starts_with(['[', '{'])) {
        parse_json(text)
    } else {
        parse(text, delimiter)
    }
}

/// Reads a JSON text.
///
/// Accepted: a list of numbers; a list of objects; an object of equally long lists; an object in which one member is such
/// a list (`beats`, `pulses`, `breaths`, `readings`, `alarms`, `episodes`, `annotations`).
///
/// # Errors
/// Broken JSON and other shapes, at their place.
pub fn parse_json(text: impl Into<String>) -> Result<Table, TableProblem> {
    json::parse(text.into())
}

/// Reads delimited text.
///
/// Lines starting with `#` and blank lines do not count. The delimiter is the one given, else the tab,
/// semicolon, comma or bar found in the first line that counts, else white space.
/// A first line without any number is the header.
///
/// # Errors
/// Control characters, rows of more than 64 KiB, broken quoting.
pub fn parse(text: impl Into<String>, delimiter: Option<u8>) -> Result<Table, TableProblem> {
    let text = text.into();
    let first = text.lines().find(|line| !line.trim().is_empty() && !line.starts_with('#'));
    let delimiter =
        delimiter.or_else(|| b"\t;,|".iter().copied().find(|d| first.is_some_and(|f| f.as_bytes().contains(d))));
    check_rows(&text, delimiter)?;
    if first.is_none() {
        return Table::new(text, Some(Vec::new()), false, Body::Nothing);
    }
    let decimal_comma = delimiter != Some(b',');
    let body = delimiter.map_or(Body::Spaced, Body::Delimited);
    let mut table = Table { columns: None, decimal_comma, text, body, empty: true };
    let mut columns = None;
    let mut seen = false;
    let looked = table.rows(|row| {
        let number = |cell: &str| cell.trim().replace(',', ".").parse::<f64>().is_ok();
        seen = true;
        if !row.cells.iter().any(number) {
            columns = Some(row.cells.iter().map(str::to_owned).collect());
        }
        // One row is enough.
        Err(TableProblem { place: row.place, what: String::new() })
    });
    match looked {
        Err(problem) if !seen => return Err(problem),
        _ => {}
    }
    table.columns = columns;
    Table::new(table.text, table.columns, decimal_comma, table.body)
}

/// Refuses control characters, and rows without end, whose cells would fill the memory.
fn check_rows(text: &str, delimiter: Option<u8>) -> Result<(), TableProblem> {
    let (mut line, mut row_start, mut quoted, mut cell_start) = (1_u64, 0, false, true);
    for (at, byte) in text.bytes().enumerate() {
        match byte {
            b'\n' => {
                line += 1;
                if !quoted {
                    (row_start, cell_start) = (at + 1, true);
                }
                continue;
            }
            // A quote opens only at the start of a cell; a doubled one closes and opens again.
            b'"' if delimiter.is_some() && (quoted || cell_start) => quoted = !quoted,
            0..=8 | 11..=31 | 127 if byte != b'\r' => {
                let what = format!("holds the control character {byte:#04x}: not a table of text");
                return Err(TableProblem::new(InputPosition::Line(line), what));
            }
            _ => {}
        }
        // A quote that was closed may go on at once.
        cell_start = Some(byte) == delimiter || (byte == b'"' && !quoted);
        if at - row_start > LONGEST_ROW {
            let what = format!("a row of more than {} KiB", LONGEST_ROW >> 10);
            return Err(TableProblem::new(InputPosition::Line(line), what));
        }
    }
    Ok(())
}

fn delimited(text: &str, delimiter: u8, each: Each<'_>) -> Result<(), TableProblem> {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .comment(Some(b'#'))
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes());
    let mut cells = StringRecord::new();
    loop {
        let more = reader.read_record(&mut cells).map_err(|error| {
            let place = error.position().map_or(InputPosition::Whole, |position| InputPosition::Line(position.line()));
            TableProblem::new(place, error.to_string())
        })?;
        if !more {
            return Ok(());
        }
        if !cells.iter().all(|cell| cell.trim().is_empty()) {
            let place = cells.position().map_or(InputPosition::Whole, |position| InputPosition::Line(position.line()));
            each(&TableRow { place, cells: &cells })?;
        }
    }
}

fn spaced(text: &str, each: Each<'_>) -> Result<(), TableProblem> {
    let mut cells = StringRecord::new();
    for (index, line) in text.lines().enumerate() {
        if line.trim().is_empty() || line.starts_with('#') {
            continue;
        }
        cells.clear();
        line.split_whitespace().for_each(|cell| cells.push_field(cell));
        each(&TableRow { place: InputPosition::Line(index as u64 + 1), cells: &cells })?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(super) fn cells(table: &Table) -> Vec<Vec<String>> {
        let mut all = Vec::new();
        table
            .rows(|row| {
                all.push((0..row.width()).map(|column| row.cell(column).to_owned()).collect());
                Ok(())
            })
            .expect("reads");
        all
    }

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
            let mut count = 0;
            table
                .rows(|row| {
                    count += 1;
                    assert_eq!(table.number(row, 0), Ok(Some(0.5)), "{text}");
                    assert_eq!(row.cell(1), "N");
                    Ok(())
                })
                .expect("reads");
            assert_eq!((count, table.is_empty()), (1, false));
        }
        let bare = parse("1\n2\n3\n", None).expect("reads");
        assert_eq!((bare.columns.clone(), cells(&bare).len()), (None, 3));
        assert!(parse("", None).expect("reads").is_blank());
        let header = parse("time_s,code\n", None).expect("reads");
        assert!(header.is_empty() && !header.is_blank());
    }

    #[test]
    fn wrong_numbers_say_where() {
        let table = parse("time_s\n0.5\nNaN\n1e999\nx\n", None).expect("reads");
        let mut found = Vec::new();
        table
            .rows(|row| {
                found.push((row.place, table.number(row, 0).map_err(|problem| problem.what)));
                Ok(())
            })
            .expect("reads");
        assert_eq!(found.first(), Some(&(InputPosition::Line(2), Ok(Some(0.5)))));
        for (place, number) in found.into_iter().skip(1) {
            assert!(number.expect_err("not a number").contains("time_s"), "{place}");
        }
    }

    #[test]
    fn what_is_no_table_is_refused() {
        assert_eq!(parse("time_s\n1\n\0\0\n", None).expect_err("NULs").place, InputPosition::Line(3));
        assert_eq!(parse("\0\0\0", None).expect_err("NULs").place, InputPosition::Line(1));
        let commas = format!("time_s,code\n1,N\n{}", ",".repeat(1 << 20));
        assert!(parse(commas, None).expect_err("wide").what.contains("64 KiB"));
        let chained = format!("a,b\n{}", "\"\n\",\",\n\",".repeat(1 << 16));
        assert!(parse(chained, None).expect_err("wide").what.contains("64 KiB"));
        // An inch mark within a cell opens nothing.
        let inches = format!("what,n\n{}", "a 5\" tube,1\n".repeat(20_000));
        assert_eq!(cells(&parse(inches, None).expect("reads")).len(), 20_000);
        assert_eq!(cells(&parse("a,b\n\"x\ny\",\"say \"\"z\"\"\"\n", None).expect("reads")), [["x\ny", "say \"z\""]]);
    }

    #[test]
    fn rows_end() {
        let table = parse("0.5,N\n".repeat(MOST_ROWS as usize + 1), None).expect("reads");
        let mut count = 0;
        let problem = table.rows(|_| {
            count += 1;
            Ok(())
        });
        assert_eq!((count, problem.expect_err("ends").place), (MOST_ROWS, InputPosition::Line(MOST_ROWS + 1)));
    }
}
