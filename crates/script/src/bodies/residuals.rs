//! Residuals of a body's document: what leads have beside the waves on the heart vector; read, written, and their schema.

use super::schema_parts::{ranged, shapes};
use super::{kept, word};
use crate::number::number;
use crate::reader::{JsonNode, NodeEntry, NodeKind, Path, nearest, quoted};
use crate::walk::DocumentWalk;
use pulsewright_core::frame::{Channel, INDEPENDENT_LEADS, Lead};
use pulsewright_core::internal::ecg::{
    Complex, MOST_KNOTS, P_AT_MS, QRS_AT_MS, Residual, Residuals, STEP_MS, T_AT_MS, Templates, UV, leads_uv,
};
use pulsewright_text::number::counted;
use serde_json::{Map, Value, json};
use std::ops::RangeInclusive;

/// Keys of the residuals of a body.
const PARTS: [&str; 3] = ["qrs", "t", "p"];
/// Keys of one residual.
const KEYS: [&str; 3] = ["at_ms", "step_ms", "leads_uv"];

/// Words of the leads that a residual can have.
fn lead_words() -> [&'static str; INDEPENDENT_LEADS] {
    Lead::INDEPENDENT.map(|lead| Channel::Lead(lead).id())
}

/// Words below a key of [`PARTS`], and the place of a word in [`Residuals`].
fn below(part: &str) -> (&'static [&'static str], fn(usize) -> usize) {
    match part {
        "qrs" => (word::complexes(), Residuals::qrs),
        "t" => (word::complexes(), Residuals::t),
        _ => (word::p_waves(), Residuals::p),
    }
}

impl DocumentWalk<'_> {
    /// Puts the residuals of a document in the place of those that a body has.
    pub(super) fn residuals(&mut self, node: JsonNode<'_>, path: &Path<'_>, templates: &mut Templates) {
        let Some(entries) = self.entries(node, path, "residuals") else { return };
        let mut all = templates.residuals.map_or(Residuals::NONE, |residuals| *residuals);
        for entry in &entries {
            let path = path.key(&entry.key);
            let part = entry.key.as_str();
            if !PARTS.contains(&part) {
                self.unknown(entry, &path, &PARTS, nearest(part, PARTS).map(quoted));
                continue;
            }
            let (words, place_of) = below(part);
            let complexes = templates.complexes;
            let of = |walk: &mut Self, place: usize, node: JsonNode<'_>, path: &Path<'_>| match part {
                "qrs" => walk.residual(node, path, &QRS_AT_MS),
                "t" => {
                    let residual = walk.residual(node, path, &T_AT_MS)?;
                    walk.after_onset(&residual, complexes.get(place)?, node, path)
                }
                _ => walk.residual(node, path, &P_AT_MS),
            };
            for (place, residual) in self.shapes(entry.value, &path, words, of) {
                all.0.get_mut(place_of(place)).into_iter().for_each(|old| *old = Some(residual));
            }
        }
        templates.residuals = kept::residuals(&all);
    }

    /// A residual that starts no sooner than the QRS.
    fn after_onset(
        &mut self,
        residual: &Residual<'static>,
        complex: &Complex,
        node: JsonNode<'_>,
        path: &Path<'_>,
    ) -> Option<Residual<'static>> {
        if residual.at_ms < -complex.qrs_ms {
            let allowed = format!("at_ms of -{} or more, as the QRS lasts {0} ms", complex.qrs_ms);
            let what = format!("the residual of T starts before the QRS, at {} ms", residual.at_ms);
            self.report(node, path, |p| p.allowed(allowed), what);
            return None;
        }
        Some(*residual)
    }

    /// A residual that starts within a range.
    fn residual(&mut self, node: JsonNode<'_>, path: &Path<'_>, at: &RangeInclusive<f32>) -> Option<Residual<'static>> {
        let entries = self.entries(node, path, "a residual")?;
        let before = self.found.count();
        let (mut at_ms, mut step_ms, mut knots) = (0.0, 0.0, Vec::new());
        for entry in &entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "at_ms" => at_ms = self.single(entry.value, &path, at, "ms").unwrap_or(at_ms),
                "step_ms" => step_ms = self.single(entry.value, &path, &STEP_MS, "ms").unwrap_or(step_ms),
                "leads_uv" => knots = self.leads_uv(entry.value, &path).unwrap_or_default(),
                key => self.unknown(entry, &path, &KEYS, nearest(key, KEYS).map(quoted)),
            }
        }
        for key in KEYS {
            if !entries.iter().any(|entry| entry.key == key) {
                self.missing(node, path, key, &format!("{} of the residual", quoted(key)));
            }
        }
        (self.found.count() == before).then(|| kept::residual(at_ms, step_ms, &knots))
    }

    /// The numbers of the leads, place by place; those of a lead that is left out are 0.
    fn leads_uv(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<Vec<[i16; INDEPENDENT_LEADS]>> {
        let entries = self.entries(node, path, "leads with their numbers")?;
        let words = lead_words();
        let mut knots: Vec<[i16; INDEPENDENT_LEADS]> = Vec::new();
        let mut first: Option<&NodeEntry<'_>> = None;
        for entry in &entries {
            let path = path.key(&entry.key);
            let Some(lead) = words.iter().position(|word| *word == entry.key) else {
                self.unknown(entry, &path, &words, nearest(&entry.key, words).map(quoted));
                continue;
            };
            let Some(numbers) = self.numbers_uv(entry.value, &path) else { continue };
            if let Some(first) = first
                && numbers.len() != knots.len()
            {
                let allowed = format!("{}, as in lead {}", counted(knots.len() as u64, "number"), first.key);
                let what = format!("lead {} can't have {}", entry.key, counted(numbers.len() as u64, "number"));
                self.report(entry.value, &path, |p| p.allowed(allowed), what);
                continue;
            }
            first = first.or(Some(entry));
            knots.resize(numbers.len(), [0; INDEPENDENT_LEADS]);
            for (knot, uv) in knots.iter_mut().zip(numbers) {
                knot.get_mut(lead).into_iter().for_each(|place| *place = uv);
            }
        }
        if entries.is_empty() {
            let what = "a residual of no lead".to_owned();
            self.report(node, path, |p| p.allowed(format!("numbers of {}", words.join(", "))), what);
        }
        Some(knots)
    }

    fn numbers_uv(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<Vec<i16>> {
        let Some((list, count)) = node.list(MOST_KNOTS) else {
            self.wrong_kind(node, path, NodeKind::List);
            return None;
        };
        if !(1..=MOST_KNOTS).contains(&count) {
            let what = format!("lead {} can't have {count} numbers", path.here());
            self.report(node, path, |p| p.allowed(format!("1 to {MOST_KNOTS} numbers")), what);
            return None;
        }
        let one = |(i, node): (usize, &JsonNode<'_>)| {
            let path = Path::Index(path, i);
            let range = f64::from(*UV.start())..=f64::from(*UV.end());
            let uv = self.found.number(*node, &path, range, "uV")?;
            if uv.fract() != 0.0 {
                let what = format!("{uv} uV is no whole number");
                self.report(*node, &path, |p| p.allowed("a whole number of microvolts"), what);
                return None;
            }
            Some(uv as i16)
        };
        let numbers: Vec<Option<i16>> = list.iter().enumerate().map(one).collect();
        numbers.into_iter().collect()
    }
}

/// The residuals of a body, as a document has them; `None` of a body without.
pub(super) fn json(templates: &Templates) -> Option<Value> {
    let all = templates.residuals?;
    let mut object = Map::new();
    for part in PARTS {
        let (words, place_of) = below(part);
        let one = |(place, word): (usize, &&str)| {
            let residual = (*all.0.get(place_of(place))?)?;
            Some(((*word).to_owned(), residual_json(&residual)))
        };
        let residuals: Map<String, Value> = words.iter().enumerate().filter_map(one).collect();
        if !residuals.is_empty() {
            object.insert(part.to_owned(), residuals.into());
        }
    }
    Some(object.into())
}

fn residual_json(residual: &Residual<'_>) -> Value {
    let knots: Vec<[i16; INDEPENDENT_LEADS]> = residual.knots.iter().map(leads_uv).collect();
    let mut leads = Map::new();
    for (lead, word) in lead_words().into_iter().enumerate() {
        let numbers: Vec<i16> = knots.iter().filter_map(|knot| knot.get(lead).copied()).collect();
        if numbers.iter().any(|uv| *uv != 0) || lead == 0 && knots.iter().flatten().all(|uv| *uv == 0) {
            leads.insert(word.to_owned(), json!(numbers));
        }
    }
    json!({"at_ms": number(residual.at_ms), "step_ms": number(residual.step_ms), "leads_uv": leads})
}

/// Schemas that the one of the residuals refers to by name.
pub(super) fn named() -> impl Iterator<Item = (&'static str, Value)> {
    let numbers = json!({
        "type": "array", "minItems": 1, "maxItems": MOST_KNOTS,
        "items": {"type": "integer", "minimum": UV.start(), "maximum": UV.end()}
    });
    let mut leads = shapes(
        "Numbers of each lead, uV, all lists of one length; 0 in leads left out.",
        &lead_words(),
        "#/$defs/residual_numbers",
    );
    leads["minProperties"] = 1.into();
    let residual = |at: &RangeInclusive<f32>, from: &str| {
        json!({
            "type": "object", "additionalProperties": false, "required": KEYS,
            "properties": {
                "at_ms": ranged(&format!("Start after {from}."), at, "ms"),
                "step_ms": ranged("From one number to the next.", &STEP_MS, "ms"),
                "leads_uv": {"$ref": "#/$defs/residual_leads"}
            }
        })
    };
    [
        ("residual_numbers", numbers),
        ("residual_leads", leads),
        ("qrs_residual", residual(&QRS_AT_MS, "QRS onset")),
        ("t_residual", residual(&T_AT_MS, "the end of the QRS")),
        ("p_residual", residual(&P_AT_MS, "P onset")),
    ]
    .into_iter()
}

/// Schema of the residuals of a body.
pub(super) fn schema() -> Value {
    let part = |doc: &str, part: &str| shapes(doc, below(part).0, &format!("#/$defs/{part}_residual"));
    json!({
        "type": "object",
        "description": "The part of each lead that the waves on the heart vector do not draw: sums of smooth bumps, one for each number.",
        "additionalProperties": false,
        "properties": {
            "qrs": part("With the QRS of each way to activate the ventricles.", "qrs"),
            "t": part("With its T wave.", "t"),
            "p": part("With the P wave of each place where the atria are activated.", "p")
        }
    })
}
