//! SVG: the drawing in true millimetres, text kept as text, title and description for screen readers.

use pulsewright_text::fit;
use std::fmt::Write as _;

use crate::drawing::{Anchor, Drawing, INK, Pen, Point, Shape, Strokes, Text};

/// The drawing as an SVG document; one user unit is one millimetre.
pub fn write(drawing: &Drawing) -> String {
    let root = "xmlns=\"http://www.w3.org/2000/svg\"";
    element(drawing, root, "", &format!("<style>\n{}</style>\n", style_sheet("")))
}

/// The drawing as an element within a page: ids start with `id`, which is the page's to keep apart, and the look is the
/// page's from [`style_sheet`] with `class`.
pub fn inline(drawing: &Drawing, class: &str, id: &str) -> String {
    element(drawing, &format!("class=\"{class}\""), &format!("{id}-"), "")
}

fn element(drawing: &Drawing, root: &str, id: &str, style: &str) -> String {
    let mut svg = String::new();
    let (width, height) = (number(drawing.width_mm), number(drawing.height_mm));
    // Writing to a string cannot fail.
    let _ = write!(
        svg,
        "<svg {root} width=\"{width}mm\" height=\"{height}mm\" \
         viewBox=\"0 0 {width} {height}\" role=\"img\" aria-labelledby=\"{id}title {id}desc\">\n\
         <title id=\"{id}title\">{}</title>\n<desc id=\"{id}desc\">{}</desc>\n{style}\
         <path fill=\"#fff\" d=\"M0 0H{width}V{height}H0z\"/>\n",
        escape(&drawing.title),
        escape(&drawing.description),
    );
    for shape in &drawing.shapes {
        match shape {
            Shape::Strokes(strokes) => path(strokes, &mut svg),
            Shape::Text(text) => words(text, &mut svg),
        }
    }
    svg.push_str("</svg>\n");
    svg
}

/// The pens and letters of a drawing; `scope` goes before every selector, such as `.strip ` for a page.
pub fn style_sheet(scope: &str) -> String {
    let mut css =
        format!("{scope}path{{fill:none;stroke-linejoin:round;stroke-linecap:round}}{scope}path[fill]{{fill:#fff}}\n");
    for pen in Pen::ALL {
        let style = pen.style();
        let _ = write!(
            css,
            "{scope}.{}{{stroke:{};stroke-width:{}",
            style.class,
            hex(style.colour),
            number(style.width_mm)
        );
        if let Some([dash, gap]) = style.dash_mm {
            let _ = write!(css, ";stroke-dasharray:{} {};stroke-linecap:butt", number(dash), number(gap));
        }
        css.push_str("}\n");
    }
    let _ = writeln!(
        css,
        "{scope}text{{fill:{};font-family:'DejaVu Sans','Liberation Sans',Arial,sans-serif;stroke:#fff;stroke-width:.7;\
         stroke-linejoin:round;paint-order:stroke}}\n{scope}.b{{font-weight:bold}}",
        hex(INK)
    );
    css
}

fn hex([red, green, blue]: [u8; 3]) -> String {
    format!("#{red:02x}{green:02x}{blue:02x}")
}

/// Hundredths of a millimetre; all positions are rounded to them before differences are taken, so errors do not add up.
fn hundredths(mm: f64) -> i64 {
    (mm * 100.0).round() as i64
}

/// A number of hundredths, as short as it can be written.
fn decimal(hundredths: i64) -> String {
    let sign = if hundredths < 0 { "-" } else { "" };
    let (whole, part) = (hundredths.abs() / 100, hundredths.abs() % 100);
    let whole = if whole == 0 && part != 0 { String::new() } else { whole.to_string() };
    match part {
        0 => format!("{sign}{whole}"),
        p if p % 10 == 0 => format!("{sign}{whole}.{}", p / 10),
        p => format!("{sign}{whole}.{p:02}"),
    }
}

fn number(mm: f64) -> String {
    decimal(hundredths(mm))
}

fn path(strokes: &Strokes, svg: &mut String) {
    let _ = write!(svg, "<path class=\"{}\" d=\"", strokes.pen.style().class);
    for line in &strokes.lines {
        let whole = |p: &Point| (hundredths(p.x_mm), hundredths(p.y_mm));
        let Some((mut x, mut y)) = line.first().map(whole) else {
            continue;
        };
        let _ = write!(svg, "M{} {}", decimal(x), decimal(y));
        if line.len() == 1 {
            svg.push_str("h0");
        }
        for (next_x, next_y) in line.iter().skip(1).map(whole) {
            let (dx, dy) = (next_x - x, next_y - y);
            (x, y) = (next_x, next_y);
            match (dx, dy) {
                (0, _) => {
                    let _ = write!(svg, "v{}", decimal(dy));
                }
                (_, 0) => {
                    let _ = write!(svg, "h{}", decimal(dx));
                }
                _ => {
                    let between = if dy < 0 { "" } else { " " };
                    let _ = write!(svg, "l{}{between}{}", decimal(dx), decimal(dy));
                }
            }
        }
    }
    svg.push_str("\"/>\n");
}

fn words(text: &Text, svg: &mut String) {
    let anchor = match text.anchor {
        Anchor::Start => "",
        Anchor::Middle => " text-anchor=\"middle\"",
        Anchor::End => " text-anchor=\"end\"",
    };
    let bold = if text.bold { " class=\"b\"" } else { "" };
    let _ = writeln!(
        svg,
        "<text x=\"{}\" y=\"{}\" font-size=\"{}\"{anchor}{bold}>{}</text>",
        number(text.at.x_mm),
        number(text.at.y_mm),
        number(text.size_mm),
        escape(&text.words),
    );
}

/// Text as SVG or HTML, in elements and in quoted attributes, on one line.
pub fn escape(words: &str) -> String {
    fit::page(&words.replace(['\t', '\n', '\r'], " "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::at;

    #[test]
    fn numbers_are_short_and_exact() {
        let written = [0.0, 0.5, -0.05, 12.0, 12.34, -3.1, 0.004].map(number);
        assert_eq!(written, ["0", ".5", "-.05", "12", "12.34", "-3.1", "0"]);
    }

    #[test]
    fn relative_steps_do_not_drift() {
        let line: Vec<Point> = (0..10_000).map(|i| at(f64::from(i) * 0.0333, 5.0 + f64::from(i % 7))).collect();
        let mut svg = String::new();
        path(&Strokes { pen: Pen::Trace, lines: vec![line] }, &mut svg);
        let mut x = 0;
        for step in svg.split('l').skip(1) {
            let end = step.char_indices().skip(1).find(|(_, c)| *c == ' ' || *c == '-').map_or(step.len(), |(i, _)| i);
            if let Ok(dx) = step[..end].parse::<f64>() {
                x += hundredths(dx);
            }
        }
        assert_eq!(x, hundredths(9999.0 * 0.0333));
    }

    #[test]
    fn foreign_text_stays_text() {
        assert_eq!(escape("<a b=\"1\" c='2'>&\u{1}\n"), "&lt;a b=&quot;1&quot; c=&#39;2&#39;&gt;&amp;\\u{1} ");
    }
}
