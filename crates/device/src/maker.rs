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
pub struct RigFrameMaker<'a> {
    player: Player<'a>,
    triggers: Triggers,
    clipped: u64,
}

impl<'a> RigFrameMaker<'a> {
    /// At the start of what `player` plays.
    pub fn new(player: Player<'a>, rate: FrameRate) -> RigFrameMaker<'a> {
        RigFrameMaker { player, triggers: Triggers::new(rate), clipped: 0 }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixed::Slope;
    use crate::marks::Marks;
    use crate::wiring::{OutputSource, WiringOutput};
    use heapless::spsc::Queue;
    use pulsewright_core::{ADULT, Field, Item, SINUS, Script, Settings, Span, Step};
    use std::vec::Vec;

    const RATE: FrameRate = FrameRate::lit(1000);

    #[test]
    fn frames_carry_their_codes_and_leads_are_off_at_their_frames() {
        let sinus = Settings::new(&ADULT, &SINUS);
        // Neither 1150 nor 1355 is the start of a block of 16.
        let items = [(1150, 0.0), (205, 1.0), (1000, 0.0)]
            .map(|(ms, off)| Item::Step(Step::lasting(Span::millis(ms), sinus.lit(Field::OffV1, off))));
        let script = Script::new(3, &items).unwrap();
        let slope = Slope { mantissa: 1 << 30, shift: 20, offset: 0 };
        let output = WiringOutput { source: OutputSource::Chest(0), slope, rest: 0 };
        let wiring = Wiring::new(&[output], (-32_768, 32_767)).unwrap();
        let mut maker = RigFrameMaker::new(Player::new(&script, RATE), RATE);
        let mut queue = Queue::<RigFrame<1>, 64>::new();
        let (mut producer, mut consumer) = queue.split();
        let mut made = Vec::new();
        while maker.fill(&wiring, &mut producer) > 0 {
            while let Some(frame) = consumer.dequeue() {
                made.push(frame);
            }
        }
        let off: Vec<usize> = (0..made.len()).filter(|n| made[*n].marks.has(Marks::LEAD_OFF)).collect();
        assert_eq!(off, (1150..1355).collect::<Vec<_>>());
        // The flat lead itself, and nothing else, is where the mark is.
        let still = |n: &usize| made[n - 3].codes == made[*n].codes && made[n + 3].codes == made[*n].codes;
        assert!((1153..1352).all(|n| still(&n)), "the lead of an electrode that is off is flat");
        let mut frames = std::vec![Frame::default(); 3000];
        let count = Player::new(&script, RATE).fill(&mut frames);
        let expected: Vec<i32> = frames[..count].iter().map(|frame| wiring.code(&output, frame).0).collect();
        assert_eq!(made.iter().map(|frame| frame.codes[0]).collect::<Vec<_>>(), expected);
        assert!(made.iter().any(|frame| frame.marks.has(Marks::R_WAVE)));
        assert_eq!((made.len(), maker.clipped()), (2355, 0));
    }
}
