//! Content of a render.

use pulsewright_core::expect::AlarmLimits;
use pulsewright_core::script::Script;

/// Content of a render.
#[derive(Clone, Copy, Debug)]
pub struct Content<'a> {
    /// The script.
    pub script: &'a Script<'a>,
    /// Its title; may be empty.
    pub title: &'a str,
    /// Names of steps by item of the script; a missing one is empty.
    pub labels: &'a [&'a str],
    /// Limits of the alarms in its truth.
    pub limits: AlarmLimits,
}
