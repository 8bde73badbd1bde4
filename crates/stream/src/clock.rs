//! When frames are due, and waiting until they are.

use pulsewright_core::time::FrameRate;
use std::thread;
use std::time::{Duration, Instant};

/// The clock that frames are played by: a start and a rate, so that nothing adds up.
#[derive(Clone, Copy, Debug)]
pub struct PaceClock {
    start: Instant,
    rate: FrameRate,
}

impl PaceClock {
    /// Frame 0 is due this long from now.
    pub fn starting_in(wait: Duration, rate: FrameRate) -> PaceClock {
        PaceClock { start: Instant::now() + wait, rate }
    }

    /// When a frame is due.
    pub fn due(&self, frame: u64) -> Instant {
        let hz = u64::from(self.rate.as_hz());
        self.start + Duration::from_secs(frame / hz) + Duration::from_nanos((frame % hz) * 1_000_000_000 / hz)
    }

    /// How long until a frame is due; nothing once it is.
    pub fn left(&self, frame: u64) -> Duration {
        self.due(frame).saturating_duration_since(Instant::now())
    }

    /// How late a frame would be now; nothing before it is due.
    pub fn late(&self, frame: u64) -> Duration {
        Instant::now().saturating_duration_since(self.due(frame))
    }

    /// Sleeps until a frame is due.
    pub fn wait_for(&self, frame: u64) {
        thread::sleep(self.left(frame));
    }

    /// Every frame is due this much later.
    pub fn put_off(&mut self, by: Duration) {
        self.start += by;
    }
}

/// Asks the system to wake this thread on time; returns whether it grants real-time scheduling, which takes a
/// privilege (on Linux `CAP_SYS_NICE`, or a limit of real-time priority above 0).
///
/// Only for a thread that sleeps most of its time: it comes before all that is not real-time.
pub fn ask_to_wake_on_time() -> bool {
    // Ordinary threads are woken up to 50 us late, so that wakings can be gathered. Anyone may ask for less.
    #[cfg(target_os = "linux")]
    let _ = rustix::thread::set_current_timer_slack(std::num::NonZeroU64::new(1));
    real_time()
}

#[cfg(unix)]
fn real_time() -> bool {
    use thread_priority::unix::{RealtimeThreadSchedulePolicy, ThreadSchedulePolicy};
    use thread_priority::{ThreadPriority, set_thread_priority_and_policy, thread_native_id};
    let first_come = ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::Fifo);
    // The lowest is before all that is not real-time, and leaves the system's own work before it.
    set_thread_priority_and_policy(thread_native_id(), ThreadPriority::Min, first_come).is_ok()
}

#[cfg(not(unix))]
fn real_time() -> bool {
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_rounding_adds_up_over_years() {
        let clock = PaceClock::starting_in(Duration::ZERO, FrameRate::lit(44_100));
        let year_s = 365 * 86_400;
        assert_eq!(clock.due(44_100 * year_s), clock.start + Duration::from_secs(year_s));
        assert_eq!(clock.due(44_100 * year_s + 1) - clock.due(44_100 * year_s), Duration::from_nanos(22_675));
    }

    #[test]
    fn a_frame_is_waited_for_and_then_late() {
        let mut clock = PaceClock::starting_in(Duration::from_millis(5), FrameRate::lit(1000));
        assert_eq!(clock.late(5), Duration::ZERO);
        clock.wait_for(5);
        assert_eq!(clock.left(5), Duration::ZERO);
        assert!(clock.late(3) >= Duration::from_millis(2));
        clock.put_off(Duration::from_secs(3600));
        assert!(clock.left(0) > Duration::from_secs(1800));
    }
}
