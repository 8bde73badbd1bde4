//! Pulsewright: files.
