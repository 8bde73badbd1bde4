//! Reading the shapes of a body's beats.

use super::word::{COMPLEX_KEYS, T_KEYS, WAVE_KEYS};
use super::{edges, kept};
use crate::reader::{JsonNode, NodeEntry, NodeKind, Path, nearest, quoted};
use crate::walk::DocumentWalk;
use pulsewright_core::internal::ecg::{
    Complex, FALL_MS, HOLD_MS, MOST_P_WAVES, MOST_QRS_WAVES, MV, P_AT_MS, QRS_AT_MS, QRS_MS, QT_MS, SHORTEST_JT_MS,
    T_AT_MS, Wave,
};
use pulsewright_text::number::counted;
use std::ops::RangeInclusive;

/// How far an interval that a document states may be from the one that its waves show: this share of it, and these ms.
const NEAR: f64 = 0.1;
const NEAR_MS: f64 = 10.0;

impl DocumentWalk<'_> {
    /// Shapes under the words of a list, each read by `one`, with its place in the list.
    pub(super) fn shapes<T>(
        &mut self,
        node: JsonNode<'_>,
        path: &Path<'_>,
        words: &[&str],
        mut one: impl FnMut(&mut Self, usize, JsonNode<'_>, &Path<'_>) -> Option<T>,
    ) -> Vec<(usize, T)> {
        let mut shapes = Vec::new();
        let Some(entries) = self.entries(node, path, "shapes") else { return shapes };
        for entry in &entries {
            let path = path.key(&entry.key);
            match words.iter().position(|word| *word == entry.key) {
                Some(place) => shapes.extend(one(self, place, entry.value, &path).map(|shape| (place, shape))),
                None => self.unknown(entry, &path, words, nearest(&entry.key, words.iter().copied()).map(quoted)),
            }
        }
        shapes
    }

    /// QRS and T of one kind of beat, which differ from those of `base` where the document says so.
    pub(super) fn complex(&mut self, base: &Complex, node: JsonNode<'_>, path: &Path<'_>) -> Option<&'static Complex> {
        let entries = self.entries(node, path, "a QRS complex with its T wave")?;
        let before = self.found.count();
        let (mut qrs, mut qrs_ms, mut t, mut qt_ms) = (base.qrs.to_vec(), base.qrs_ms, *base.t, base.qt_ms);
        for entry in &entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "qrs_ms" => qrs_ms = self.single(entry.value, &path, &QRS_MS, "ms").unwrap_or(qrs_ms),
                "qt_ms" => qt_ms = self.single(entry.value, &path, &QT_MS, "ms").unwrap_or(qt_ms),
                "qrs" => qrs = self.waves(entry.value, &path, MOST_QRS_WAVES, &QRS_AT_MS).unwrap_or(qrs),
                key => match T_KEYS.iter().position(|known| *known == key).and_then(|place| t.get_mut(place)) {
                    Some(place) => *place = self.wave(entry.value, &path, &T_AT_MS).unwrap_or(*place),
                    None => self.unknown(entry, &path, &COMPLEX_KEYS, nearest(key, COMPLEX_KEYS).map(quoted)),
                },
            }
        }
        if self.found.count() > before {
            return None;
        }
        self.fiducials(&entries, node, path, &qrs, qrs_ms, &t, qt_ms);
        (self.found.count() == before).then(|| kept::complex(&qrs, qrs_ms, t, qt_ms))
    }

    /// Reports intervals that are not those of the waves.
    #[allow(clippy::too_many_arguments)] // A complex and its place.
    fn fiducials(
        &mut self,
        entries: &[NodeEntry<'_>],
        node: JsonNode<'_>,
        path: &Path<'_>,
        qrs: &[Wave],
        qrs_ms: f32,
        t: &[Wave; 3],
        qt_ms: f32,
    ) {
        let jt_ms = qt_ms - qrs_ms;
        let place = |key: &str| entries.iter().find(|entry| entry.key == key).map_or(node, |entry| entry.value);
        if jt_ms < SHORTEST_JT_MS {
            let allowed = format!("at least {SHORTEST_JT_MS} ms more than qrs_ms, {qrs_ms} ms");
            self.report(
                place("qt_ms"),
                &path.key("qt_ms"),
                |p| p.allowed(allowed),
                format!("qt_ms can't be {qt_ms} ms"),
            );
            return;
        }
        for (key, wave) in T_KEYS.into_iter().zip(t).filter(|(_, wave)| wave.at_ms < -qrs_ms) {
            let allowed = format!("at_ms of -{qrs_ms} or more, as the QRS lasts {qrs_ms} ms");
            let what = format!("{key} starts before the QRS, at {} ms", wave.at_ms);
            self.report(place(key), &path.key(key), |p| p.allowed(allowed), what);
        }
        let near = |stated: f32, shown: f64| (f64::from(stated) - shown).abs() <= NEAR_MS + NEAR * f64::from(stated);
        if let Some(shown) = edges::qrs_ms(qrs).filter(|shown| !near(qrs_ms, *shown)) {
            let allowed = format!("the duration that the waves show, {shown:.0} ms, or other waves");
            let what = format!(
                "the QRS waves do not last qrs_ms, {qrs_ms} ms, where the heart vector is above 5 % of its peak"
            );
            self.report(place("qrs_ms"), &path.key("qrs_ms"), |p| p.allowed(allowed), what);
        } else if let Some(shown) = edges::t_end_ms(t).filter(|shown| !near(jt_ms, *shown)) {
            let allowed =
                format!("the QT interval that the waves show, {:.0} ms, or other waves", f64::from(qrs_ms) + shown);
            let what = format!("the T wave does not end at qt_ms, {qt_ms} ms, by the steepest tangent");
            self.report(place("qt_ms"), &path.key("qt_ms"), |p| p.allowed(allowed), what);
        }
    }

    /// A P wave.
    pub(super) fn p_wave(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<&'static [Wave]> {
        self.waves(node, path, MOST_P_WAVES, &P_AT_MS).map(|waves| kept::p_wave(&waves))
    }

    /// At least one wave.
    fn waves(
        &mut self,
        node: JsonNode<'_>,
        path: &Path<'_>,
        most: usize,
        at: &RangeInclusive<f32>,
    ) -> Option<Vec<Wave>> {
        let Some((list, count)) = node.list(most) else {
            self.wrong_kind(node, path, NodeKind::List);
            return None;
        };
        if !(1..=most).contains(&count) {
            let what = format!("{} can't have {count} waves", path.here());
            self.report(node, path, |p| p.allowed(format!("1 to {most} waves")), what);
            return None;
        }
        let waves = list.iter().enumerate().map(|(i, node)| self.wave(*node, &Path::Index(path, i), at));
        // Every wave is read, so that every problem is reported.
        let waves: Vec<Option<Wave>> = waves.collect();
        waves.into_iter().collect()
    }

    fn wave(&mut self, node: JsonNode<'_>, path: &Path<'_>, at: &RangeInclusive<f32>) -> Option<Wave> {
        let entries = self.entries(node, path, "a wave")?;
        let before = self.found.count();
        let mut wave = Wave { at_ms: 0.0, rise_ms: 0.0, hold_ms: 0.0, fall_ms: 0.0, mv: [0.0; 3] };
        for entry in &entries {
            let path = path.key(&entry.key);
            let (number, range) = match entry.key.as_str() {
                "at_ms" => (&mut wave.at_ms, at),
                "rise_ms" => (&mut wave.rise_ms, &FALL_MS),
                "hold_ms" => (&mut wave.hold_ms, &HOLD_MS),
                "fall_ms" => (&mut wave.fall_ms, &FALL_MS),
                "xyz_mv" => {
                    wave.mv = self.vector(entry.value, &path).unwrap_or(wave.mv);
                    continue;
                }
                key => {
                    self.unknown(entry, &path, &WAVE_KEYS, nearest(key, WAVE_KEYS).map(quoted));
                    continue;
                }
            };
            *number = self.single(entry.value, &path, range, "ms").unwrap_or(*number);
        }
        for key in WAVE_KEYS.into_iter().filter(|key| *key != "hold_ms") {
            if !entries.iter().any(|entry| entry.key == key) {
                self.missing(node, path, key, &format!("{} of the wave", quoted(key)));
            }
        }
        (self.found.count() == before).then_some(wave)
    }

    /// X, Y and Z, mV.
    fn vector(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> Option<[f32; 3]> {
        let allowed = "[X, Y, Z]: left, down and back on the heart vector, mV";
        match node.list(3) {
            Some((list, 3)) => {
                let numbers =
                    list.iter().enumerate().map(|(i, node)| self.single(*node, &Path::Index(path, i), &MV, "mV"));
                let numbers: Vec<Option<f32>> = numbers.collect();
                let numbers: Option<Vec<f32>> = numbers.into_iter().collect();
                numbers?.try_into().ok()
            }
            Some((_, count)) => {
                self.report(
                    node,
                    path,
                    |p| p.allowed(allowed),
                    format!("xyz_mv can't have {}", counted(count as u64, "number")),
                );
                None
            }
            None => {
                let what = format!("xyz_mv can't be {}", node.kind().noun());
                self.report(node, path, |p| p.allowed(allowed), what);
                None
            }
        }
    }

    /// A number of a range, as the core has it.
    pub(super) fn single(
        &mut self,
        node: JsonNode<'_>,
        path: &Path<'_>,
        range: &RangeInclusive<f32>,
        unit: &str,
    ) -> Option<f32> {
        let (min, max) = (*range.start(), *range.end());
        self.found.number(node, path, f64::from(min)..=f64::from(max), unit)?;
        // Read anew, or a decimal would be rounded twice.
        Some(node.raw().parse::<f32>().ok()?.clamp(min, max) + 0.0)
    }
}
