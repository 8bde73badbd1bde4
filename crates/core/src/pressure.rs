//! Pressures: each ejection starts where the runoff of the one before has got to.

pub mod arterial;
