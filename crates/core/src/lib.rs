//! Pulsewright: core.
