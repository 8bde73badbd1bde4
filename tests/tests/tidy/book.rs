//! The pages of docs as a book: its summary has every page, and every link of a page leads somewhere.

use super::source::{files, root, shown};
use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// A page: its headings as anchors, and the targets of its links and pictures.
#[derive(Debug, Default)]
pub struct Page {
    pub anchors: BTreeSet<String>,
    pub links: Vec<String>,
}

impl Page {
    /// Reads the text of a page.
    pub fn read(text: &str) -> Page {
        let mut page = Page::default();
        let mut heading: Option<String> = None;
        for event in Parser::new_ext(text, Options::ENABLE_TABLES) {
            match event {
                Event::Start(Tag::Link { dest_url, .. } | Tag::Image { dest_url, .. }) => {
                    page.links.push(dest_url.into_string());
                }
                Event::Start(Tag::Heading { .. }) => heading = Some(String::new()),
                Event::End(TagEnd::Heading(_)) => page.add_anchor(&heading.take().unwrap_or_default()),
                Event::Html(html) | Event::InlineHtml(html) => {
                    let named = html.split(" id=\"").skip(1).filter_map(|rest| rest.split('"').next());
                    page.anchors.extend(named.map(str::to_owned));
                }
                Event::Text(words) | Event::Code(words) => {
                    if let Some(heading) = &mut heading {
                        heading.push_str(&words);
                    }
                }
                _ => {}
            }
        }
        page
    }

    /// The anchor of a heading, as book makers and code hosts form it; the second of the same words gets a number.
    fn add_anchor(&mut self, heading: &str) {
        let kept = heading.to_lowercase();
        let kept = kept.chars().filter(|c| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_'));
        let anchor: String = kept.map(|c| if c == ' ' { '-' } else { c }).collect();
        let again = (1..).map(|number| format!("{anchor}-{number}"));
        let free = std::iter::once(anchor.clone()).chain(again).find(|anchor| !self.anchors.contains(anchor));
        self.anchors.extend(free);
    }
}

/// Links of a page at `path` that lead nowhere; `pages` are all pages by their path.
fn broken(path: &Path, page: &Page, pages: &BTreeMap<PathBuf, Page>) -> Vec<String> {
    let mut found = Vec::new();
    for link in page.links.iter().filter(|link| !link.contains("://") && !link.starts_with("mailto:")) {
        let (file, anchor) = link.split_once('#').unwrap_or((link, ""));
        let target = if file.is_empty() { path.to_owned() } else { path.parent().unwrap_or(path).join(file) };
        let Ok(target) = target.canonicalize() else {
            found.push(format!("{}: {link} leads nowhere", shown(path)));
            continue;
        };
        let has = |page: &Page| anchor.is_empty() || page.anchors.contains(anchor);
        if !pages.get(&target).is_none_or(has) {
            found.push(format!("{}: {link} has no such heading", shown(path)));
        }
    }
    found
}

/// Faults of the book and of the other pages of the repository.
pub fn check() -> Vec<String> {
    let paths = files(".", ".md").into_iter().filter_map(|path| path.canonicalize().ok());
    let pages: BTreeMap<PathBuf, Page> =
        paths.map(|path| (path.clone(), Page::read(&std::fs::read_to_string(&path).unwrap_or_default()))).collect();
    let mut found: Vec<String> = pages.iter().flat_map(|(path, page)| broken(path, page, &pages)).collect();
    let docs = root().join("docs");
    let summary = Page::read(&std::fs::read_to_string(docs.join("SUMMARY.md")).unwrap_or_default());
    for path in files("docs", ".md").iter().filter(|path| !path.ends_with("SUMMARY.md")) {
        let name = path.strip_prefix(&docs).unwrap_or(path).display().to_string();
        match summary.links.iter().filter(|link| **link == name).count() {
            1 => {}
            times => found.push(format!("docs/SUMMARY.md has {name} {times} times, not once")),
        }
    }
    let shown_strips: BTreeSet<PathBuf> = pages
        .iter()
        .filter(|(path, _)| path.starts_with(&docs))
        .flat_map(|(_, page)| page.links.iter().filter_map(|link| docs.join(link).canonicalize().ok()))
        .collect();
    let hidden = files("docs/strips", ".svg").into_iter().filter(|strip| !shown_strips.contains(strip));
    found.extend(hidden.map(|strip| format!("no page of docs shows {}", shown(&strip))));
    found
}
