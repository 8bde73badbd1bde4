//! Reading a monitor's alarm limits: `alarm_limits` of the document.

use super::expected::{AlarmSetting, AlarmSettings};
use crate::reader::JsonNode;
use crate::reader::Path;
use crate::walk::DocumentWalk;
use crate::words::{nearest, quoted, shown};
use pulsewright_core::expect::AlarmLimit;

/// The word for a limit whose alarm is switched off.
pub(crate) const OFF: &str = "off";

pub(crate) const SETTING_KEYS: [&str; 2] = ["value", "source"];

impl DocumentWalk<'_> {
    /// An object of limits, each with its value and source.
    pub(crate) fn alarm_settings(&mut self, node: JsonNode<'_>, path: &Path<'_>) -> AlarmSettings {
        let mut settings = AlarmSettings::new();
        let Some(entries) = self.entries(node, path, "limits of alarms") else { return settings };
        let words = || AlarmLimit::ALL.iter().map(|limit| limit.id());
        for entry in &entries {
            let path = path.key(&entry.key);
            let Some(limit) = AlarmLimit::find(&entry.key) else {
                let what = format!("unknown limit {}", shown(&entry.key));
                let near = nearest(&entry.key, words()).map(quoted);
                let allowed = "a word of the table of alarm limits in docs/script.md";
                self.report(entry.key_node, &path, |p| p.allowed(allowed).nearest(near), what);
                continue;
            };
            settings.extend(self.alarm_setting(limit, entry.value, &path));
        }
        settings
    }

    fn alarm_setting(&mut self, limit: AlarmLimit, node: JsonNode<'_>, path: &Path<'_>) -> Option<AlarmSetting> {
        let entries = self.entries(node, path, "a limit with \"value\" and \"source\"")?;
        let (mut value, mut source) = (None, None);
        for entry in &entries {
            let path = path.key(&entry.key);
            match entry.key.as_str() {
                "value" if entry.value.text().as_deref() == Some(OFF) => value = Some(None),
                "value" => {
                    value = self.plain_number(entry.value, &path, -1000.0, 1000.0).map(|value| Some(value as f32))
                }
                "source" => source = self.line(entry.value, &path),
                key => self.unknown(entry, &path, &SETTING_KEYS, nearest(key, SETTING_KEYS).map(quoted)),
            }
        }
        if !entries.iter().any(|entry| entry.key == "value") {
            self.missing(node, path, "value", "\"value\": a number, or \"off\"");
        }
        if !entries.iter().any(|entry| entry.key == "source") {
            self.missing(node, path, "source", "\"source\": where the limit comes from, such as the ward's profile");
        }
        Some(AlarmSetting { limit, value: value?, source: source? })
    }
}
