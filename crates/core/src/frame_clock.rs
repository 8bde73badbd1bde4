//! The instants of consecutive frames, without a division a frame.

use crate::time::{FrameRate, Instant, Span, TICKS_PER_SECOND};
use crate::vectors::{self, LANES, Loop};

/// Steps through the instants of consecutive frames.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FrameClock {
    rate: FrameRate,
    index: u64,
    now: Instant,
    whole: u64,
    part: u32,
    carried: u32,
}

impl FrameClock {
    pub(crate) fn new(rate: FrameRate) -> FrameClock {
        let hz = u64::from(rate.as_hz());
        FrameClock {
            rate,
            index: 0,
            now: Instant::ZERO,
            whole: TICKS_PER_SECOND / hz,
            part: (TICKS_PER_SECOND % hz) as u32,
            carried: 0,
        }
    }

    pub(crate) fn rate(&self) -> FrameRate {
        self.rate
    }

    pub(crate) fn index(&self) -> u64 {
        self.index
    }

    pub(crate) fn now(&self) -> Instant {
        self.now
    }

    pub(crate) fn jump(&mut self, frames: u64) {
        self.index = self.index.saturating_add(frames);
        self.now = self.rate.instant_of(self.index);
        let hz = u64::from(self.rate.as_hz());
        self.carried = (((self.index % hz) << 32) % hz) as u32;
    }

    /// Puts consecutive frame clocks and instants in `places`, at least one, but none at or after `until`; steps past them and
    /// returns how many.
    #[inline]
    pub(crate) fn run<'a>(
        &mut self,
        until: Instant,
        places: impl Iterator<Item = (&'a mut u32, &'a mut Instant)>,
    ) -> usize {
        let (mut now, mut carried, mut count) = (self.now, self.carried, 0);
        for (clock, instant) in places {
            if now >= until && count > 0 {
                break;
            }
            *clock = now.clock();
            *instant = now;
            count += 1;
            carried += self.part;
            let carry = carried >= self.rate.as_hz();
            carried -= if carry { self.rate.as_hz() } else { 0 };
            now = now.plus(Span::from_ticks(self.whole + u64::from(carry)));
        }
        (self.now, self.carried) = (now, carried);
        self.index += count as u64;
        count
    }

    /// As [`FrameClock::run`] with places for whole lanes, of which at most `most` are for frames to be stepped past; the rest
    /// of the last lanes is filled with the frames that follow.
    pub(crate) fn run_lanes(
        &mut self,
        until: Instant,
        most: usize,
        clocks: &mut [u32],
        instants: &mut [Instant],
    ) -> usize {
        let ahead = Ahead::of(self);
        // A frame's time is its whole ticks at least, so there are no more.
        let whole = until.since(self.now).ticks() / self.whole;
        let places = clocks.len().min(instants.len());
        let most = most.min(places);
        let mut count = usize::try_from(whole).map_or(most, |whole| most.min(whole.saturating_add(1))).max(1);
        vectors::run(Fill { ahead, clocks, instants, count: count.next_multiple_of(LANES).min(places) });
        while count > 1 && instants.get(count - 1).is_some_and(|last| *last >= until) {
            count -= 1;
        }
        (self.now, self.carried) = ahead.at(count as u32);
        self.index += count as u64;
        count
    }
}

/// A clock's frames ahead, each by itself.
#[derive(Clone, Copy)]
struct Ahead {
    now: Instant,
    whole: u32,
    part: u32,
    carried: u32,
    hz: u32,
    /// More than `2^shift / hz` by at most one. Of a rate that is a power of two, where there are no parts, it has no meaning.
    inverse: u32,
    shift: u32,
}

impl Ahead {
    fn of(clock: &FrameClock) -> Ahead {
        let FrameClock { rate, now, whole, part, carried, .. } = *clock;
        let hz = rate.as_hz();
        let shift = 32 + hz.ilog2();
        let inverse = ((1_u64 << shift) / u64::from(hz)) as u32 + 1;
        Ahead { now, whole: whole as u32, part, carried, hz, inverse, shift }
    }

    /// Instant of the frame that is so many ahead, less than 2^15, and what it carries.
    #[inline(always)]
    fn at(&self, frames: u32) -> (Instant, u32) {
        let parts = self.carried + frames * self.part;
        // Divided by `hz`. The product is too great by at most `parts`, below 2^31; the exact quotient is at least one `hz`-th, in the
        // product's units 2^shift / hz and so 2^31, short of the next whole number.
        let carry = (u64::from(parts) * u64::from(self.inverse)) >> self.shift;
        let ticks = u64::from(frames) * u64::from(self.whole) + carry;
        (self.now.plus(Span::from_ticks(ticks)), parts - carry as u32 * self.hz)
    }
}

/// Places for the first `count` of the frames ahead.
struct Fill<'a> {
    ahead: Ahead,
    clocks: &'a mut [u32],
    instants: &'a mut [Instant],
    count: usize,
}

impl Loop for Fill<'_> {
    #[inline(always)]
    fn run(self) {
        let Fill { ahead, clocks, instants, count } = self;
        let (Some(clocks), Some(instants)) = (clocks.get_mut(..count), instants.get_mut(..count)) else { return };
        for (i, (clock, instant)) in clocks.iter_mut().zip(instants).enumerate() {
            *instant = ahead.at(i as u32).0;
            *clock = instant.clock();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_in_lanes_are_those_one_by_one() {
        for hz in [100, 101, 127, 128, 360, 500, 999, 1000, 8191, 8192, 44_100, 47_999, 48_000] {
            let rate = FrameRate::lit(hz);
            let mut one = FrameClock::new(rate);
            for (jump, most, frames) in [
                (0, 256, 300),
                (7, 256, 256),
                (0, 200, 255),
                (1_u64 << 40, 256, 17),
                (u64::from(hz) / 2 + 1, 256, 1),
                (0, 5, 9),
            ] {
                one.jump(jump);
                let mut other = one;
                let until = rate.instant_of(one.index() + frames).minus(Span::from_ticks(frames % 2));
                let (mut clocks, mut instants) = ([[0; 256]; 2], [[Instant::ZERO; 256]; 2]);
                let [one_clocks, other_clocks] = &mut clocks;
                let [one_instants, other_instants] = &mut instants;
                let count = one.run(until, one_clocks.iter_mut().zip(&mut *one_instants).take(most));
                assert_eq!(count, other.run_lanes(until, most, other_clocks, other_instants), "{hz} Hz");
                assert_eq!(one_instants[..count], other_instants[..count], "{hz} Hz");
                assert_eq!(one_clocks[..count], other_clocks[..count], "{hz} Hz");
                assert_eq!((one.now, one.carried, one.index), (other.now, other.carried, other.index), "{hz} Hz");
            }
        }
    }
}
