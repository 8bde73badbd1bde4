//! Parts of a render encoded side by side and handed on in order.
//!
//! A [`Scout`] walks ahead from part to part and tells the truth; copies of its player play the parts on other cores. A few parts are under way at a time, so memory does not grow with length.

use crate::buffer::Buffer;
use crate::digest::FramesDigest;
use crate::format::{Encoder, Section};
use crate::marks::{Mark, Marks};
use crate::plan::Plan;
use crate::quantiser::Tally;
use pulsewright_core::block::Block;
use pulsewright_core::player::Player;
use pulsewright_core::truth::Observer;
use std::collections::VecDeque;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;

/// Frames of a part: about a megabyte of 14 channels at 16 bits. Handing over wakes a thread, which costs more than it seems.
const PART_FRAMES: u64 = 32_768;

/// Parts under way for each core: one being played, one waiting.
const AHEAD: usize = 2;

/// A part to be encoded.
struct Order<'a> {
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

/// A core's inbox and outbox.
struct Worker<'a> {
    orders: SyncSender<Order<'a>>,
    parts: Receiver<Part>,
}

/// Plays the whole plan, telling `observer` of every event, and hands each encoded part to `take`, in order.
///
/// `take` gives the part's bytes back to be used again.
///
/// # Errors
/// The first that `take` comes back with; nothing more is played then.
pub fn play<E>(
    plan: &Plan<'_>,
    observer: &mut impl Observer,
    mut take: impl FnMut(&Part) -> Result<(), E>,
) -> Result<(), E> {
    let encoder = plan.encoder();
    let cores = thread::available_parallelism().map_or(1, usize::from);
    thread::scope(|scope| {
        let lanes = encoder.lanes().len();
        let workers: Vec<Worker<'_>> = (0..cores)
            .map(|_| {
                let (orders, inbox) = sync_channel::<Order<'_>>(AHEAD);
                let (outbox, parts) = sync_channel(AHEAD);
                let encoder = &*encoder;
                scope.spawn(move || {
                    let mut block = Box::new(Block::new(plan.signals()));
                    for order in inbox {
                        let part = encode(encoder, lanes, order, &mut block);
                        if outbox.send(part).is_err() {
                            break;
                        }
                    }
                });
                Worker { orders, parts }
            })
            .collect();
        let mut scout = Scout::new(plan, encoder.grain(), plan.carries_marks());
        let mut under_way = VecDeque::new();
        let mut spare: Vec<Buffer> = Vec::new();
        let mut turns = workers.iter().cycle();
        loop {
            while under_way.len() < workers.len() * AHEAD {
                let (Some(walked), Some(worker)) = (scout.next_part(observer), turns.next()) else {
                    break;
                };
                let Walked { section, place, player, marks } = walked;
                let order = Order { place, player, marks, bytes: spare.pop().unwrap_or_default() };
                // A worker ends only when this end hangs up.
                if worker.orders.send(order).is_ok() {
                    under_way.push_back((section, worker));
                }
            }
            let Some((section, worker)) = under_way.pop_front() else {
                scout.end_here(observer);
                return Ok(());
            };
            if let Ok(mut part) = worker.parts.recv() {
                part.section = section;
                take(&part)?;
                spare.push(part.bytes);
            }
        }
    })
}

fn encode(encoder: &dyn Encoder, lanes: usize, order: Order<'_>, block: &mut Block) -> Part {
    let Order { place, mut player, marks, mut bytes } = order;
    let Section { first, frames: wanted } = place;
    bytes.clear();
    let mut part = Part {
        section: 0,
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
