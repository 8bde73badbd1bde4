//! Limits of documents.

/// Longest text read, bytes: 16 MiB.
pub const MAX_BYTES: usize = 16 << 20;

/// Most steps and repeats in a document.
pub const MAX_STEPS: usize = 100_000;

/// Longest step, seconds: the longest time of 64 bits.
pub(crate) const MAX_STEP_S: f64 = 4_294_967_295.0;

/// Most bytes of a file beside a script: a recording's.
pub const MAX_BESIDE_BYTES: u64 = pulsewright_recording::LARGEST;
