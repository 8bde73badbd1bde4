//! Problems of a document: the place, the mistake, the allowed values; and how they are shown.

use annotate_snippets::{AnnotationKind, Level, Origin, Renderer, Snippet};
use pulsewright_text::fit::{block, cut, line};
use std::borrow::Cow;
use std::fmt;
use std::ops::Range;

/// Problems kept; the rest are only counted.
const KEPT: usize = 50;

/// Longest list of allowed values that is shown again, bytes.
const LISTED: usize = 200;

/// Problems after which reading stops: a list that long can't be mended by hand.
const FLOOD: usize = 1000;

/// Bytes of text kept before and after a problem, and between two places of one; a line may be as long as the file.
const LINE: usize = 2000;

/// Longest sentence of a problem, characters.
const SENTENCE: usize = 500;

/// One problem.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Byte range in the text; `None` when there is no text, or the whole of it is meant.
    pub span: Option<Range<usize>>,
    /// JSON path, such as `steps[2].rate_bpm`; list indices count from 0.
    pub path: String,
    /// The mistake, one line.
    pub what: String,
    /// The values allowed instead, one line.
    pub allowed: Option<String>,
    /// The word that was probably meant.
    pub nearest: Option<String>,
    /// Another place that matters, and why.
    pub also: Option<(Range<usize>, String)>,
}

impl Problem {
    /// A problem without a place yet.
    pub fn new(what: impl Into<String>) -> Problem {
        Problem { span: None, path: String::new(), what: what.into(), allowed: None, nearest: None, also: None }
    }

    /// At this byte range.
    pub fn at(mut self, span: Range<usize>) -> Problem {
        self.span = Some(span);
        self
    }

    /// At this JSON path.
    pub fn path(mut self, path: impl fmt::Display) -> Problem {
        self.path = path.to_string();
        self
    }

    /// With the values that are allowed.
    pub fn allowed(mut self, allowed: impl Into<String>) -> Problem {
        self.allowed = Some(allowed.into());
        self
    }

    /// With what was probably meant.
    pub fn nearest(mut self, nearest: Option<impl Into<String>>) -> Problem {
        self.nearest = nearest.map(Into::into);
        self
    }
}

/// Problems as they are found: the first are kept, all are counted, so that a bad file costs no more than a good one.
#[derive(Clone, Debug, Default)]
pub struct ProblemCollector {
    list: Vec<Problem>,
    more: usize,
}

impl ProblemCollector {
    /// Just this one.
    pub fn one(problem: Problem) -> ProblemCollector {
        ProblemCollector { list: vec![problem], more: 0 }
    }

    /// Takes one down.
    pub fn push(&mut self, problem: Problem) {
        if self.list.len() < KEPT {
            self.list.push(problem);
        } else {
            self.more += 1;
        }
    }

    /// How many were found.
    pub fn count(&self) -> usize {
        self.list.len() + self.more
    }

    /// Whether there are so many that more of them would not help.
    pub fn is_flood(&self) -> bool {
        self.count() >= FLOOD
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }
}

/// Every problem of a document, in the order of its text.
///
/// `Display` gives them as plain text; [`Problems::render`] with colour for a terminal.
#[derive(Clone, Debug)]
pub struct Problems {
    name: String,
    text: String,
    list: Vec<Problem>,
    more: usize,
}

impl Problems {
    /// Problems of the text called `name` in messages.
    pub fn of(name: &str, text: &str, found: ProblemCollector) -> Problems {
        let ProblemCollector { mut list, more } = found;
        list.sort_by_key(|problem| problem.span.as_ref().map_or(usize::MAX, |span| span.start));
        Problems { name: name.to_owned(), text: text.to_owned(), list, more }
    }

    /// The problems; the first 50 of them.
    pub fn list(&self) -> &[Problem] {
        &self.list
    }

    /// Line and column of a problem, counted from 1, columns in characters.
    pub fn place(&self, problem: &Problem) -> Option<(usize, usize)> {
        let before = self.text.get(..problem.span.as_ref()?.start)?;
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().unwrap_or(before).chars().count() + 1;
        Some((line, column))
    }

    /// The problems as text, each with file, line, column, the line itself and a caret.
    pub fn render(&self, color: bool) -> String {
        let renderer = if color { Renderer::styled() } else { Renderer::plain() };
        let problems = self.list.iter().enumerate();
        let mut shown: Vec<String> =
            problems.map(|(index, problem)| self.show(problem, self.repeated(index), &renderer)).collect();
        let count = self.list.len() + self.more;
        let name = line(&self.name);
        if count >= FLOOD {
            let (shown_here, more) = (self.list.len(), count - self.list.len());
            shown.push(format!("{shown_here} problems in {name} and {more} more; its rest was not looked at"));
        } else if self.more > 0 {
            shown.push(format!("{} problems in {name} and {} more", self.list.len(), self.more));
        } else if count > 1 {
            shown.push(format!("{count} problems in {name}"));
        }
        shown.join("\n\n")
    }

    /// The path of the first problem with the same long list of allowed values, for one that comes after it.
    fn repeated(&self, index: usize) -> Option<&str> {
        let allowed = self.list.get(index)?.allowed.as_ref().filter(|allowed| allowed.len() > LISTED)?;
        let first = self.list.iter().take(index).find(|before| before.allowed.as_ref() == Some(allowed))?;
        Some(&first.path)
    }

    fn show(&self, problem: &Problem, repeated: Option<&str>, renderer: &Renderer) -> String {
        let fit = |text: &str| cut(&line(text), SENTENCE).into_owned();
        let title = Level::ERROR.primary_title(fit(&problem.what));
        let name = fit(&self.name);
        let mut group = match &problem.span {
            Some(span) => {
                let also = problem.also.as_ref().filter(|(also, _)| also.start.abs_diff(span.start) < LINE);
                let (excerpt, base, number, whole) = self.excerpt(span, also.map(|(span, _)| span));
                let seen_excerpt = seen(excerpt);
                let unchanged = seen_excerpt == excerpt;
                let place = |at: usize| seen(&excerpt[..boundary(excerpt, at.saturating_sub(base))]).len();
                let inside = |span: &Range<usize>| {
                    let start = boundary(&seen_excerpt, place(span.start));
                    start..first_line(&seen_excerpt, start, boundary(&seen_excerpt, place(span.end)))
                };
                let label = if problem.path.is_empty() { String::new() } else { fit(&format!("at {}", problem.path)) };
                let main = AnnotationKind::Primary.span(inside(span)).label(label);
                let also = also.map(|(s, why)| AnnotationKind::Context.span(inside(s)).label(fit(why)));
                let snippet = Snippet::source(seen_excerpt).line_start(number).annotation(main).annotations(also);
                if unchanged && whole {
                    title.element(snippet.path(name))
                } else {
                    // The column of a piece of a line would be wrong, and so would that behind an escape.
                    let (at, column) = self.place(problem).unwrap_or((number, 1));
                    title.element(Origin::path(name).line(at).char_column(column)).element(snippet)
                }
            }
            None => title.element(Level::NOTE.message(match problem.path.as_str() {
                "" => format!("in {name}"),
                path => format!("in {name}, at {}", fit(path)),
            })),
        };
        if let Some(nearest) = &problem.nearest {
            group = group.element(Level::HELP.message(format!("did you mean {}?", fit(nearest))));
        }
        if let Some(allowed) = &problem.allowed {
            let same = repeated.map(|path| format!("the same as at {}", fit(path)));
            let message = same.unwrap_or_else(|| line(allowed).into_owned());
            group = group.element(Level::NOTE.with_name("allowed").message(message));
        }
        renderer.render(&[group])
    }

    /// The lines from one span to the other, their offset in the text, the number of the first, and whether the excerpt begins
    /// at the start of its line.
    ///
    /// Rendering takes time in proportion to the text, so it gets only these lines; an endless line is cut before and after.
    fn excerpt(&self, span: &Range<usize>, also: Option<&Range<usize>>) -> (&str, usize, usize, bool) {
        let text = self.text.as_str();
        let first = also.map_or(span.start, |also| also.start.min(span.start));
        let last = also.map_or(span.start, |also| also.start.max(span.start));
        let start = text.get(..first).and_then(|before| before.rfind('\n')).map_or(0, |newline| newline + 1);
        let end = text.get(last..).and_then(|after| after.find('\n')).map_or(text.len(), |newline| last + newline);
        let line = text.get(..start).map_or(1, |before| before.matches('\n').count() + 1);
        let end = boundary(text, end.min(last.saturating_add(LINE)));
        let from = boundary(text, start.max(first.saturating_sub(LINE)));
        (text.get(from..end).unwrap_or(""), from, line, from == start)
    }
}

/// An excerpt as a terminal may show it: what does something instead of being seen is an escape. Line ends are alike.
fn seen(excerpt: &str) -> Cow<'_, str> {
    if !excerpt.contains("\r\n") {
        return block(excerpt);
    }
    Cow::Owned(excerpt.split("\r\n").map(block).collect::<Vec<_>>().join("\n"))
}

/// `at`, or the nearest place before it that does not split a character.
fn boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// `end`, or the end of the line of `start` when that comes first: a caret under a whole object does not help.
fn first_line(text: &str, start: usize, end: usize) -> usize {
    let line = text.get(start..).and_then(|rest| rest.find('\n')).map_or(text.len(), |newline| start + newline);
    end.min(line).max(start)
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.render(false))
    }
}

impl std::error::Error for Problems {}
