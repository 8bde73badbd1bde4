//! A trace in dots of the braille block: two by four dots a character.

/// Dots of a character side by side, and one above the other.
const DOTS: (usize, usize) = (2, 4);

/// The first character of the block, which has no dot.
pub const BLANK: char = '\u{2800}';

/// A trace that is drawn column by column.
#[derive(Clone, Debug)]
pub struct BrailleTrace {
    width: usize,
    cells: Vec<u8>,
    /// The row of dots where the column before ended.
    before: Option<usize>,
}

impl BrailleTrace {
    /// An empty one, so many characters wide and high.
    pub fn new(width: usize, height: usize) -> BrailleTrace {
        BrailleTrace { width: width.max(1), cells: vec![0; width.max(1) * height], before: None }
    }

    /// Columns of dots.
    pub fn columns(&self) -> usize {
        DOTS.0 * self.width
    }

    /// Rows of dots.
    pub fn rows(&self) -> usize {
        DOTS.1 * (self.cells.len() / self.width)
    }

    /// Draws one column of dots: from the highest to the lowest of `samples`, which are rows counted from the top, so that no QRS is
    /// lost; and on to the dots beside the last sample of the column before. Dots outside are left out.
    pub fn draw(&mut self, column: usize, samples: impl Iterator<Item = usize>) {
        let joined = self.before.map_or((usize::MAX, 0), |row| (row + 1, row.saturating_sub(1)));
        let mut extent: Option<(usize, usize)> = None;
        for row in samples {
            let (top, bottom) = extent.unwrap_or((row, row));
            extent = Some((top.min(row), bottom.max(row)));
            self.before = Some(row);
        }
        let Some((top, bottom)) = extent else { return };
        if column >= self.columns() {
            return;
        }
        for row in top.min(joined.0)..=bottom.max(joined.1).min(self.rows().saturating_sub(1)) {
            if let Some(cell) = self.cells.get_mut(row / DOTS.1 * self.width + column / DOTS.0) {
                *cell |= bit(column % DOTS.0, row % DOTS.1);
            }
        }
    }

    /// The lines of characters, from the top.
    pub fn lines(&self) -> impl Iterator<Item = impl Iterator<Item = char>> {
        let character = |bits: &u8| char::from_u32(u32::from(BLANK) + u32::from(*bits)).unwrap_or(BLANK);
        self.cells.chunks(self.width).map(move |line| line.iter().map(character))
    }
}

/// Bit of a dot in a character.
fn bit(column: usize, row: usize) -> u8 {
    match (column, row) {
        (0, 3) => 0x40,
        (0, row) => 1 << row,
        (_, 3) => 0x80,
        (_, row) => 8 << row,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(trace: &BrailleTrace) -> Vec<String> {
        trace.lines().map(Iterator::collect).collect()
    }

    /// Dots by their numbers in the Unicode chart of the block (U+2800): 1 2 3 7 on the left, 4 5 6 8 on the right.
    #[test]
    fn dots_lie_where_the_block_has_them() {
        for (column, row, character) in [
            (0, 0, '\u{2801}'),
            (0, 1, '\u{2802}'),
            (0, 2, '\u{2804}'),
            (0, 3, '\u{2840}'),
            (1, 0, '\u{2808}'),
            (1, 1, '\u{2810}'),
            (1, 2, '\u{2820}'),
            (1, 3, '\u{2880}'),
        ] {
            let mut trace = BrailleTrace::new(1, 1);
            trace.draw(column, [row].into_iter());
            assert_eq!(text(&trace), [character.to_string()]);
        }
    }

    #[test]
    fn neighbouring_columns_are_joined_and_dots_outside_are_left_out() {
        let mut trace = BrailleTrace::new(1, 2);
        trace.draw(0, [0].into_iter());
        trace.draw(1, [7].into_iter());
        // The right column reaches from row 1, beside the dot in row 0, down to row 7.
        assert_eq!(text(&trace), ["\u{28b1}", "\u{28b8}"]);
        trace.draw(2, [0].into_iter());
        trace.draw(1, std::iter::empty());
        assert_eq!(text(&trace), ["\u{28b1}", "\u{28b8}"]);
        let mut outside = BrailleTrace::new(1, 2);
        outside.draw(0, [8, 900].into_iter());
        assert_eq!(text(&outside), ["\u{2800}", "\u{2800}"]);
    }
}
