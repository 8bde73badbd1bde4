//! PNG: the drawing as pixels, with its true size written into the file so that it prints in millimetres.

use tiny_skia::{Color, FillRule, LineCap, LineJoin, Paint, PathBuilder, Pixmap, Rect, Stroke, StrokeDash, Transform};

use crate::drawing::{Drawing, INK, Pen, Point, Shape};
use crate::letters;

/// Lowest resolution: below it the millimetre grid is a grey field.
pub const MIN_DPI: u32 = 50;
/// Highest resolution.
pub const MAX_DPI: u32 = 1200;
/// Most pixels of a picture: 400 MB while it is drawn.
pub const MAX_PIXELS: u64 = 100_000_000;

const MM_PER_INCH: f64 = 25.4;
/// White around letters, mm on either side.
const HALO_MM: f64 = 0.35;

/// Why there is no picture.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PngError {
    /// A resolution outside its range.
    #[error("{0} dpi is outside {MIN_DPI} to {MAX_DPI} dpi")]
    Resolution(u32),
    /// More pixels than are drawn at one go.
    #[error(
        "the picture would have {width} x {height} pixels, more than {MAX_PIXELS} in all: lower the resolution, draw fewer seconds, or write SVG"
    )]
    TooLarge {
        /// Width, pixels.
        width: u64,
        /// Height, pixels.
        height: u64,
    },
    /// The encoder refused.
    #[error("PNG: {0}")]
    Encoding(#[from] png::EncodingError),
}

/// The drawing as a PNG file of `dpi` pixels an inch.
pub fn encode(drawing: &Drawing, dpi: u32) -> Result<Vec<u8>, PngError> {
    if !(MIN_DPI..=MAX_DPI).contains(&dpi) {
        return Err(PngError::Resolution(dpi));
    }
    let per_mm = f64::from(dpi) / MM_PER_INCH;
    let pixels = |mm: f64| (mm * per_mm).ceil().max(1.0) as u64;
    let (width, height) = (pixels(drawing.width_mm), pixels(drawing.height_mm));
    let too_large = PngError::TooLarge { width, height };
    if width.saturating_mul(height) > MAX_PIXELS {
        return Err(too_large);
    }
    let (Ok(columns), Ok(rows)) = (u32::try_from(width), u32::try_from(height)) else {
        return Err(too_large);
    };
    let Some(mut pixmap) = Pixmap::new(columns, rows) else {
        return Err(too_large);
    };
    pixmap.fill(Color::WHITE);
    let mut canvas = Canvas { pixmap: &mut pixmap, per_mm };
    for shape in &drawing.shapes {
        match shape {
            Shape::Strokes(strokes) => canvas.strokes(strokes.pen, &strokes.lines),
            Shape::Text(text) => {
                let lines = letters::outline(text);
                let width_mm = letters::stroke_mm(text);
                canvas.lines(&lines, width_mm + 2.0 * HALO_MM, [255, 255, 255], None);
                canvas.lines(&lines, width_mm, INK, None);
            }
        }
    }
    file(&pixmap, per_mm)
}

struct Canvas<'a> {
    pixmap: &'a mut Pixmap,
    per_mm: f64,
}

impl Canvas<'_> {
    fn strokes(&mut self, pen: Pen, lines: &[Vec<Point>]) {
        let style = pen.style();
        if matches!(pen, Pen::FineGrid | Pen::CoarseGrid) {
            self.grid(lines, style.width_mm, style.colour);
        } else {
            self.lines(lines, style.width_mm, style.colour, style.dash_mm);
        }
    }

    /// Grid lines on whole pixels: anti-aliased, they would be of uneven strength.
    fn grid(&mut self, lines: &[Vec<Point>], width_mm: f64, colour: [u8; 3]) {
        let thick = (width_mm * self.per_mm).round().max(1.0);
        let mut builder = PathBuilder::new();
        for line in lines {
            let (Some(from), Some(to)) = (line.first(), line.last()) else {
                continue;
            };
            let edge = |mm: f64| (mm * self.per_mm - 0.5 * thick).round();
            let (left, top) = (edge(from.x_mm.min(to.x_mm)), edge(from.y_mm.min(to.y_mm)));
            let (right, bottom) = (edge(from.x_mm.max(to.x_mm)) + thick, edge(from.y_mm.max(to.y_mm)) + thick);
            if let Some(rect) = Rect::from_ltrb(left as f32, top as f32, right as f32, bottom as f32) {
                builder.push_rect(rect);
            }
        }
        if let Some(path) = builder.finish() {
            let mut paint = paint(colour);
            paint.anti_alias = false;
            self.pixmap.fill_path(&path, &paint, FillRule::Winding, Transform::identity(), None);
        }
    }

    fn lines(&mut self, lines: &[Vec<Point>], width_mm: f64, colour: [u8; 3], dash_mm: Option<[f64; 2]>) {
        let mut builder = PathBuilder::new();
        let pixel = |mm: f64| (mm * self.per_mm) as f32;
        for line in lines {
            let Some(first) = line.first() else {
                continue;
            };
            builder.move_to(pixel(first.x_mm), pixel(first.y_mm));
            if line.len() == 1 {
                // A dot: too short to see a direction, long enough to get its round caps.
                builder.line_to(pixel(first.x_mm) + 0.01, pixel(first.y_mm));
            }
            for point in line.iter().skip(1) {
                builder.line_to(pixel(point.x_mm), pixel(point.y_mm));
            }
        }
        let Some(path) = builder.finish() else {
            return;
        };
        let dash = dash_mm.and_then(|[dash, gap]| StrokeDash::new(vec![pixel(dash), pixel(gap)], 0.0));
        let line_cap = if dash.is_some() { LineCap::Butt } else { LineCap::Round };
        let width = pixel(width_mm).max(0.8);
        let stroke = Stroke { width, line_cap, line_join: LineJoin::Round, dash, ..Stroke::default() };
        self.pixmap.stroke_path(&path, &paint(colour), &stroke, Transform::identity(), None);
    }
}

fn paint([red, green, blue]: [u8; 3]) -> Paint<'static> {
    let mut paint = Paint::default();
    paint.set_color_rgba8(red, green, blue, 255);
    paint.anti_alias = true;
    paint
}

fn file(pixmap: &Pixmap, per_mm: f64) -> Result<Vec<u8>, PngError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, pixmap.width(), pixmap.height());
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let per_metre = (per_mm * 1000.0).round() as u32;
    encoder.set_pixel_dims(Some(png::PixelDimensions { xppu: per_metre, yppu: per_metre, unit: png::Unit::Meter }));
    let mut writer = encoder.write_header()?;
    // Everything is painted over opaque white, so the alpha says nothing.
    let rgb: Vec<u8> = pixmap.data().chunks_exact(4).flat_map(|pixel| [pixel[0], pixel[1], pixel[2]]).collect();
    writer.write_image_data(&rgb)?;
    writer.finish()?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::at;

    fn sheet(width_mm: f64) -> Drawing {
        let mut drawing =
            Drawing { width_mm, height_mm: 25.4, title: String::new(), description: String::new(), shapes: Vec::new() };
        drawing.stroke(Pen::Trace, vec![vec![at(0.0, 12.7), at(width_mm, 12.7)]]);
        drawing
    }

    #[test]
    fn size_and_ink_are_where_they_belong() {
        let bytes = encode(&sheet(50.8), 200).expect("small picture");
        let mut reader = png::Decoder::new(std::io::Cursor::new(&bytes)).read_info().expect("our own header");
        let info = reader.info();
        assert_eq!((info.width, info.height), (400, 200));
        assert_eq!(info.pixel_dims.map(|dims| dims.xppu), Some(7874));
        let mut data = vec![0; 400 * 200 * 3];
        reader.next_frame(&mut data).expect("our own pixels");
        let pixel = |x: usize, y: usize| data[(y * 400 + x) * 3];
        assert!(pixel(200, 100) < 60 && pixel(200, 90) == 255 && pixel(200, 110) == 255);
    }

    #[test]
    fn absurd_sizes_are_refused() {
        assert!(matches!(encode(&sheet(10.0), 10), Err(PngError::Resolution(10))));
        assert!(matches!(encode(&sheet(1e7), 1200), Err(PngError::TooLarge { .. })));
    }
}
