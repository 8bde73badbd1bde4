//! Pulsewright: plot.
