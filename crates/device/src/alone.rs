//! A board that plays by itself: a script from flash, without a computer, led by lines of text from a terminal or by buttons.

use crate::maker::RigFrameMaker;
use crate::stage::RigFrame;
use crate::wiring::Wiring;
use heapless::spsc::Producer;
use pulsewright_core::image::Image;
use pulsewright_core::player::Player;
use pulsewright_core::time::FrameRate;

/// The orders, for a terminal.
pub const HELP: &str = "rhythm WORD, next, hold, rest, play";

/// An order to a board that plays by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BoardOrder<'l> {
    /// Goes on with the first step of the script in this rhythm, and from there with the steps after it.
    Rhythm(&'l str),
    /// Goes on with the next step of the script.
    Next,
    /// Holds the present step, its ramps to their ends.
    Hold,
    /// Brings the outputs to rest.
    Rest,
    /// Shows frames again.
    Play,
}

impl<'l> BoardOrder<'l> {
    /// Reads a line; `None` when it is no order.
    pub fn read(line: &'l str) -> Option<BoardOrder<'l>> {
        let mut words = line.split_ascii_whitespace();
        let order = match (words.next()?, words.next()) {
            ("rhythm", Some(word)) => BoardOrder::Rhythm(word),
            ("next", None) => BoardOrder::Next,
            ("hold", None) => BoardOrder::Hold,
            ("rest", None) => BoardOrder::Rest,
            ("play", None) => BoardOrder::Play,
            _ => return None,
        };
        words.next().is_none().then_some(order)
    }
}

/// Longest line of an order, bytes: longer ones are none.
const LONGEST: usize = 64;

/// Collects the bytes of a terminal's lines.
#[derive(Clone, Debug, Default)]
pub struct LineCollector {
    bytes: heapless::Vec<u8, LONGEST>,
    too_long: bool,
    /// The line has been read: the next byte begins another.
    read: bool,
}

impl LineCollector {
    /// Takes a byte; `true` when it ended a line, which [`LineCollector::line`] then has.
    pub fn take(&mut self, byte: u8) -> bool {
        if core::mem::take(&mut self.read) {
            self.bytes.clear();
            self.too_long = false;
        }
        match byte {
            // One of the two ends a line; an empty line between them is none.
            b'\r' | b'\n' => {
                self.read = !self.bytes.is_empty() || self.too_long;
                return self.read;
            }
            // Backspace and delete.
            8 | 127 => drop(self.bytes.pop()),
            byte => self.too_long |= self.bytes.push(byte).is_err(),
        }
        false
    }

    /// The line that has just ended; empty when it was too long or no text.
    pub fn line(&self) -> &str {
        if self.too_long { "" } else { core::str::from_utf8(&self.bytes).unwrap_or("") }
    }
}

/// Readings of a button that must agree: 20 ms at 250 looks a second, longer than contacts bounce (common practice, no source).
const AGREE: u8 = 5;

/// A button, looked at in equal times.
#[derive(Clone, Copy, Debug, Default)]
pub struct Button {
    down: bool,
    other: u8,
}

impl Button {
    /// Takes whether it is down; `true` once for each press.
    pub fn look(&mut self, down: bool) -> bool {
        self.other = if down == self.down { 0 } else { self.other + 1 };
        if self.other < AGREE {
            return false;
        }
        (self.down, self.other) = (down, 0);
        down
    }
}

/// Plays a script's image, led by orders.
#[derive(Clone, Debug)]
pub struct StandalonePlayer<'a> {
    image: Image<'a>,
    maker: RigFrameMaker<'a>,
}

impl<'a> StandalonePlayer<'a> {
    /// At the start of an image.
    pub fn new(image: Image<'a>, rate: FrameRate) -> StandalonePlayer<'a> {
        StandalonePlayer { maker: RigFrameMaker::new(Player::of_image(&image, rate), rate), image }
    }

    /// Carries an order out and returns the number of the first frame that it holds for; `None` when the script has no step in that
    /// rhythm. [`BoardOrder::Rest`] and [`BoardOrder::Play`] are for the output stage, and change nothing here.
    ///
    /// Frames that were made before wait to be shown first. After an order the script does not end: its last step goes on.
    pub fn apply(&mut self, order: BoardOrder<'_>) -> Option<u64> {
        let player = self.maker.player();
        match order {
            BoardOrder::Rhythm(word) => {
                let item =
                    (0..self.image.items()).find(|item| self.image.rhythm(*item).is_some_and(|its| its.id == word))?;
                player.go_on(self.image.timeline_from(item));
            }
            BoardOrder::Next => player.next_step(),
            BoardOrder::Hold => player.hold(),
            BoardOrder::Rest | BoardOrder::Play => {}
        }
        Some(player.position())
    }

    /// Makes as many frames as there is room for, as [`RigFrameMaker::fill`].
    pub fn fill<const OUTPUTS: usize>(
        &mut self,
        wiring: &Wiring,
        queue: &mut Producer<'_, RigFrame<OUTPUTS>>,
    ) -> usize {
        self.maker.fill(wiring, queue)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixed::Slope;
    use crate::wiring::{OutputSource, WiringOutput};
    use heapless::spsc::Queue;
    use pulsewright_core::heart::catalogue::named;
    use pulsewright_core::{ADULT, Frame, Item, SINUS, Script, Settings, Span, Step, image};
    use std::vec::Vec;

    const RATE: FrameRate = FrameRate::lit(250);

    fn step(ms: u64, rhythm: &str) -> Item<'static> {
        Step::lasting(Span::millis(ms), Settings::new(&ADULT, named(rhythm))).into()
    }

    fn wiring() -> Wiring {
        let slope = Slope { mantissa: 1 << 30, shift: 20, offset: 0 };
        Wiring::new(&[WiringOutput { source: OutputSource::Chest(0), slope, rest: 0 }], (-32_768, 32_767)).unwrap()
    }

    /// Codes of a board that gets orders once so many frames were made.
    fn led(items: &[Item<'_>], orders: &[(usize, BoardOrder<'_>)], count: usize) -> Vec<i32> {
        let mut bytes = Vec::new();
        image::write(&Script::new(5, items).unwrap(), |part| bytes.extend_from_slice(part)).unwrap();
        let mut alone = StandalonePlayer::new(Image::new(&bytes).unwrap(), RATE);
        let mut queue = Queue::<RigFrame<1>, 17>::new();
        let (mut producer, mut consumer) = queue.split();
        let mut codes = Vec::new();
        while codes.len() < count {
            for (_, order) in orders.iter().filter(|(at, _)| *at == codes.len()) {
                assert_eq!(alone.apply(*order), Some(codes.len() as u64));
            }
            assert!(alone.fill(&wiring(), &mut producer) > 0, "the script has ended");
            while let Some(frame) = consumer.dequeue() {
                codes.push(frame.codes[0]);
            }
        }
        codes.truncate(count);
        codes
    }

    /// Codes of a script that was known from the start.
    fn scripted(items: &[Item<'_>], count: usize) -> Vec<i32> {
        let mut frames = std::vec![Frame::default(); count];
        assert_eq!(Player::new(&Script::new(5, items).unwrap(), RATE).fill(&mut frames), count);
        let wiring = wiring();
        frames.iter().map(|frame| wiring.code(&wiring.outputs()[0], frame).0).collect()
    }

    #[test]
    fn orders_play_what_a_script_of_the_same_steps_plays() {
        let items = [step(2048, "sinus"), step(2048, "ventricular-tachycardia"), step(2048, "asystole")];
        // 1600 frames are 6.4 s, of which three orders make five steps.
        let orders = [(256, BoardOrder::Hold), (768, BoardOrder::Next), (1024, BoardOrder::Rhythm("sinus"))];
        let as_led = [
            step(3072, "sinus"),
            step(1024, "ventricular-tachycardia"),
            step(2048, "sinus"),
            step(2048, "ventricular-tachycardia"),
            step(8000, "asystole"),
        ];
        let codes = led(&items, &orders, 3200);
        assert_eq!(codes, scripted(&as_led, 3200));
        assert_ne!(codes, scripted(&[step(60_000, "sinus")], 3200));
    }

    #[test]
    fn orders_of_one_moment_act_one_after_the_other() {
        let items = [step(2048, "sinus"), step(512, "ventricular-tachycardia"), step(2048, "asystole")];
        // The rhythm holds, not the step that it ended.
        let orders =
            [(256, BoardOrder::Rhythm("ventricular-tachycardia")), (256, BoardOrder::Hold), (1024, BoardOrder::Next)];
        let as_led = [step(1024, "sinus"), step(3072, "ventricular-tachycardia"), step(8000, "asystole")];
        assert_eq!(led(&items, &orders, 2000), scripted(&as_led, 2000));
        // Before the first frame the first step is held.
        let orders = [(0, BoardOrder::Hold), (1024, BoardOrder::Next)];
        let as_led = [step(4096, "sinus"), step(512, "ventricular-tachycardia"), step(8000, "asystole")];
        assert_eq!(led(&items, &orders, 2000), scripted(&as_led, 2000));
    }

    #[test]
    fn a_rhythm_that_the_script_does_not_have_changes_nothing() {
        let mut bytes = Vec::new();
        let items = [step(2000, "sinus")];
        image::write(&Script::new(5, &items).unwrap(), |part| bytes.extend_from_slice(part)).unwrap();
        let mut alone = StandalonePlayer::new(Image::new(&bytes).unwrap(), RATE);
        assert_eq!(alone.apply(BoardOrder::Rhythm("asystole")), None);
        assert_eq!(alone.apply(BoardOrder::Rhythm(SINUS.id)), Some(0));
    }

    #[test]
    fn lines_of_a_terminal() {
        let mut typed = LineCollector::default();
        let mut lines = Vec::new();
        for byte in *b"nexx\x08t\r\n\n  rhythm   sinus \nhold it\nhold\r" {
            if typed.take(byte) {
                lines.push(std::string::String::from(typed.line()));
            }
        }
        let orders: Vec<_> = lines.iter().map(|line| BoardOrder::read(line)).collect();
        assert_eq!(orders, [Some(BoardOrder::Next), Some(BoardOrder::Rhythm("sinus")), None, Some(BoardOrder::Hold)]);
        assert!((0..70).all(|_| !typed.take(b'x')) && typed.take(b'\n'));
        assert_eq!(typed.line(), "");
        assert!(!typed.take(b'r') && !typed.take(0xff) && typed.take(b'\n'));
        assert_eq!(typed.line(), "");
    }

    #[test]
    fn a_button_that_bounces_is_pressed_once() {
        let mut button = Button::default();
        let looks = [1, 0, 1, 1, 0, 1, 1, 1, 1, 1, 1, 1, 0, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0];
        assert_eq!(looks.iter().filter(|down| button.look(**down == 1)).count(), 1);
    }
}
