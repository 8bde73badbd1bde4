//! Loops over many frames, in the widest vectors that there are.
//!
//! A program for a family of processors is built for the vectors that all of them have. With the feature `wide-vectors` a loop is
//! built a second time, for wider ones, and the processor decides which runs. No operation is fused with another or
//! changes its order, so the bits are the same.

/// Frames that a loop takes at a time, so that none are left for slower steps; a microcontroller takes them one by one.
pub(crate) const LANES: usize = if cfg!(feature = "wide-vectors") { 16 } else { 1 };

/// A loop with what it works on.
pub trait Loop {
    /// Runs it in the vectors of its caller; to be inlined, `#[inline(always)]`.
    fn run(self);
}

/// Runs a loop in the widest vectors.
#[cfg(feature = "wide-vectors")]
pub fn run(work: impl Loop) {
    struct Inlined<L>(L);

    impl<L: Loop> pulp::NullaryFnOnce for Inlined<L> {
        type Output = ();

        #[inline(always)]
        fn call(self) {
            self.0.run();
        }
    }

    pulp::Arch::new().dispatch(Inlined(work));
}

/// Runs a loop in the widest vectors.
#[cfg(not(feature = "wide-vectors"))]
#[inline(always)]
pub fn run(work: impl Loop) {
    work.run();
}
