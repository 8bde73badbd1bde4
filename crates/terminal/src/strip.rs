//! Strips of the last seconds as braille dots.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Seconds that a strip shows.
pub const STRIP_S: u32 = 6;

/// Dots of a character: two columns of four.
const DOTS: [[u32; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];

/// Draws samples over the whole area, the newest at the right; each column of dots reaches from the lowest to the highest sample of
/// its time and to the column before. `range` is what the area spans at least; it grows to hold every sample.
pub fn draw(samples: &[f32], range: (f32, f32), area: Rect, style: Style, buffer: &mut Buffer) {
    let (columns, rows) = (usize::from(area.width) * 2, usize::from(area.height) * 4);
    if columns == 0 || rows == 0 || samples.is_empty() {
        return;
    }
    let low = samples.iter().copied().fold(range.0, f32::min);
    let high = samples.iter().copied().fold(range.1, f32::max);
    let row = |sample: f32| {
        let up = (sample - low) / (high - low).max(f32::MIN_POSITIVE);
        (((1.0 - up) * (rows - 1) as f32).round().max(0.0) as usize).min(rows - 1)
    };
    let mut cells = vec![0_u32; usize::from(area.width) * usize::from(area.height)];
    let mut before: Option<usize> = None;
    for column in 0..columns {
        let from = column * samples.len() / columns;
        let to = ((column + 1) * samples.len() / columns).max(from + 1).min(samples.len());
        let Some(part) = samples.get(from..to).filter(|part| !part.is_empty()) else { continue };
        let (mut top, mut bottom) =
            part.iter().map(|sample| row(*sample)).fold((rows, 0), |(top, bottom), at| (top.min(at), bottom.max(at)));
        if let Some(before) = before {
            (top, bottom) = (top.min(before + 1), bottom.max(before.saturating_sub(1)));
        }
        before = part.last().map(|sample| row(*sample));
        for dot in top..=bottom.min(rows - 1) {
            let at = dot / 4 * usize::from(area.width) + column / 2;
            if let Some(cell) = cells.get_mut(at) {
                *cell |= DOTS[column % 2][dot % 4];
            }
        }
    }
    for (at, dots) in cells.iter().enumerate().filter(|(_, dots)| **dots > 0) {
        let (x, y) = (at % usize::from(area.width), at / usize::from(area.width));
        if let (Some(cell), Some(symbol)) =
            (buffer.cell_mut((area.x + x as u16, area.y + y as u16)), char::from_u32(0x2800 + dots))
        {
            cell.set_char(symbol).set_style(style);
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
