//! Parts of a render encoded side by side and handed on in order.
//!
//! One player walks ahead from part to part, which costs only what happens in them, and tells the truth; copies of it
//! play the parts on other cores. A few parts are under way at a time, so memory does not grow with length.

use crate::digest::FramesDigest;
use crate::format::Encoder;
use crate::plan::Plan;
use crate::quantiser::Tally;
use pulsewright_core::frame::Frame;
use pulsewright_core::player::Player;
use pulsewright_core::truth::Observer;
use std::collections::VecDeque;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;

/// Frames of a part: about half a megabyte of 14 channels at 16 bits, some twenty thousand times a hand-over's cost.
const PART_FRAMES: u64 = 16_384;

/// Frames played at a time.
const PLAYED: usize = 512;

/// Parts under way for each core: one being played, one waiting.
const AHEAD: usize = 2;

/// A part to be encoded.
struct Order<'a> {
    player: Player<'a>,
    frames: u64,
    bytes: Vec<u8>,
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
    pub bytes: Vec<u8>,
    /// Per channel, what could not be stored as it was.
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
        let workers: Vec<Worker<'_>> = (0..cores)
            .map(|_| {
                let (orders, inbox) = sync_channel::<Order<'_>>(AHEAD);
                let (outbox, parts) = sync_channel(AHEAD);
                let encoder = &*encoder;
                scope.spawn(move || {
                    let mut frames = vec![Frame::default(); PLAYED];
                    for order in inbox {
                        let part = encode(encoder, plan.columns.len(), order, &mut frames);
                        if outbox.send(part).is_err() {
                            break;
                        }
                    }
                });
                Worker { orders, parts }
            })
            .collect();
        let mut scout = Player::new(plan.content.script, plan.rate).with_pressures_at(plan.pressures);
        let mut to_come = bounds(plan);
        let mut under_way = VecDeque::new();
        let mut spare: Vec<Vec<u8>> = Vec::new();
        let mut turns = workers.iter().cycle();
        loop {
            while under_way.len() < workers.len() * AHEAD {
                let (Some((section, frames)), Some(worker)) = (to_come.next(), turns.next()) else {
                    break;
                };
                let order = Order { player: scout.clone(), frames, bytes: spare.pop().unwrap_or_default() };
                scout.skip_observed(frames, observer);
                // A worker ends only when this end hangs up.
                if worker.orders.send(order).is_ok() {
                    under_way.push_back((section, worker));
                }
            }
            let Some((section, worker)) = under_way.pop_front() else {
                // What the end of the render cuts off, where the script would go on.
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

/// Section and frames of each part, in order; no part lies in two sections.
fn bounds(plan: &Plan<'_>) -> impl Iterator<Item = (usize, u64)> {
    plan.sections.iter().enumerate().flat_map(|(i, section)| {
        let frames = section.frames;
        (0..frames.div_ceil(PART_FRAMES)).map(move |part| (i, PART_FRAMES.min(frames - part * PART_FRAMES)))
    })
}

fn encode(encoder: &dyn Encoder, columns: usize, order: Order<'_>, frames: &mut [Frame]) -> Part {
    let Order { mut player, frames: wanted, mut bytes } = order;
    bytes.clear();
    let first = player.position();
    let mut part = Part {
        section: 0,
        first,
        frames: 0,
        bytes,
        tallies: vec![Tally::default(); columns],
        digest: FramesDigest::default(),
    };
    while part.frames < wanted {
        let room = frames.len().min((wanted - part.frames) as usize);
        let filled = player.fill(&mut frames[..room]);
        if filled == 0 {
            break;
        }
        let index = first + part.frames;
        part.digest.update(index, &frames[..filled]);
        encoder.encode(index, &frames[..filled], &mut part.bytes, &mut part.tallies);
        part.frames += filled as u64;
    }
    part
}
