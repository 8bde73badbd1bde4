//! Pulsewright: script.
