//! Parts of a render encoded side by side and handed on in order.
//!
//! A [`Splitter`] walks ahead from part to part and reports the events; copies of its player play the parts on all cores. A few
//! parts are under way at a time, so memory does not grow with length.

use crate::buffer::Buffer;
use crate::digest::FramesDigest;
use crate::format::{Encoder, Section};
use crate::marks::Mark;
use crate::plan::RenderPlan;
use crate::quantiser::Tally;
use crate::split::{Splitter, UnencodedPart};
use pulsewright_core::block::Block;
use pulsewright_core::player::Player;
use pulsewright_core::truth::Observer;
use std::collections::{BTreeMap, VecDeque};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;

/// Parts under way for each core: one being played, one waiting.
const AHEAD: usize = 2;

/// Most cores that work on a render: more would wait for the writer, and each takes memory.
const MOST_CORES: usize = 8;

/// A part to be encoded.
struct Job<'a> {
    /// Parts before it.
    number: u64,
    section: usize,
    place: Section,
    player: Player<'a>,
    marks: Vec<Mark>,
    bytes: Buffer,
}

/// A part encoded.
#[derive(Debug)]
pub struct EncodedPart {
    /// Which section it belongs to.
    pub section: usize,
    /// Index of its first frame.
    pub first: u64,
    /// Its frames.
    pub frames: u64,
    /// The frames as its format writes them.
    pub bytes: Buffer,
    /// Counts for each lane: samples that were clipped, and the like.
    pub tallies: Vec<Tally>,
    /// Digest of its frames.
    pub digest: FramesDigest,
}

/// Jobs that wait for a thread, and encoded parts that wait for their turn to be written.
#[derive(Default)]
struct WorkQueue<'a> {
    state: Mutex<QueueState<'a>>,
    /// Notified of a new job, and of the end.
    job_added: Condvar,
    /// Notified of a new part, and of the end.
    part_added: Condvar,
}

/// The jobs and parts of a queue.
#[derive(Default)]
struct QueueState<'a> {
    jobs: VecDeque<Box<Job<'a>>>,
    /// By their number.
    parts: BTreeMap<u64, EncodedPart>,
    /// There is no more work: all is written, or a thread failed.
    closed: bool,
}

impl<'a> WorkQueue<'a> {
    /// Ignores poison: no thread panics with the lock.
    fn lock(&self) -> MutexGuard<'_, QueueState<'a>> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn add_job(&self, job: Box<Job<'a>>) {
        self.lock().jobs.push_back(job);
        self.job_added.notify_one();
    }

    /// Waits for the next job; `None` at the end.
    fn next_job(&self) -> Option<Box<Job<'a>>> {
        let waits = |state: &mut QueueState<'a>| state.jobs.is_empty() && !state.closed;
        let mut state = self.job_added.wait_while(self.lock(), waits).unwrap_or_else(PoisonError::into_inner);
        if state.closed { None } else { state.jobs.pop_front() }
    }

    fn add_part(&self, number: u64, part: EncodedPart) {
        self.lock().parts.insert(number, part);
        self.part_added.notify_one();
    }

    /// The part of this number when it is ready, otherwise a job to do meanwhile; waits when there is neither.
    fn part_or_job(&self, number: u64) -> Task<'a> {
        let mut state = self.lock();
        loop {
            if let Some(part) = state.parts.remove(&number) {
                return Task::Part(part);
            }
            if state.closed {
                return Task::Lost;
            }
            if let Some(job) = state.jobs.pop_front() {
                return Task::Job(job);
            }
            state = self.part_added.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
    }

    fn close(&self) {
        self.lock().closed = true;
        self.job_added.notify_all();
        self.part_added.notify_all();
    }
}

/// The next task of the writer.
enum Task<'a> {
    Part(EncodedPart),
    Job(Box<Job<'a>>),
    /// Another thread failed.
    Lost,
}

/// Closes a queue when its thread ends, by a panic too: the other threads then stop waiting.
struct CloseOnDrop<'d, 'a>(&'d WorkQueue<'a>);

impl Drop for CloseOnDrop<'_, '_> {
    fn drop(&mut self) {
        self.0.close();
    }
}

/// Plays the whole plan, reports every event to `observer`, and hands each encoded part to `take`, in order.
///
/// The part's bytes are used again after `take`. The calling thread encodes too while there is nothing to take, so that as many
/// threads run as there are cores: with one more, two would share a core while another stands idle.
///
/// # Errors
/// The first error of `take`; nothing more is played then.
pub fn play<E>(
    plan: &RenderPlan<'_>,
    observer: &mut impl Observer,
    mut take: impl FnMut(&EncodedPart) -> Result<(), E>,
) -> Result<(), E> {
    let encoder = &*plan.encoder();
    let lanes = encoder.lanes().len();
    let block = || Box::new(Block::new(plan.signals()));
    let cores = thread::available_parallelism().map_or(1, usize::from).min(MOST_CORES);
    let queue = &WorkQueue::default();
    thread::scope(|scope| {
        for _ in 1..cores {
            scope.spawn(|| {
                // The first thread that ends closes the queue: all is done, or the thread failed.
                let _close = CloseOnDrop(queue);
                let mut block = block();
                while let Some(job) = queue.next_job() {
                    queue.add_part(job.number, encode(encoder, lanes, job, &mut block));
                }
            });
        }
        let _close = CloseOnDrop(queue);
        let mut block = block();
        let mut splitter = Splitter::new(plan.played(), encoder.grain(), plan.carries_marks());
        let mut spare: Vec<Buffer> = Vec::new();
        let (mut ordered, mut taken) = (0, 0);
        loop {
            while ordered - taken < (cores * AHEAD) as u64 {
                let Some(part) = splitter.next_part(observer) else { break };
                let UnencodedPart { section, place, player, marks } = part;
                let bytes = spare.pop().unwrap_or_default();
                queue.add_job(Box::new(Job { number: ordered, section, place, player, marks, bytes }));
                ordered += 1;
            }
            if taken == ordered {
                splitter.end_here(observer);
                return Ok(());
            }
            match queue.part_or_job(taken) {
                Task::Part(part) => {
                    take(&part)?;
                    spare.push(part.bytes);
                    taken += 1;
                }
                Task::Job(job) => queue.add_part(job.number, encode(encoder, lanes, job, &mut block)),
                // The scope passes the panic on.
                Task::Lost => return Ok(()),
            }
        }
    })
}

fn encode(encoder: &dyn Encoder, lanes: usize, job: Box<Job<'_>>, block: &mut Block) -> EncodedPart {
    let Job { section, place, mut player, marks, mut bytes, .. } = *job;
    let Section { first, frames: wanted } = place;
    bytes.clear();
    let mut part = EncodedPart {
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
    use crate::content::Content;
    use crate::format::{Encoding, FileFormat};
    use crate::plan::RenderOptions;
    use crate::scale::Bits;
    use pulsewright_core::body::ADULT;
    use pulsewright_core::frame::Channel;
    use pulsewright_core::heart::catalogue::SINUS;
    use pulsewright_core::script::{Item, Script, Step};
    use pulsewright_core::settings::Settings;
    use pulsewright_core::time::{FrameRate, Span};

    /// Gives `check` the plan of a render of six parts, the last of them short and odd.
    fn with_plan(format: FileFormat, check: impl FnOnce(RenderPlan<'_>)) {
        let settings = Settings::new(&ADULT, &SINUS);
        let step = Step::lasting(Span::millis(5 * 65_536 + 1), settings);
        let items = [Item::Step(step)];
        let script = Script::new(1, &items).unwrap();
        let options = RenderOptions {
            rate: FrameRate::lit(500),
            channels: Channel::USUAL[..3].to_vec(),
            format,
            duration: None,
            split: None,
            truth: true,
            lead_truth: Vec::new(),
            overwrite: false,
            durability: crate::atomic::Durability::Usual,
        };
        check(
            RenderPlan::new(
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
    fn parts_come_in_order_with_the_planned_bytes() {
        let integer = Encoding::Integer(Bits::B16);
        let formats = [FileFormat::Wav(integer), FileFormat::Raw(Encoding::Integer(Bits::B24)), FileFormat::Edf];
        for format in formats.into_iter().chain([Bits::B12, Bits::B16, Bits::B24].map(FileFormat::Record)) {
            with_plan(format, |plan| {
                let (mut frames, mut bytes) = (0, 0);
                let take = |part: &EncodedPart| {
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
    fn no_thread_waits_for_one_that_failed() {
        // Whichever thread has the part: the writer or another.
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
