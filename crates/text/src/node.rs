//! JSON values that know where they stand in the text.
//!
//! Each level is split by `serde_json` into raw slices of the text, so a place costs nothing until it is asked for.
//! Only the parts that a reader looks into are taken apart: the reader, not the text, sets depth and memory.

use serde::de::{Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};
use serde_json::value::RawValue;
use std::fmt;
use std::ops::Range;

/// The kind of a value, as messages name it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // The names are the documentation: the kinds of JSON.
pub enum NodeKind {
    Object,
    List,
    Text,
    Number,
    Bool,
    Null,
}

impl NodeKind {
    /// With its article, for messages.
    pub fn noun(self) -> &'static str {
        match self {
            NodeKind::Object => "an object",
            NodeKind::List => "a list",
            NodeKind::Text => "text",
            NodeKind::Number => "a number",
            NodeKind::Bool => "true or false",
            NodeKind::Null => "null",
        }
    }
}

/// A value at its place.
#[derive(Clone, Copy, Debug)]
pub struct JsonNode<'a> {
    /// Offset of `raw` in the whole text.
    start: usize,
    raw: &'a str,
}

/// A key and its value.
#[derive(Clone, Debug)]
pub struct NodeEntry<'a> {
    /// The key, its escapes resolved.
    pub key: String,
    /// Where the key stands.
    pub key_node: JsonNode<'a>,
    /// The value behind it.
    pub value: JsonNode<'a>,
}

impl<'a> JsonNode<'a> {
    /// The one value of a text; checks all of its syntax.
    pub fn root(text: &'a str) -> Result<JsonNode<'a>, serde_json::Error> {
        let raw: &'a RawValue = serde_json::from_str(text)?;
        Ok(JsonNode::within(text, 0, raw))
    }

    /// The value at a place where one was found before.
    pub fn cut(text: &'a str, span: &Range<usize>) -> JsonNode<'a> {
        JsonNode { start: span.start, raw: text.get(span.clone()).unwrap_or_default() }
    }

    /// `inner` was cut out of `outer`, which starts at `base`.
    fn within(outer: &'a str, base: usize, inner: &'a RawValue) -> JsonNode<'a> {
        let raw = inner.get();
        let offset = (raw.as_ptr() as usize).saturating_sub(outer.as_ptr() as usize);
        JsonNode { start: base + offset, raw }
    }

    /// Byte range in the whole text.
    pub fn span(&self) -> Range<usize> {
        self.start..self.start + self.raw.len()
    }

    /// The part to point at: all of the value, but of a long object or list only its bracket.
    pub fn mark(&self) -> Range<usize> {
        let long = self.raw.len() > 60 && matches!(self.kind(), NodeKind::Object | NodeKind::List);
        if long { self.start..self.start + 1 } else { self.span() }
    }

    /// As written.
    pub fn raw(&self) -> &'a str {
        self.raw
    }

    /// Its kind.
    pub fn kind(&self) -> NodeKind {
        match self.raw.as_bytes().first() {
            Some(b'{') => NodeKind::Object,
            Some(b'[') => NodeKind::List,
            Some(b'"') => NodeKind::Text,
            Some(b't' | b'f') => NodeKind::Bool,
            Some(b'n') => NodeKind::Null,
            _ => NodeKind::Number,
        }
    }

    /// Text with its escapes resolved; `None` for anything else, and for half of a surrogate pair.
    pub fn text(&self) -> Option<String> {
        serde_json::from_str(self.raw).ok()
    }

    /// The first `limit` elements of a list, and how many there are.
    pub fn list(&self, limit: usize) -> Option<(Vec<JsonNode<'a>>, usize)> {
        let mut reader = serde_json::Deserializer::from_str(self.raw);
        let (values, count) = reader.deserialize_seq(Elements { limit }).ok()?;
        Some((values.into_iter().map(|raw| JsonNode::within(self.raw, self.start, raw)).collect(), count))
    }

    /// Gives every element of a list to `each`, until one of them is refused; of anything else, none.
    ///
    /// # Errors
    /// The error of `each`.
    pub fn each<E>(&self, each: &mut dyn FnMut(JsonNode<'a>) -> Result<(), E>) -> Result<(), E> {
        let mut refused = Ok(());
        let (outer, start) = (self.raw, self.start);
        let mut one = |raw| {
            refused = each(JsonNode::within(outer, start, raw));
            refused.is_ok()
        };
        let mut reader = serde_json::Deserializer::from_str(self.raw);
        // The text was checked; the only error left is a list that was left early.
        let _ = reader.deserialize_seq(Every { one: &mut one });
        refused
    }

    /// The first `limit` entries of an object, and how many there are.
    pub fn object(&self, limit: usize) -> Option<(Vec<NodeEntry<'a>>, usize)> {
        let mut reader = serde_json::Deserializer::from_str(self.raw);
        let (entries, count) = reader.deserialize_map(Entries { limit }).ok()?;
        let entries = entries.into_iter().map(|(key, value)| {
            let key_node = JsonNode::within(self.raw, self.start, key);
            let key = key_node.text().unwrap_or_else(|| key_node.raw.trim_matches('"').to_owned());
            NodeEntry { key, key_node, value: JsonNode::within(self.raw, self.start, value) }
        });
        Some((entries.collect(), count))
    }
}

struct Elements {
    limit: usize,
}

impl<'de> Visitor<'de> for Elements {
    type Value = (Vec<&'de RawValue>, usize);

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a list")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
        let mut kept = Vec::new();
        while kept.len() < self.limit {
            match list.next_element()? {
                Some(raw) => kept.push(raw),
                None => break,
            }
        }
        let mut count = kept.len();
        // Counted without being kept; asking again after the end answers `None` again.
        while list.next_element::<IgnoredAny>()?.is_some() {
            count += 1;
        }
        Ok((kept, count))
    }
}

struct Every<'e, 'a> {
    one: &'e mut dyn FnMut(&'a RawValue) -> bool,
}

impl<'de> Visitor<'de> for Every<'_, 'de> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a list")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
        while let Some(raw) = list.next_element()? {
            if !(self.one)(raw) {
                break;
            }
        }
        Ok(())
    }
}

struct Entries {
    limit: usize,
}

impl<'de> Visitor<'de> for Entries {
    type Value = (Vec<(&'de RawValue, &'de RawValue)>, usize);

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an object")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
        let mut kept = Vec::new();
        while kept.len() < self.limit {
            match map.next_entry()? {
                Some(entry) => kept.push(entry),
                None => break,
            }
        }
        let mut count = kept.len();
        while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {
            count += 1;
        }
        Ok((kept, count))
    }
}
