//! Makes the frames of a rig from a script: the core's player, the wiring, and the marks.

use crate::marks::Triggers;
use crate::stage::RigFrame;
use crate::wiring::Wiring;
use heapless::spsc::Producer;
use pulsewright_core::frame::Frame;
use pulsewright_core::player::Player;
use pulsewright_core::time::FrameRate;

/// Frames made at a time.
pub const BLOCK: usize = 16;

/// Makes rig frames in order.
#[derive(Clone, Debug)]
pub struct Maker<'a> {
    player: Player<'a>,
    triggers: Triggers,
    clipped: u64,
}

impl<'a> Maker<'a> {
    /// At the start of what `player` plays.
    pub fn new(player: Player<'a>, rate: FrameRate) -> Maker<'a> {
        Maker { player, triggers: Triggers::new(rate), clipped: 0 }
    }

    /// The player, for its settings and its next step.
    pub fn player(&mut self) -> &mut Player<'a> {
        &mut self.player
    }

    /// Samples that the converters did not reach and that were held at their ends.
    pub const fn clipped(&self) -> u64 {
        self.clipped
    }

    /// Makes as many frames as there is room for, in whole blocks of 16, and returns how many; the last block of a script is
    /// shorter.
    ///
    /// It belongs into the main loop: the interrupt that calls [`crate::stage::Stage::tick`] takes frames from the other end.
    pub fn fill<const OUTPUTS: usize>(
        &mut self,
        wiring: &Wiring,
        queue: &mut Producer<'_, RigFrame<OUTPUTS>>,
    ) -> usize {
        let mut made = 0;
        while queue.capacity() - queue.len() >= BLOCK {
            let mut block = [Frame::default(); BLOCK];
            let first = self.player.position();
            let triggers = &mut self.triggers;
            let count = self.player.fill_observed(&mut block, &mut |event| triggers.take(event));
            for (frame, index) in block.iter().take(count).zip(first..) {
                let mut codes = [0; OUTPUTS];
                self.clipped += wiring.put(frame, &mut codes) as u64;
                let marks = self.triggers.of_frame(index);
                // There is room: it was looked at, and nothing else puts frames in.
                made += usize::from(queue.enqueue(RigFrame { codes, marks }).is_ok());
            }
            if count < BLOCK {
                break;
            }
        }
        made
    }
}
