//! A document's steps one after the other; steps that hold play for a fixed time. Strips and frame digests are made from
//! it.

use pulsewright_core::block::{BLOCK, Block, Signals};
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Script};
use pulsewright_core::time::{FrameRate, Instant, Span};
use pulsewright_core::timeline::Placed;
use pulsewright_files::digest::FramesDigest;
use pulsewright_plot::excerpt::{Excerpt, ExcerptError};
use pulsewright_script::Document;
use serde::{Deserialize, Serialize};

/// Most steps of a plan, repeats played out.
pub const MAX_STEPS: usize = 500;

/// Identity of the frames that the script makes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FramesIdentity {
    /// Frames a second.
    pub rate_hz: u32,
    /// How many, with steps that hold played for [`crate::walk::HOLD_S`] and at most [`crate::walk::MAX_S`] in all.
    pub count: u64,
    /// Their digest, 16 hexadecimal digits.
    pub digest: String,
}

/// Why a document makes no plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanWalkError {
    /// No step expects anything.
    #[error(
        "nothing can be read in any step of the script; add \"expect\" to its steps (docs/script.md, expectations)"
    )]
    NothingExpected,
    /// Too many steps for a page.
    #[error("the script plays more than {MAX_STEPS} steps, repeats counted; too many for a worksheet")]
    TooManySteps,
    /// The core refuses the script.
    #[error("{0}")]
    Script(String),
}

/// Seconds for which a step that holds is played here; a bench holds it as long as it takes.
pub const HOLD_S: u32 = 20;

/// Most seconds whose frames are digested.
pub const MAX_S: u32 = 3600;

/// Frames a second that are digested.
const RATE: FrameRate = FrameRate::lit(500);

/// Frames a second of strips.
const STRIP_RATE: FrameRate = FrameRate::lit(250);

/// The steps with an end to every one.
pub struct EndedSteps<'a> {
    seed: u64,
    items: Vec<Item<'a>>,
}

impl<'a> EndedSteps<'a> {
    /// The steps of a document.
    ///
    /// # Errors
    /// When the core refuses it, or it has more than [`MAX_STEPS`] steps.
    pub fn new(document: &'a Document) -> Result<EndedSteps<'a>, PlanWalkError> {
        let mut items = document.items();
        for item in &mut items {
            if let Item::Step(step) = item {
                step.duration = step.duration.or(Some(Span::secs(HOLD_S)));
            }
        }
        let walk = EndedSteps { seed: document.seed(), items };
        let count = walk.script()?.timeline().take(MAX_STEPS + 1).count();
        if count > MAX_STEPS { Err(PlanWalkError::TooManySteps) } else { Ok(walk) }
    }

    fn script(&self) -> Result<Script<'_>, PlanWalkError> {
        Script::new(self.seed, &self.items).map_err(|error| PlanWalkError::Script(error.to_string()))
    }

    /// Its steps in playing order.
    pub fn placed(&self) -> Vec<Placed<'_>> {
        self.script().map_or(Vec::new(), |script| script.timeline().collect())
    }

    /// Identity of its frames.
    pub fn frames(&self) -> FramesIdentity {
        let mut digest = FramesDigest::default();
        let mut count: u64 = 0;
        if let Ok(script) = self.script() {
            let mut player = Player::new(&script, RATE);
            let mut block = Box::new(Block::new(Signals::ALL));
            let most = u64::from(MAX_S) * u64::from(RATE.as_hz());
            while count < most {
                let filled = player.fill_block(&mut block, BLOCK);
                if filled == 0 {
                    break;
                }
                digest.update(count, &block);
                count += filled as u64;
            }
        }
        FramesIdentity { rate_hz: RATE.as_hz(), count, digest: format!("{:016x}", digest.value()) }
    }

    /// A stretch of the step at a place in playing order, once it has settled.
    ///
    /// # Errors
    /// As [`Excerpt::play`]; a step that is not there is one after the end.
    pub fn stretch(&self, index: usize, seconds: f64) -> Result<Excerpt, ExcerptError> {
        let after = ExcerptError::AfterEnd { from_s: 0.0, end_s: 0.0 };
        let script = self.script().map_err(|_| after)?;
        let placed = script.timeline().nth(index).ok_or(after)?;
        let lasts = placed.step.duration().map_or(f64::from(HOLD_S), Span::as_secs_f64);
        // The remains of the step before are over after some seconds; a ramp is shown where it ends.
        let settle = (lasts - seconds).clamp(0.0, if placed.step.ramps().next().is_none() { 6.0 } else { lasts });
        let length = seconds.min(lasts - settle);
        let from = Instant::ZERO.plus(placed.start.since(Instant::ZERO)).plus(span(settle));
        Excerpt::play(&script, STRIP_RATE, from, span(length))
    }
}

fn span(seconds: f64) -> Span {
    Span::millis((seconds * 1000.0).round() as u64)
}
