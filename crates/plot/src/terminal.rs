//! The same excerpt in dots, for a terminal or a failing test.
//!
//! Beat codes stand above the dots, seconds below.

use std::fmt::Write as _;

use pulsewright_core::frame::Channel;
use pulsewright_text::braille::BrailleTrace;

use crate::excerpt::Excerpt;
use crate::marks;
use crate::strip::NOTICE;

/// Dots a second: a QRS of 100 ms is three dots wide.
const DOTS_PER_SECOND: f64 = 25.0;
/// Characters before the traces.
const GUTTER: usize = 9;
/// Fewest columns drawn, however narrow the terminal.
const LEAST_COLUMNS: usize = 40;
/// Characters a channel is high.
const HEIGHT: usize = 6;
const DOTS: usize = 4 * HEIGHT;

/// The excerpt as text of at most `columns` characters a line, one block a channel; long excerpts wrap.
pub fn print(excerpt: &Excerpt, channels: &[Channel], columns: usize) -> String {
    let smooth = excerpt.without_pulses();
    let excerpt = smooth.as_ref();
    let mut text = String::new();
    if let Some((_, label)) = marks::steps(excerpt).first() {
        let _ = writeln!(text, "{label}");
    }
    let width = columns.max(LEAST_COLUMNS) - GUTTER;
    let row_s = (2 * width) as f64 / DOTS_PER_SECOND;
    let rows = (excerpt.seconds() / row_s).ceil() as usize;
    for row in 0..rows {
        let from_s = row as f64 * row_s;
        // The last row is as wide as the rest.
        let left = ((excerpt.seconds() - from_s) * DOTS_PER_SECOND / 2.0).ceil() as usize;
        let width = width.min(left.max(8));
        text.push_str(&codes(excerpt, from_s, width));
        for channel in channels {
            block(excerpt, *channel, from_s, width, &mut text);
        }
        text.push_str(&seconds(excerpt, from_s, width));
    }
    let _ = writeln!(text, "{NOTICE}");
    text
}

/// Lowest and highest finite value of a channel.
fn range(excerpt: &Excerpt, channel: Channel) -> (f64, f64) {
    let values = excerpt.frames.iter().map(|frame| f64::from(frame.sample(channel))).filter(|v| v.is_finite());
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    if low > high { (0.0, 0.0) } else { (low, high) }
}

fn block(excerpt: &Excerpt, channel: Channel, from_s: f64, width: usize, text: &mut String) {
    let (low, high) = range(excerpt, channel);
    // A flat signal lies in the middle.
    let span = (high - low).max(0.1);
    let middle = 0.5 * (low + high);
    let dot = |value: f64| {
        let up = (value - middle) / span + 0.5;
        ((1.0 - up) * (DOTS - 1) as f64).round().clamp(0.0, (DOTS - 1) as f64) as usize
    };
    let rate = f64::from(excerpt.rate.as_hz());
    let mut trace = BrailleTrace::new(width, HEIGHT);
    for column in 0..trace.columns() {
        let edge = |n: usize| ((from_s + n as f64 / DOTS_PER_SECOND) * rate).round() as usize;
        let last = edge(column + 1).min(excerpt.frames.len());
        let Some(frames) = excerpt.frames.get(edge(column)..last).filter(|frames| !frames.is_empty()) else {
            break;
        };
        trace.draw(column, frames.iter().map(|frame| dot(f64::from(frame.sample(channel)))));
    }
    for (line, dots) in trace.lines().enumerate() {
        let label = match line {
            0 => format!("{high:.1}"),
            2 => channel.id().chars().take(GUTTER - 1).collect(),
            3 => channel.kind().unit().into(),
            l if l + 1 == HEIGHT => format!("{low:.1}"),
            _ => String::new(),
        };
        let dots: String = dots.collect();
        let _ = writeln!(text, "{label:>8} {dots}");
    }
}

/// A line of `width` characters after the gutter with `marks` at their seconds from the row's start.
fn line(marks: impl Iterator<Item = (f64, String)>, width: usize) -> String {
    let mut line = vec![' '; width];
    for (at_s, words) in marks {
        let start = (at_s * DOTS_PER_SECOND / 2.0).floor();
        if start >= 0.0 && start as usize + words.chars().count() <= width {
            for (place, letter) in line.iter_mut().skip(start as usize).zip(words.chars()) {
                *place = letter;
            }
        }
    }
    let words: String = line.into_iter().collect();
    format!("{}{}\n", " ".repeat(GUTTER), words.trim_end())
}

fn codes(excerpt: &Excerpt, from_s: f64, width: usize) -> String {
    let beats = marks::beats(excerpt);
    line(beats.into_iter().map(|(at_s, code)| (at_s - from_s, code.symbol().to_string())), width)
}

fn seconds(excerpt: &Excerpt, from_s: f64, width: usize) -> String {
    let start_s = excerpt.start_s();
    let first = (start_s + from_s).ceil() as u64;
    let last = (start_s + excerpt.seconds()).floor() as u64;
    line((first..=last).map(|s| (s as f64 - start_s - from_s, format!("|{}", marks::clock(s as f64)))), width)
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_core::{
        frame::{Frame, Lead},
        time::FrameRate,
    };

    #[test]
    fn a_step_and_a_spike_are_seen_where_they_are() {
        let mut frames = vec![Frame::default(); 1240];
        for frame in &mut frames[620..] {
            frame.leads_mv[1] = 1.0;
        }
        frames[200].leads_mv[1] = 2.0;
        let excerpt = Excerpt {
            rate: FrameRate::lit(500),
            first: 0,
            frames,
            events: Vec::new(),
            labels: Vec::new(),
            seed: 1,
            settings: Vec::new(),
        };
        let text = print(&excerpt, &[Channel::Lead(Lead::II)], 40);
        let rows: Vec<Vec<char>> =
            text.lines().skip(1).take(HEIGHT).map(|l| l.chars().skip(GUTTER).collect()).collect();
        let lit = |line: usize, x: usize| rows[line].get(x).is_some_and(|c| *c != '\u{2800}' && *c != ' ');
        // One sample of 2 mV at 0.4 s: the fifth character of the top line, and nothing else there.
        assert!((0..31).all(|x| lit(0, x) == (x == 5)), "{text}");
        // Low before, middle after the step at 1.24 s.
        assert!(lit(HEIGHT - 1, 0) && !lit(HEIGHT - 1, 20) && (lit(2, 20) || lit(3, 20)), "{text}");
        assert!(text.contains("|1 s") && text.contains(NOTICE));
    }
}
