//! Strips: an excerpt laid out on paper in rows.
//!
//! From top to bottom of a row: steps, times, beat codes and P onsets over the paper, then one line a channel (ECG leads
//! first, pressures and respiration below), and the notice. All rows share one scale a channel.

use pulsewright_core::frame::{Channel, ChannelKind, Lead, PressureSite};

use crate::band::Band;
use crate::drawing::{Anchor, Drawing, Pen, at};
use crate::excerpt::Excerpt;
use crate::letters;
use crate::marks;
use crate::trace;

/// Stands under every row.
pub const NOTICE: &str = "synthetic - test signal, never for a patient record";

/// The word for the usual arrangement of twelve leads among the channels of [`lines`].
pub const TWELVE_LEADS: &str = "12-lead";

const MARGIN_MM: f64 = 6.0;
const GUTTER_MM: f64 = 20.0;
const HEADER_MM: f64 = 15.5;
const STEP_LANE_MM: f64 = 4.5;
const TIME_LANE_MM: f64 = 4.0;
/// Part of the paper above the first line that holds codes and P onsets.
const CODE_LANE_MM: f64 = 5.0;
/// Part of the paper above a line of several leads that holds their names.
const NAME_LANE_MM: f64 = 5.0;
const NOTICE_MM: f64 = 6.5;
const LEGEND_MM: f64 = 5.0;
/// Paper before the traces that holds the calibration mark.
const CALIBRATION_MM: f64 = 10.0;
/// Height at which a pacing pulse is drawn above the baseline, whatever its amplitude.
const PULSE_MM: f64 = 8.0;
const LARGE_MM: f64 = 4.0;
const LABEL_MM: f64 = 3.2;
const SMALL_MM: f64 = 2.5;

/// One line of a row: a channel over the whole row, or several after one another in equal parts.
#[derive(Clone, Debug, PartialEq)]
pub struct StripRow {
    /// The channels, from left to right.
    pub parts: Vec<Channel>,
}

/// How to print.
#[derive(Clone, Debug, PartialEq)]
pub struct StripSheet {
    /// Paper speed, mm/s.
    pub mm_per_s: f64,
    /// ECG gain, mm/mV.
    pub mm_per_mv: f64,
    /// Length of a row, s; longer excerpts wrap.
    pub row_s: f64,
    /// The lines of a row.
    pub lines: Vec<StripRow>,
    /// Heading; the first step's label if none.
    pub title: Option<String>,
    /// Whether beat codes and P onsets are marked.
    pub codes: bool,
    /// Whether the drawing is a page: [`PAGE_MM`], on which a strip that is too large is refused.
    pub page: bool,
}

/// Width and height of a page, mm: within A4 (297 by 210) and within Letter (279.4 by 215.9), on its side, with 10 mm around it.
pub const PAGE_MM: [f64; 2] = [259.0, 190.0];

/// Why an excerpt cannot be drawn on a sheet.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum StripError {
    /// No frames.
    #[error("nothing to draw: the excerpt is empty")]
    Empty,
    /// No lines.
    #[error("nothing to draw: no channel is chosen")]
    NoChannels,
    /// Larger than a page.
    #[error("the strip is {width_mm:.0} by {height_mm:.0} mm and a page has {} by {}: take fewer channels, a shorter strip or shorter rows", PAGE_MM[0], PAGE_MM[1])]
    Page {
        /// Width needed, mm.
        width_mm: f64,
        /// Height needed, mm.
        height_mm: f64,
    },
    /// A scale outside its range.
    #[error("{what} {value} is outside {min} to {max} {unit}")]
    Scale {
        /// Which.
        what: &'static str,
        /// The value refused.
        value: f64,
        /// Smallest allowed.
        min: f64,
        /// Largest allowed.
        max: f64,
        /// Unit.
        unit: &'static str,
    },
    /// A word that names no channel.
    #[error("no channel is called `{0}`")]
    UnknownChannel(String),
}

impl StripSheet {
    /// 25 mm/s, 10 mm/mV, rows of 10 s: leads II and V1, arterial pressure and respiration.
    pub fn usual() -> StripSheet {
        let channels = [
            Channel::Lead(Lead::II),
            Channel::Lead(Lead::V1),
            Channel::Pressure(PressureSite::Arterial),
            Channel::Respiration,
        ];
        let lines = channels.into_iter().map(|channel| StripRow { parts: vec![channel] }).collect();
        StripSheet { mm_per_s: 25.0, mm_per_mv: 10.0, row_s: 10.0, lines, title: None, codes: true, page: false }
    }

    /// Longest row, in whole seconds, that a page holds at this paper speed; 0 when it holds none.
    pub fn longest_row_on_page_s(mm_per_s: f64) -> f64 {
        ((PAGE_MM[0] - 2.0 * MARGIN_MM - GUTTER_MM - CALIBRATION_MM) / mm_per_s).floor()
    }

    fn check(&self) -> Result<(), StripError> {
        let within = |what, value: f64, min: f64, max: f64, unit| {
            // Written so that NaN is refused too.
            if value >= min && value <= max { Ok(()) } else { Err(StripError::Scale { what, value, min, max, unit }) }
        };
        within("paper speed", self.mm_per_s, 5.0, 200.0, "mm/s")?;
        within("gain", self.mm_per_mv, 1.0, 100.0, "mm/mV")?;
        within("row length", self.row_s, 1.0, 60.0, "s")?;
        if self.lines.iter().all(|line| line.parts.is_empty()) {
            return Err(StripError::NoChannels);
        }
        Ok(())
    }
}

/// The lines for channel words, ECG first, pressures and respiration below; [`TWELVE_LEADS`] stands for the usual
/// arrangement of four columns of three leads over a rhythm strip of lead II.
pub fn lines<'a>(words: impl IntoIterator<Item = &'a str>) -> Result<Vec<StripRow>, StripError> {
    let mut lines = Vec::new();
    for word in words {
        if word.eq_ignore_ascii_case(TWELVE_LEADS) {
            let columns = [
                [Lead::I, Lead::AVR, Lead::V1, Lead::V4],
                [Lead::II, Lead::AVL, Lead::V2, Lead::V5],
                [Lead::III, Lead::AVF, Lead::V3, Lead::V6],
            ];
            lines.extend(columns.map(|leads| StripRow { parts: leads.map(Channel::Lead).to_vec() }));
            lines.push(StripRow { parts: vec![Channel::Lead(Lead::II)] });
        } else {
            let channel = Channel::find(word).ok_or_else(|| StripError::UnknownChannel(word.into()))?;
            lines.push(StripRow { parts: vec![channel] });
        }
    }
    lines.sort_by_key(|line| match line.parts.first().map(|channel| channel.kind()) {
        Some(ChannelKind::Potential) => 0,
        Some(ChannelKind::Pressure) => 1,
        _ => 2,
    });
    Ok(lines)
}

/// Lays the excerpt out on the sheet.
pub fn draw(excerpt: &Excerpt, sheet: &StripSheet) -> Result<Drawing, StripError> {
    sheet.check()?;
    if excerpt.frames.is_empty() {
        return Err(StripError::Empty);
    }
    let smooth = excerpt.without_pulses();
    let played = excerpt;
    let excerpt = smooth.as_ref();
    let layout = Layout::new(played, excerpt, sheet);
    let rows = (excerpt.seconds() / sheet.row_s).ceil().max(1.0) as usize;
    let height_mm = MARGIN_MM + HEADER_MM + rows as f64 * layout.row_mm() + LEGEND_MM + MARGIN_MM;
    let legend_mm = height_mm - MARGIN_MM;
    let (width_mm, height_mm) = match [layout.width_mm(), height_mm] {
        [width_mm, height_mm] if !sheet.page => (width_mm, height_mm),
        [width_mm, height_mm] if width_mm <= PAGE_MM[0] && height_mm <= PAGE_MM[1] => (PAGE_MM[0], PAGE_MM[1]),
        [width_mm, height_mm] => return Err(StripError::Page { width_mm, height_mm }),
    };
    let title = sheet.title.clone().unwrap_or_else(|| {
        let steps = marks::steps(excerpt);
        steps.first().map_or_else(|| "Strip".into(), |(_, label)| (*label).to_owned())
    });
    let description = layout.description();
    let mut drawing = Drawing { width_mm, height_mm, title: title.clone(), description, shapes: Vec::new() };
    let room = width_mm - 2.0 * MARGIN_MM;
    let heading = marks::cut_to(&title, LARGE_MM * 1.1, room);
    drawing.write_bold(at(MARGIN_MM, MARGIN_MM + 3.5), Anchor::Start, LARGE_MM, heading);
    let mut scales = format!("{} mm/s    {} mm/mV    {}", sheet.mm_per_s, sheet.mm_per_mv, marks::intervals(excerpt));
    if sheet.page {
        scales.push_str("    print at 100 %");
    }
    let scales = marks::cut_to(&scales, SMALL_MM * 1.1, room);
    drawing.write(at(MARGIN_MM, MARGIN_MM + 8.3), Anchor::Start, SMALL_MM * 1.1, scales);
    let settings = marks::cut_to(&marks::settings(excerpt), SMALL_MM, room);
    drawing.write(at(MARGIN_MM, MARGIN_MM + 12.0), Anchor::Start, SMALL_MM, settings);
    for row in 0..rows {
        let top_mm = MARGIN_MM + HEADER_MM + row as f64 * layout.row_mm();
        layout.row(row, top_mm, &mut drawing);
    }
    if sheet.codes {
        let legend = marks::cut_to(&marks::legend(excerpt), SMALL_MM, room);
        drawing.write(at(MARGIN_MM, legend_mm), Anchor::Start, SMALL_MM, legend);
    }
    Ok(drawing)
}

/// Layout that every row shares.
struct Layout<'a> {
    /// As played, with pacing pulses.
    played: &'a Excerpt,
    excerpt: &'a Excerpt,
    sheet: &'a StripSheet,
    bands: Vec<Band>,
    steps: Vec<(f64, &'a str)>,
    calibrated: bool,
}

impl<'a> Layout<'a> {
    fn new(played: &'a Excerpt, excerpt: &'a Excerpt, sheet: &'a StripSheet) -> Layout<'a> {
        let band = |line: &StripRow| {
            let mut bands = line.parts.iter().map(|channel| Band::fit(*channel, excerpt, sheet.mm_per_mv));
            let mut whole = bands.next()?;
            bands.for_each(|other| whole.share(&other));
            Some(whole)
        };
        let bands: Vec<Band> = sheet.lines.iter().filter_map(band).collect();
        let calibrated = bands.iter().any(|band| band.channel.kind() == ChannelKind::Potential);
        Layout { played, excerpt, sheet, bands, steps: marks::steps(excerpt), calibrated }
    }

    /// Where traces start.
    fn trace_x_mm(&self) -> f64 {
        MARGIN_MM + GUTTER_MM + if self.calibrated { CALIBRATION_MM } else { 0.0 }
    }

    fn paper_width_mm(&self) -> f64 {
        let seconds = self.sheet.row_s.min(self.excerpt.seconds());
        let needed = self.trace_x_mm() - MARGIN_MM - GUTTER_MM + seconds * self.sheet.mm_per_s;
        // Not narrower than the words above and below it.
        ((needed / 5.0).ceil() * 5.0).max(90.0)
    }

    fn paper_height_mm(&self) -> f64 {
        let names = self.sheet.lines.iter().map(names_mm).sum::<f64>();
        CODE_LANE_MM + names + self.bands.iter().map(|band| band.height_mm).sum::<f64>()
    }

    fn width_mm(&self) -> f64 {
        MARGIN_MM + GUTTER_MM + self.paper_width_mm() + MARGIN_MM
    }

    /// Whether steps change within the excerpt, so that they need a lane of their own.
    fn has_steps(&self) -> bool {
        self.steps.iter().any(|(at_s, _)| *at_s > 0.0)
    }

    fn step_lane_mm(&self) -> f64 {
        if self.has_steps() { STEP_LANE_MM } else { 0.0 }
    }

    fn row_mm(&self) -> f64 {
        self.step_lane_mm() + TIME_LANE_MM + self.paper_height_mm() + NOTICE_MM
    }

    fn description(&self) -> String {
        let sheet = self.sheet;
        let channels: Vec<&str> = sheet.lines.iter().flat_map(|line| &line.parts).map(|channel| channel.id()).collect();
        let labels: Vec<&str> = self.steps.iter().map(|(_, label)| *label).filter(|label| !label.is_empty()).collect();
        format!(
            "{NOTICE}. {}. {:.1} s from {:.1} s of the script at {} mm/s and {} mm/mV. Channels: {}. {}",
            labels.join("; then "),
            self.excerpt.seconds(),
            self.excerpt.start_s(),
            sheet.mm_per_s,
            sheet.mm_per_mv,
            channels.join(", "),
            marks::spoken(self.excerpt),
        )
    }

    fn row(&self, row: usize, top_mm: f64, drawing: &mut Drawing) {
        let from_s = row as f64 * self.sheet.row_s;
        let to_s = (from_s + self.sheet.row_s).min(self.excerpt.seconds());
        let paper_mm = top_mm + self.step_lane_mm() + TIME_LANE_MM;
        let place = Place { from_s, to_s, paper_mm, x_mm: self.trace_x_mm(), mm_per_s: self.sheet.mm_per_s };
        self.paper(paper_mm, drawing);
        self.times(&place, drawing);
        let mut line_mm = paper_mm + CODE_LANE_MM;
        for (band, line) in self.bands.iter().zip(self.sheet.lines.iter().filter(|line| !line.parts.is_empty())) {
            line_mm += names_mm(line);
            self.axis(band, line, line_mm, drawing);
            self.traces(band, line, line_mm, &place, drawing);
            line_mm += band.height_mm;
        }
        if self.sheet.codes {
            self.codes(&place, drawing);
        }
        self.step_marks(&place, top_mm, drawing);
        let notice_mm = paper_mm + self.paper_height_mm() + 3.4;
        drawing.write(at(MARGIN_MM + GUTTER_MM, notice_mm), Anchor::Start, SMALL_MM, NOTICE);
    }

    fn paper(&self, top_mm: f64, drawing: &mut Drawing) {
        let left = MARGIN_MM + GUTTER_MM;
        let (width, height) = (self.paper_width_mm(), self.paper_height_mm());
        let (right, bottom) = (left + width, top_mm + height);
        let mut fine = Vec::new();
        let mut coarse = Vec::new();
        for i in 0..=(width.round() as usize) {
            let x = left + i as f64;
            let lines = if i % 5 == 0 { &mut coarse } else { &mut fine };
            lines.push(vec![at(x, top_mm), at(x, bottom)]);
        }
        for i in 0..=(height.round() as usize) {
            let y = top_mm + i as f64;
            let lines = if i % 5 == 0 { &mut coarse } else { &mut fine };
            lines.push(vec![at(left, y), at(right, y)]);
        }
        drawing.stroke(Pen::FineGrid, fine);
        drawing.stroke(Pen::CoarseGrid, coarse);
        let corners = [at(left, top_mm), at(right, top_mm), at(right, bottom), at(left, bottom), at(left, top_mm)];
        drawing.stroke(Pen::Edge, vec![corners.to_vec()]);
    }

    fn times(&self, place: &Place, drawing: &mut Drawing) {
        let start_s = self.excerpt.start_s();
        let mut ticks = Vec::new();
        let mut second = (start_s + place.from_s - 1e-6).ceil();
        while second <= start_s + place.to_s + 1e-6 {
            let x = place.x(second - start_s);
            ticks.push(vec![at(x, place.paper_mm - 1.5), at(x, place.paper_mm)]);
            let words = marks::clock(second);
            // The last second of a row is the first of the next: only its tick stands at the paper's edge.
            if x + letters::width_mm(&words, SMALL_MM) < place.x(place.to_s) {
                drawing.write(at(x + 0.6, place.paper_mm - 0.9), Anchor::Start, SMALL_MM, words);
            }
            second += 1.0;
        }
        drawing.stroke(Pen::Edge, ticks);
    }

    /// Names, units and marks of a line's scale: calibration mark for potentials, numbers for the others.
    fn axis(&self, band: &Band, line: &StripRow, top_mm: f64, drawing: &mut Drawing) {
        let left = MARGIN_MM + GUTTER_MM;
        let zero_mm = top_mm + band.zero_mm;
        if band.channel.kind() == ChannelKind::Potential {
            let per_mv = self.sheet.mm_per_mv;
            let width = 0.2 * self.sheet.mm_per_s;
            let start = left + 0.5 * (CALIBRATION_MM - width).max(0.0);
            let mark = [
                at(left, zero_mm),
                at(start, zero_mm),
                at(start, zero_mm - per_mv),
                at(start + width, zero_mm - per_mv),
                at(start + width, zero_mm),
                at(left + CALIBRATION_MM.max(width), zero_mm),
            ];
            drawing.stroke(Pen::Calibration, vec![mark.to_vec()]);
            if let [channel] = line.parts.as_slice() {
                for (i, word) in channel.id().split('-').enumerate() {
                    drawing.write_bold(at(MARGIN_MM, zero_mm - 2.0 + 3.6 * i as f64), Anchor::Start, LABEL_MM, word);
                }
            }
            let middle = zero_mm - 0.5 * per_mv;
            drawing.write(at(left - 1.0, middle - 0.6), Anchor::End, SMALL_MM, "1 mV");
            drawing.write(at(left - 1.0, middle + 2.6), Anchor::End, SMALL_MM, "200 ms");
            if band.cut {
                drawing.write(at(MARGIN_MM, top_mm + band.height_mm - 1.0), Anchor::Start, SMALL_MM, "beyond paper");
            }
            return;
        }
        let words = band.channel.id().split('-').map(|word| (word, true)).chain([(band.channel.kind().unit(), false)]);
        for (i, (word, bold)) in words.enumerate() {
            let place = at(MARGIN_MM, top_mm + 2.9 + 3.6 * i as f64);
            if bold {
                drawing.write_bold(place, Anchor::Start, LABEL_MM, word);
            } else {
                drawing.write(place, Anchor::Start, SMALL_MM, word);
            }
        }
        let mut ticks = vec![vec![at(left - 1.0, top_mm), at(left + self.paper_width_mm(), top_mm)]];
        for (y, value) in band.ticks() {
            ticks.push(vec![at(left - 0.8, top_mm + y), at(left, top_mm + y)]);
            drawing.write(at(left - 1.3, top_mm + y + 0.9), Anchor::End, SMALL_MM, value);
        }
        drawing.stroke(Pen::Edge, ticks);
    }

    fn traces(&self, band: &Band, line: &StripRow, top_mm: f64, place: &Place, drawing: &mut Drawing) {
        let rate = f64::from(self.excerpt.rate.as_hz());
        let part_s = self.sheet.row_s.min(self.excerpt.seconds()) / line.parts.len() as f64;
        for (i, channel) in line.parts.iter().enumerate() {
            let from_s = place.from_s + i as f64 * part_s;
            let to_s = if i + 1 == line.parts.len() { place.to_s } else { (from_s + part_s).min(place.to_s) };
            let first = (from_s * rate).round() as usize;
            // One frame more than the part has, so that parts and rows join.
            let last = ((to_s * rate).round() as usize + 1).min(self.excerpt.frames.len());
            let frames = self.excerpt.frames.get(first..last).unwrap_or(&[]);
            if line.parts.len() > 1 && !frames.is_empty() {
                let x = place.x(from_s);
                drawing.stroke(Pen::Calibration, vec![vec![at(x, top_mm - NAME_LANE_MM + 1.0), at(x, top_mm)]]);
                drawing.write_bold(at(x + 1.0, top_mm - 1.4), Anchor::Start, LABEL_MM, channel.id());
            }
            let points = frames.iter().enumerate().map(|(n, frame)| {
                let at_s = (first + n) as f64 / rate;
                at(place.x(at_s), top_mm + band.y_mm(f64::from(frame.sample(*channel))))
            });
            let points = trace::polyline(points, top_mm, top_mm + band.height_mm);
            drawing.stroke(Pen::Trace, if points.is_empty() { Vec::new() } else { vec![points] });
            if channel.kind() == ChannelKind::Potential {
                let zero = top_mm + band.zero_mm;
                let spike = |at_s: f64| {
                    let up = if marks::pulse_is_upright(self.played, *channel, at_s) { 1.0 } else { -1.0 };
                    // Within its own band.
                    let tip = (band.zero_mm - up * PULSE_MM).clamp(0.0, band.height_mm);
                    vec![at(place.x(at_s), zero), at(place.x(at_s), top_mm + tip)]
                };
                let pulses = marks::pulses(self.excerpt).into_iter().filter(|at_s| (from_s..to_s).contains(at_s));
                drawing.stroke(Pen::Pacing, pulses.map(spike).collect());
            }
        }
    }

    fn codes(&self, place: &Place, drawing: &mut Drawing) {
        let inside = |at_s: &f64| *at_s >= place.from_s && *at_s < place.to_s;
        for (at_s, code) in marks::beats(self.excerpt).into_iter().filter(|(at_s, _)| inside(at_s)) {
            let over = at(place.x(at_s), place.paper_mm + 2.8);
            drawing.write_bold(over, Anchor::Middle, SMALL_MM * 1.1, code.symbol().to_string());
        }
        for at_s in marks::p_onsets(self.excerpt).into_iter().filter(inside) {
            drawing.write(at(place.x(at_s), place.paper_mm + 4.4), Anchor::Middle, SMALL_MM * 0.8, "p");
        }
    }

    fn step_marks(&self, place: &Place, top_mm: f64, drawing: &mut Drawing) {
        if !self.has_steps() {
            return;
        }
        let bottom = place.paper_mm + self.paper_height_mm();
        let words_mm = top_mm + STEP_LANE_MM - 1.2;
        for (i, (at_s, label)) in self.steps.iter().enumerate() {
            let next_s = self.steps.get(i + 1).map_or(f64::INFINITY, |(next_s, _)| *next_s);
            if *at_s >= place.to_s || next_s <= place.from_s {
                continue;
            }
            let x = place.x(at_s.max(place.from_s));
            if *at_s > place.from_s {
                drawing.stroke(Pen::Step, vec![vec![at(x, words_mm), at(x, bottom)]]);
            }
            let room = place.x(next_s.min(place.to_s)) - x - 2.0;
            drawing.write(at(x + 0.8, words_mm), Anchor::Start, SMALL_MM, marks::cut_to(label, SMALL_MM, room));
        }
    }
}

/// Height of the names over a line.
fn names_mm(line: &StripRow) -> f64 {
    if line.parts.len() > 1 { NAME_LANE_MM } else { 0.0 }
}

/// A row's place in time and on the sheet.
struct Place {
    from_s: f64,
    to_s: f64,
    paper_mm: f64,
    x_mm: f64,
    mm_per_s: f64,
}

impl Place {
    /// Where an instant, seconds from the excerpt's start, lies.
    fn x(&self, at_s: f64) -> f64 {
        trace::to_hundredth(self.x_mm + (at_s - self.from_s) * self.mm_per_s)
    }
}
