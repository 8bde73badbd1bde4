//! AC coupling behind the converters, as sound cards have it, and how much of the signals it leaves.
//!
//! A coupling is judged as a high-pass of first order, by its answers to two test signals.

/// Least QRS that a monitor must find, mV: 0.5 mV (IEC 60601-2-27, as makers quote it).
pub const LEAST_QRS_MV: f64 = 0.5;

/// Least that must be left of a QRS of 1 mV for its amplitude to be a test, mV: within 5 % (IEC 60601-2-27 201.12.1.101.9, as makers quote it).
pub const LEAST_AMPLITUDE_MV: f64 = 0.95;

/// Furthest that the baseline may lie, mV, and fastest that it may move, mV/s, after an impulse of 3 mV and 100 ms: the test of the
/// low-frequency response of channels that show ST (limits of IEC 60601 as quoted in Maji and Burke, IEEE Transactions on Instrumentation and Measurement,
/// 2020).
pub const MOST_AFTER_IMPULSE: (f64, f64) = (0.1, 0.3);

/// A high-pass of first order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AcCoupling {
    corner_hz: f64,
}

impl AcCoupling {
    /// With this corner, Hz, where it has taken 3 dB.
    pub const fn at(corner_hz: f64) -> AcCoupling {
        AcCoupling { corner_hz }
    }

    /// Where it has taken 3 dB, Hz.
    pub const fn corner_hz(&self) -> f64 {
        self.corner_hz
    }

    /// Share of a level that is left after a time, s.
    pub fn left_after(&self, time_s: f64) -> f64 {
        (-time_s / self.time_constant_s()).exp()
    }

    /// Highest level of a triangular QRS of 1 mV and 80 ms, mV.
    pub fn qrs_mv(&self) -> f64 {
        // The answer to a slope; the triangle's second half only lowers it.
        const RISE_S: f64 = 0.04;
        self.time_constant_s() / RISE_S * (1.0 - self.left_after(RISE_S))
    }

    /// Where the baseline lies after an impulse of 3 mV and 100 ms, mV.
    pub fn after_impulse_mv(&self) -> f64 {
        -3.0 * (1.0 - self.left_after(0.1))
    }

    /// Whether levels of ST can be tested: the baseline after the impulse keeps [`MOST_AFTER_IMPULSE`].
    pub fn holds_st(&self) -> bool {
        let after = self.after_impulse_mv().abs();
        after <= MOST_AFTER_IMPULSE.0 && after / self.time_constant_s() <= MOST_AFTER_IMPULSE.1
    }

    /// Time in which a level falls to 37 %, s.
    pub fn time_constant_s(&self) -> f64 {
        1.0 / (std::f64::consts::TAU * self.corner_hz)
    }
}
