//! The draw list: strokes and text in millimetres, y downwards, in the order in which they are painted.

/// A place on the sheet, mm from its top left corner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// To the right, mm.
    pub x_mm: f64,
    /// Downwards, mm.
    pub y_mm: f64,
}

/// A point from its two coordinates, mm.
pub const fn at(x_mm: f64, y_mm: f64) -> Point {
    Point { x_mm, y_mm }
}

/// The pen of a stroke. Few pens, which differ by width and dash, so that a black and white print reads the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pen {
    /// 1 mm grid.
    FineGrid,
    /// 5 mm grid.
    CoarseGrid,
    /// Edge of the paper and the ticks of its axes.
    Edge,
    /// A signal.
    Trace,
    /// Calibration mark.
    Calibration,
    /// Where a step starts.
    Step,
    /// Where a pacing device gives a pulse, from the truth.
    Pacing,
}

/// How a pen looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Style {
    /// Word for the pen in the SVG's style sheet.
    pub class: &'static str,
    /// Width, mm.
    pub width_mm: f64,
    /// Red, green, blue.
    pub colour: [u8; 3],
    /// Dash and gap, mm.
    pub dash_mm: Option<[f64; 2]>,
}

impl Pen {
    /// Every pen.
    pub const ALL: [Pen; 7] =
        [Pen::FineGrid, Pen::CoarseGrid, Pen::Edge, Pen::Trace, Pen::Calibration, Pen::Step, Pen::Pacing];

    /// How this pen looks.
    pub const fn style(self) -> Style {
        let (class, width_mm, colour, dash_mm) = match self {
            Pen::FineGrid => ("fine", 0.08, [0xd6, 0xe0, 0xdc], None),
            Pen::CoarseGrid => ("coarse", 0.2, [0x86, 0xa5, 0x9b], None),
            Pen::Edge => ("edge", 0.2, [0x6d, 0x69, 0x60], None),
            Pen::Trace => ("trace", 0.3, INK, None),
            Pen::Calibration => ("cal", 0.3, [0x46, 0x4b, 0x50], None),
            Pen::Step => ("step", 0.25, [0x3a, 0x4a, 0x58], Some([1.5, 1.0])),
            Pen::Pacing => ("pacing", 0.3, [0x3a, 0x4a, 0x58], None),
        };
        Style { class, width_mm, colour, dash_mm }
    }
}

/// Colour of traces and letters.
pub const INK: [u8; 3] = [0x17, 0x1a, 0x1e];

/// Connected points drawn with one pen, several at a time.
#[derive(Clone, Debug, PartialEq)]
pub struct Strokes {
    /// The pen.
    pub pen: Pen,
    /// Polylines; one of a single point is a dot.
    pub lines: Vec<Vec<Point>>,
}

/// Which end of a text lies at its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// The text starts there.
    Start,
    /// The text's middle is there.
    Middle,
    /// The text ends there.
    End,
}

/// One line of text.
#[derive(Clone, Debug, PartialEq)]
pub struct Text {
    /// Where its baseline is anchored.
    pub at: Point,
    /// Which end is anchored.
    pub anchor: Anchor,
    /// Font size, mm; capitals are 0.72 of it.
    pub size_mm: f64,
    /// Heavier strokes.
    pub bold: bool,
    /// The words.
    pub words: String,
}

/// One thing to paint.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// Strokes.
    Strokes(Strokes),
    /// Text, on a white outline so that it reads over a grid.
    Text(Text),
}

/// A sheet, ready to print.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// Width, mm.
    pub width_mm: f64,
    /// Height, mm.
    pub height_mm: f64,
    /// Title, in a few words.
    pub title: String,
    /// Description, for those who cannot see it.
    pub description: String,
    /// Shapes to paint, the lowest first.
    pub shapes: Vec<Shape>,
}

impl Drawing {
    /// Adds strokes.
    pub(crate) fn stroke(&mut self, pen: Pen, lines: Vec<Vec<Point>>) {
        if !lines.is_empty() {
            self.shapes.push(Shape::Strokes(Strokes { pen, lines }));
        }
    }

    /// Adds a line of text of `size_mm`.
    pub(crate) fn write(&mut self, at: Point, anchor: Anchor, size_mm: f64, words: impl Into<String>) {
        self.shapes.push(Shape::Text(Text { at, anchor, size_mm, bold: false, words: words.into() }));
    }

    /// Adds a line of heavier text of `size_mm`.
    pub(crate) fn write_bold(&mut self, at: Point, anchor: Anchor, size_mm: f64, words: impl Into<String>) {
        self.shapes.push(Shape::Text(Text { at, anchor, size_mm, bold: true, words: words.into() }));
    }
}
