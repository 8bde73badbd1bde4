//! Tables of plain text.

use pulsewright_text::fit;
use std::io::{self, Write};

/// Columns of foreign words too, as wide as their widest cell, two spaces between; nothing after the last.
pub fn write_table(out: &mut impl Write, heads: &[&str], rows: &[Vec<String>]) -> io::Result<()> {
    let rows: Vec<Vec<String>> =
        rows.iter().map(|row| row.iter().map(|cell| fit::line(cell).into_owned()).collect()).collect();
    let heads: Vec<String> = heads.iter().map(|head| (*head).to_owned()).collect();
    let width = |column: usize| {
        rows.iter().chain([&heads]).filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max()
    };
    let widths: Vec<usize> = (0..heads.len()).map(|column| width(column).unwrap_or(0)).collect();
    let mut line = String::new();
    for row in [&heads].into_iter().chain(&rows) {
        line.clear();
        for (cell, width) in row.iter().zip(&widths) {
            line.push_str(cell);
            // Blanks are counted by hand: a width in a format string ends at 65 535.
            line.extend(std::iter::repeat_n(' ', width - cell.chars().count() + 2));
        }
        writeln!(out, "{}", line.trim_end())?;
    }
    Ok(())
}
