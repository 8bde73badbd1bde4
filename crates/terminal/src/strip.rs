//! Strips of the last seconds as braille dots.

use pulsewright_text::braille::{BLANK, BrailleTrace};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Seconds that a strip shows.
pub const STRIP_S: u32 = 6;

/// Draws samples over the whole area, the newest at the right. `range` is what the area spans at least; it grows to hold every sample.
pub fn draw(samples: &[f32], range: (f32, f32), area: Rect, style: Style, buffer: &mut Buffer) {
    let mut trace = BrailleTrace::new(usize::from(area.width), usize::from(area.height));
    let (columns, rows) = (trace.columns(), trace.rows());
    if area.is_empty() || samples.is_empty() {
        return;
    }
    let low = samples.iter().copied().fold(range.0, f32::min);
    let high = samples.iter().copied().fold(range.1, f32::max);
    let row = |sample: f32| {
        let up = (sample - low) / (high - low).max(f32::MIN_POSITIVE);
        (((1.0 - up) * (rows - 1) as f32).round().max(0.0) as usize).min(rows - 1)
    };
    for column in 0..columns {
        let from = column * samples.len() / columns;
        let to = ((column + 1) * samples.len() / columns).max(from + 1).min(samples.len());
        trace.draw(column, samples.get(from..to).unwrap_or_default().iter().map(|sample| row(*sample)));
    }
    for (y, line) in (area.y..).zip(trace.lines()) {
        for (x, symbol) in (area.x..).zip(line).filter(|(_, symbol)| *symbol != BLANK) {
            if let Some(cell) = buffer.cell_mut((x, y)) {
                cell.set_char(symbol).set_style(style);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_drawn_where_its_value_is() {
        let area = Rect::new(0, 0, 4, 2);
        for (value, row) in [(1.0, 0), (-1.0, 1)] {
            let mut buffer = Buffer::empty(area);
            draw(&[value; 100], (-1.0, 1.0), area, Style::new(), &mut buffer);
            for y in 0..2 {
                for x in 0..4 {
                    let drawn = buffer.cell((x, y)).is_some_and(|cell| cell.symbol() != " ");
                    assert_eq!(drawn, y == row, "{value} at {x}, {y}");
                }
            }
        }
    }
}
