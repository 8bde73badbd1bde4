//! Tables of plain text.

use std::io::{self, Write};

/// Columns as wide as their widest cell, two spaces between; nothing after the last.
pub fn write_table(out: &mut impl Write, heads: &[&str], rows: &[Vec<String>]) -> io::Result<()> {
    let heads: Vec<String> = heads.iter().map(|head| (*head).to_owned()).collect();
    let width = |column: usize| {
        rows.iter().chain([&heads]).filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max()
    };
    let widths: Vec<usize> = (0..heads.len()).map(|column| width(column).unwrap_or(0)).collect();
    for row in [&heads].into_iter().chain(rows) {
        let line: Vec<String> = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:width$}")).collect();
        writeln!(out, "{}", line.join("  ").trim_end())?;
    }
    Ok(())
}
