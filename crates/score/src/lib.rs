//! Pulsewright: score.
