//! Parts of a render encoded side by side and handed on in order.
//!
//! A [`Scout`] walks ahead from part to part and tells the truth; copies of its player play the parts on all cores. A few parts
//! are under way at a time, so memory does not grow with length.

use crate::buffer::Buffer;
use crate::digest::FramesDigest;
use crate::format::{Encoder, Section};
use crate::marks::{Mark, Marks};
use crate::plan::Plan;
use crate::quantiser::Tally;
use pulsewright_core::block::Block;
use pulsewright_core::player::Player;
use pulsewright_core::truth::Observer;
use std::collections::{BTreeMap, VecDeque};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;

/// Frames of a part: about a megabyte of 14 channels at 16 bits. Handing over wakes a thread, which costs more than it seems.
const PART_FRAMES: u64 = 32_768;

/// Parts under way for each core: one being played, one waiting.
const AHEAD: usize = 2;

/// Most cores that work on a render: more would wait for the one who writes, and each takes memory.
const MOST_CORES: usize = 8;

/// A part to be encoded.
struct Order<'a> {
    /// Parts before it.
    number: u64,
    section: usize,
    place: Section,
    player: Player<'a>,
    marks: Vec<Mark>,
    bytes: Buffer,
}

/// A part that the scout has walked over.
pub struct Walked<'a> {
    /// Index of its section.
    pub section: usize,
    /// Its frames.
    pub place: Section,
    /// A player at its start.
    pub player: Player<'a>,
    /// What happens in it, if that was asked for.
    pub marks: Vec<Mark>,
}

/// Walks over a plan from part to part, which costs only what happens in them.
pub struct Scout<'p, 'a> {
    plan: &'p Plan<'a>,
    player: Player<'a>,
    marks: Option<Marks>,
    grain: u64,
    section: usize,
    /// Frames of the section behind.
    behind: u64,
}

impl<'p, 'a> Scout<'p, 'a> {
    /// At the start, for parts of whole multiples of `grain` frames; with `marks` parts say what happens in them.
    pub fn new(plan: &'p Plan<'a>, grain: u64, marks: bool) -> Scout<'p, 'a> {
        let player = Player::new(plan.content.script, plan.rate).with_pressures_at(plan.pressures);
        Scout { plan, player, marks: marks.then(Marks::default), grain: grain.max(1), section: 0, behind: 0 }
    }

    /// The next part, `observer` told of every event in it; no part lies in two sections.
    pub fn next_part(&mut self, observer: &mut impl Observer) -> Option<Walked<'a>> {
        let section = self.plan.sections.get(self.section)?;
        let whole = (PART_FRAMES / self.grain).max(1) * self.grain;
        let frames = whole.min(section.frames - self.behind);
        let place = Section { first: section.first + self.behind, frames };
        let (player, index) = (self.player.clone(), self.section);
        let marks = match &mut self.marks {
            None => {
                self.player.skip_observed(frames, observer);
                Vec::new()
            }
            Some(marks) => {
                self.player.skip_observed(frames, &mut |event| {
                    marks.observe(event);
                    observer.observe(event);
                });
                marks.take_before(self.plan.rate.instant_of(place.first + frames)).collect()
            }
        };
        self.behind += frames;
        if self.behind >= section.frames {
            (self.section, self.behind) = (self.section + 1, 0);
        }
        Some(Walked { section: index, place, player, marks })
    }

    /// Tells `observer` what the end of the render cuts off, where the script would go on.
    pub fn end_here(&mut self, observer: &mut impl Observer) {
        self.player.end_here(observer);
    }
}

/// A part encoded.
#[derive(Debug)]
pub struct Part {
    /// Which section it belongs to.
    pub section: usize,
    /// Index of its first frame.
    pub first: u64,
    /// Its frames.
    pub frames: u64,
    /// As its format writes them.
    pub bytes: Buffer,
    /// Per lane, what could not be stored as it was.
    pub tallies: Vec<Tally>,
    /// Of its frames.
    pub digest: FramesDigest,
}

/// Where orders lie until somebody takes them, and parts until their turn comes.
#[derive(Default)]
struct Desk<'a> {
    papers: Mutex<Papers<'a>>,
    /// Told of a new order, and of the end.
    ordered: Condvar,
    /// Told of a new part.
    encoded: Condvar,
}

/// What lies on a desk.
#[derive(Default)]
struct Papers<'a> {
    orders: VecDeque<Box<Order<'a>>>,
    /// By their number.
    parts: BTreeMap<u64, Part>,
    /// No more is to be done: all is written, or something failed.
    closed: bool,
}

impl<'a> Desk<'a> {
    /// Nobody fails while holding the papers.
    fn papers(&self) -> MutexGuard<'_, Papers<'a>> {
        self.papers.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn order(&self, order: Box<Order<'a>>) {
        self.papers().orders.push_back(order);
        self.ordered.notify_one();
    }

    /// The next order, waited for; none at the end.
    fn next_order(&self) -> Option<Box<Order<'a>>> {
        let waits = |papers: &mut Papers<'a>| papers.orders.is_empty() && !papers.closed;
        let mut papers = self.ordered.wait_while(self.papers(), waits).unwrap_or_else(PoisonError::into_inner);
        if papers.closed { None } else { papers.orders.pop_front() }
    }

    fn hand_in(&self, number: u64, part: Part) {
        self.papers().parts.insert(number, part);
        self.encoded.notify_one();
    }

    /// The part of this number, if it is ready; or else an order to be worked on meanwhile, or else the part after a wait.
    fn part_or_order(&self, number: u64) -> Turn<'a> {
        let mut papers = self.papers();
        loop {
            if let Some(part) = papers.parts.remove(&number) {
                return Turn::Part(part);
            }
            if papers.closed {
                return Turn::Lost;
            }
            if let Some(order) = papers.orders.pop_front() {
                return Turn::Order(order);
            }
            papers = self.encoded.wait(papers).unwrap_or_else(PoisonError::into_inner);
        }
    }

    fn close(&self) {
        self.papers().closed = true;
        self.ordered.notify_all();
        self.encoded.notify_all();
    }
}

/// What the one who writes has to do next.
enum Turn<'a> {
    Part(Part),
    Order(Box<Order<'a>>),
    /// A helper failed.
    Lost,
}

/// Closes a desk on the way out, also where that is a panic: nobody shall wait for one who has left.
struct Closing<'d, 'a>(&'d Desk<'a>);

impl Drop for Closing<'_, '_> {
    fn drop(&mut self) {
        self.0.close();
    }
}

/// Plays the whole plan, telling `observer` of every event, and hands each encoded part to `take`, in order.
///
/// `take` gives the part's bytes back to be used again. Whoever calls this encodes too while there is nothing to take, so that as
/// many threads run as there are cores: with one more, two would share a core while another stands idle.
///
/// # Errors
/// The first that `take` comes back with; nothing more is played then.
pub fn play<E>(
    plan: &Plan<'_>,
    observer: &mut impl Observer,
    mut take: impl FnMut(&Part) -> Result<(), E>,
) -> Result<(), E> {
    let encoder = &*plan.encoder();
    let lanes = encoder.lanes().len();
    let block = || Box::new(Block::new(plan.signals()));
    let cores = thread::available_parallelism().map_or(1, usize::from).min(MOST_CORES);
    let desk = &Desk::default();
    thread::scope(|scope| {
        for _ in 1..cores {
            scope.spawn(|| {
                // Closed by the first who leaves: at the end there is nothing left to do, and before it somebody failed.
                let _closing = Closing(desk);
                let mut block = block();
                while let Some(order) = desk.next_order() {
                    desk.hand_in(order.number, encode(encoder, lanes, order, &mut block));
                }
            });
        }
        let _closing = Closing(desk);
        let mut block = block();
        let mut scout = Scout::new(plan, encoder.grain(), plan.carries_marks());
        let mut spare: Vec<Buffer> = Vec::new();
        let (mut ordered, mut taken) = (0, 0);
        loop {
            while ordered - taken < (cores * AHEAD) as u64 {
                let Some(walked) = scout.next_part(observer) else { break };
                let Walked { section, place, player, marks } = walked;
                let bytes = spare.pop().unwrap_or_default();
                desk.order(Box::new(Order { number: ordered, section, place, player, marks, bytes }));
                ordered += 1;
            }
            if taken == ordered {
                scout.end_here(observer);
                return Ok(());
            }
            match desk.part_or_order(taken) {
                Turn::Part(part) => {
                    take(&part)?;
                    spare.push(part.bytes);
                    taken += 1;
                }
                Turn::Order(order) => desk.hand_in(order.number, encode(encoder, lanes, order, &mut block)),
                // The scope tells of the panic.
                Turn::Lost => return Ok(()),
            }
        }
    })
}

fn encode(encoder: &dyn Encoder, lanes: usize, order: Box<Order<'_>>, block: &mut Block) -> Part {
    let Order { section, place, mut player, marks, mut bytes, .. } = *order;
    let Section { first, frames: wanted } = place;
    bytes.clear();
    let mut part = Part {
        section,
        first,
        frames: 0,
        bytes,
        tallies: vec![Tally::default(); lanes],
        digest: FramesDigest::default(),
    };
    while part.frames < wanted {
        let filled = player.fill_block(block, (wanted - part.frames) as usize);
        if filled == 0 {
            break;
        }
        let index = first + part.frames;
        part.digest.update(index, block);
        encoder.encode(index, block, &mut part.bytes, &mut part.tallies);
        part.frames += filled as u64;
    }
    encoder.annotate(place, &marks, &mut part.bytes);
    part
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::format::{Encoding, FileFormat};
    use crate::plan::{Content, Options};
    use crate::scale::Bits;
    use pulsewright_core::body::ADULT;
    use pulsewright_core::frame::Channel;
    use pulsewright_core::heart::catalogue::SINUS;
    use pulsewright_core::script::{Item, Script, Step};
    use pulsewright_core::settings::Settings;
    use pulsewright_core::time::{FrameRate, Span};

    /// Gives `check` the plan of a render of six parts, the last of them short and odd.
    fn with_plan(format: FileFormat, check: impl FnOnce(Plan<'_>)) {
        let settings = Settings::new(&ADULT, &SINUS);
        let step = Step::lasting(Span::millis(5 * 65_536 + 1), settings);
        let items = [Item::Step(step)];
        let script = Script::new(1, &items).unwrap();
        let options = Options {
            rate: FrameRate::lit(500),
            channels: Channel::USUAL[..3].to_vec(),
            format,
            duration: None,
            split: None,
            truth: true,
            overwrite: false,
            durability: crate::atomic::Durability::Usual,
        };
        check(
            Plan::new(
                Content {
                    script: &script,
                    title: "",
                    labels: &[],
                    limits: pulsewright_core::expect::AlarmLimits::USUAL,
                },
                &options,
            )
            .unwrap(),
        );
    }

    #[test]
    fn parts_come_in_order_with_the_bytes_foretold() {
        let integer = Encoding::Integer(Bits::B16);
        let formats = [FileFormat::Wav(integer), FileFormat::Raw(Encoding::Integer(Bits::B24)), FileFormat::Edf];
        for format in formats.into_iter().chain([Bits::B12, Bits::B16, Bits::B24].map(FileFormat::Record)) {
            with_plan(format, |plan| {
                let (mut frames, mut bytes) = (0, 0);
                let take = |part: &Part| {
                    assert_eq!(part.first, frames);
                    frames += part.frames;
                    bytes += part.bytes.len() as u64;
                    Ok::<(), ()>(())
                };
                play(&plan, &mut (), take).unwrap();
                assert_eq!((frames, frames), (plan.frames, 5 * 32_768 + 1));
                assert_eq!(Some(bytes), plan.encoder().encoded_bytes(plan.sections[0]), "{format:?}");
            });
        }
    }

    #[test]
    fn a_refusal_ends_it() {
        with_plan(FileFormat::Csv(Bits::B16), |plan| {
            let mut count = 0;
            let outcome = play(&plan, &mut (), |part| {
                count += 1;
                if part.first == 0 { Ok(()) } else { Err(part.first) }
            });
            assert_eq!((outcome, count), (Err(32_768), 2));
        });
    }

    /// Fails at a frame.
    struct Failing(u64);

    impl Encoder for Failing {
        fn lanes(&self) -> Vec<String> {
            Vec::new()
        }

        fn head(&self, _: Section, _: &mut Vec<u8>) {}

        fn encode(&self, index: u64, block: &Block, _: &mut Buffer, _: &mut [Tally]) {
            assert!(!(index..index + block.len() as u64).contains(&self.0), "as it should");
        }
    }

    #[test]
    fn nobody_waits_for_one_who_has_failed() {
        // Whoever has the part: the one who writes or a helper.
        for frame in [0, 40_000, 70_000, 100_000, 140_000, 163_840] {
            let failing = Failing(frame);
            with_plan(FileFormat::Wav(Encoding::Float), |plan| {
                let plan = plan.through(&failing);
                let outcome = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
                    play(&plan, &mut (), |_| Ok::<(), ()>(()))
                }));
                assert!(outcome.is_err(), "frame {frame}");
            });
        }
    }
}
