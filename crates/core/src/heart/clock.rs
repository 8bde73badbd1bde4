//! The clocks of the heart.

/// The clocks; those due together fire in this order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(usize)]
pub(super) enum Clock {
    /// The sinus node, or the focus that took its place.
    Sinus,
    /// Atria activated from below.
    Retrograde,
    /// The device's atrial pulse.
    PaceAtrium,
    /// The atria answering the device's pulse.
    PacedAtria,
    /// An impulse that fibrillating atria bring through the node.
    Irregular,
    /// An impulse arriving at the ventricles.
    Arrival,
    /// A premature beat.
    Ectopic,
    /// A regular focus below the atria.
    Focus,
    /// An escape focus.
    Escape,
    /// The device's ventricular pulse.
    PaceVentricle,
}

/// Every clock, in the order of firing.
pub(super) const CLOCK_ORDER: [Clock; 10] = [
    Clock::Sinus,
    Clock::Retrograde,
    Clock::PaceAtrium,
    Clock::PacedAtria,
    Clock::Irregular,
    Clock::Arrival,
    Clock::Ectopic,
    Clock::Focus,
    Clock::Escape,
    Clock::PaceVentricle,
];
/// How many clocks there are.
pub(super) const CLOCKS: usize = CLOCK_ORDER.len();
