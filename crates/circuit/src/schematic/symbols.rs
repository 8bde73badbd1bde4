//! Symbols of a schematic on a sheet, by IEC 60617 where it has one: resistors are boxes, amplifiers triangles.

use pulsewright_plot::drawing::{Anchor, Drawing, Pen, Shape, Strokes, Text, at};

/// A place, mm.
pub type SheetPoint = [f64; 2];

/// Half the length and half the width of a resistor's box.
const BOX: (f64, f64) = (4.0, 1.4);
/// Size of designators and values, mm.
const SMALL: f64 = 2.5;

/// The sheet while it is drawn.
pub struct SchematicSheet {
    pub drawing: Drawing,
}

impl SchematicSheet {
    /// An empty A3 sheet.
    pub fn new(title: &str) -> SchematicSheet {
        let description = "Schematic of a bench rig's front end. Never to a person, nor to equipment connected to one.";
        SchematicSheet {
            drawing: Drawing {
                width_mm: 420.0,
                height_mm: 297.0,
                title: title.to_owned(),
                description: description.to_owned(),
                shapes: Vec::new(),
            },
        }
    }

    pub fn stroke(&mut self, pen: Pen, points: &[SheetPoint]) {
        let line = points.iter().map(|[x, y]| at(*x, *y)).collect();
        self.drawing.shapes.push(Shape::Strokes(Strokes { pen, lines: vec![line] }));
    }

    /// A wire.
    pub fn wire(&mut self, points: &[SheetPoint]) {
        self.stroke(Pen::Trace, points);
    }

    fn letters(&mut self, [x, y]: SheetPoint, anchor: Anchor, size_mm: f64, bold: bool, words: &str) {
        if words.is_empty() {
            return;
        }
        let text = Text { at: at(x, y), anchor, size_mm, bold, words: words.to_owned() };
        self.drawing.shapes.push(Shape::Text(text));
    }

    pub fn text(&mut self, place: SheetPoint, size_mm: f64, words: &str) {
        self.letters(place, Anchor::Start, size_mm, false, words);
    }

    pub fn bold(&mut self, place: SheetPoint, size_mm: f64, words: &str) {
        self.letters(place, Anchor::Start, size_mm, true, words);
    }

    pub fn centred(&mut self, place: SheetPoint, size_mm: f64, words: &str) {
        self.letters(place, Anchor::Middle, size_mm, false, words);
    }

    pub fn ending(&mut self, place: SheetPoint, size_mm: f64, words: &str) {
        self.letters(place, Anchor::End, size_mm, false, words);
    }

    /// A thin rectangle.
    pub fn frame(&mut self, [x0, y0]: SheetPoint, [x1, y1]: SheetPoint) {
        self.stroke(Pen::Edge, &[[x0, y0], [x1, y0], [x1, y1], [x0, y1], [x0, y0]]);
    }

    /// A block with words in it.
    pub fn block(&mut self, [x0, y0]: SheetPoint, [x1, y1]: SheetPoint, words: &[&str]) {
        self.wire(&[[x0, y0], [x1, y0], [x1, y1], [x0, y1], [x0, y0]]);
        let top = (y0 + y1) / 2.0 - 1.7 * (words.len() as f64 - 1.0) + 0.9;
        for (row, line) in words.iter().enumerate() {
            self.centred([(x0 + x1) / 2.0, top + 3.4 * row as f64], SMALL, line);
        }
    }

    /// A joint of wires.
    pub fn dot(&mut self, [x, y]: SheetPoint) {
        for radius in [0.15, 0.35, 0.5] {
            let circle = (0..=12).map(|step| f64::from(step) * std::f64::consts::TAU / 12.0);
            let circle: Vec<SheetPoint> =
                circle.map(|turn| [x + radius * turn.cos(), y + radius * turn.sin()]).collect();
            self.wire(&circle);
        }
    }

    /// A connector, with its word on the right.
    pub fn connector(&mut self, [x, y]: SheetPoint, words: &str) {
        self.ring([x, y]);
        self.text([x + 2.4, y + 1.0], 3.0, words);
    }

    /// A connector, with its word on the left.
    pub fn connector_left(&mut self, [x, y]: SheetPoint, words: &str) {
        self.ring([x, y]);
        self.ending([x - 2.4, y + 1.0], 3.0, words);
    }

    fn ring(&mut self, [x, y]: SheetPoint) {
        let circle = (0..=24).map(|step| f64::from(step) * std::f64::consts::TAU / 24.0);
        let circle: Vec<SheetPoint> = circle.map(|turn| [x + 1.2 * turn.cos(), y + 1.2 * turn.sin()]).collect();
        self.wire(&circle);
    }

    /// The rig's common.
    pub fn common(&mut self, [x, y]: SheetPoint) {
        self.wire(&[[x, y], [x, y + 2.0]]);
        self.wire(&[[x - 2.2, y + 2.0], [x + 2.2, y + 2.0]]);
    }

    /// Protective earth.
    pub fn earth(&mut self, [x, y]: SheetPoint) {
        self.wire(&[[x, y], [x, y + 2.0]]);
        for (row, half) in [2.4, 1.6, 0.8].into_iter().enumerate() {
            let level = y + 2.0 + 0.9 * row as f64;
            self.wire(&[[x - half, level], [x + half, level]]);
        }
    }

    /// A resistor between two places on one line, with designator and value.
    pub fn resistor(&mut self, from: SheetPoint, to: SheetPoint, named: (String, String)) {
        let (long, wide) = BOX;
        let middle = [(from[0] + to[0]) / 2.0, (from[1] + to[1]) / 2.0];
        let flat = (from[1] - to[1]).abs() < 1e-9;
        let half = if flat { [long, wide] } else { [wide, long] };
        let [x, y] = middle;
        self.wire(&[
            [x - half[0], y - half[1]],
            [x + half[0], y - half[1]],
            [x + half[0], y + half[1]],
            [x - half[0], y + half[1]],
            [x - half[0], y - half[1]],
        ]);
        let ends = |place: SheetPoint| {
            let toward = |axis: usize| if place[axis] < middle[axis] { -long } else { long };
            if flat { [x + toward(0), y] } else { [x, y + toward(1)] }
        };
        self.wire(&[from, ends(from)]);
        self.wire(&[ends(to), to]);
        self.name(middle, flat, wide, named);
    }

    /// A capacitor between two places on one line, with designator and value.
    pub fn capacitor(&mut self, from: SheetPoint, to: SheetPoint, named: (String, String)) {
        let [x, y] = [(from[0] + to[0]) / 2.0, (from[1] + to[1]) / 2.0];
        let flat = (from[1] - to[1]).abs() < 1e-9;
        let (gap, half) = (0.7, 2.4);
        for (end, side) in [(from, -1.0), (to, 1.0)] {
            let forward = if flat { to[0] > from[0] } else { to[1] > from[1] };
            let shift = if forward { side * gap } else { -side * gap };
            let (plate, foot) = if flat {
                ([[x + shift, y - half], [x + shift, y + half]], [x + shift, y])
            } else {
                ([[x - half, y + shift], [x + half, y + shift]], [x, y + shift])
            };
            self.wire(&plate);
            self.wire(&[end, foot]);
        }
        self.name([x, y], flat, half, named);
    }

    fn name(&mut self, [x, y]: SheetPoint, flat: bool, half: f64, (designator, value): (String, String)) {
        if flat {
            self.centred([x, y - half - 3.4], SMALL, &designator);
            self.centred([x, y - half - 0.7], SMALL, &value);
        } else {
            self.text([x + half + 0.9, y - 0.5], SMALL, &designator);
            self.text([x + half + 0.9, y + 2.6], SMALL, &value);
        }
    }

    /// A contact that is closed at rest, between two places on a level.
    pub fn contact(&mut self, from: SheetPoint, to: SheetPoint, designator: &str) {
        let middle = (from[0] + to[0]) / 2.0;
        self.wire(&[from, [middle - 3.0, from[1]]]);
        self.wire(&[[middle + 3.0, from[1]], to]);
        self.wire(&[[middle + 3.0, from[1]], [middle + 3.0, from[1] - 1.6]]);
        self.wire(&[[middle - 3.0, from[1]], [middle + 3.6, from[1] - 1.3]]);
        self.centred([middle, from[1] - 4.5], SMALL, designator);
    }

    /// An amplifier of gain 1 whose input is at `input`; gives its output, on the same level.
    pub fn follower(&mut self, [x, y]: SheetPoint, designator: &str) -> SheetPoint {
        let top = y - 2.4;
        self.wire(&[[x, top - 5.2], [x + 10.0, top], [x, top + 5.2], [x, top - 5.2]]);
        self.centred([x + 1.7, y + 0.9], 2.6, "+");
        self.centred([x + 1.7, top - 1.5], 2.6, "-");
        self.centred([x + 4.3, top + 0.8], 1.9, designator);
        self.wire(&[[x + 10.0, top], [x + 11.0, top], [x + 11.0, y], [x + 13.0, y]]);
        self.dot([x + 11.0, top]);
        self.wire(&[
            [x + 11.0, top],
            [x + 11.0, top - 7.5],
            [x - 2.0, top - 7.5],
            [x - 2.0, top - 2.4],
            [x, top - 2.4],
        ]);
        [x + 13.0, y]
    }
}
