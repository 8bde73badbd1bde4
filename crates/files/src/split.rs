//! A signal in parts, each with a player at its start and the marks in it.

use crate::format::Section;
use crate::marks::{Mark, MarkGatherer};
use pulsewright_core::frame::Lead;
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::Script;
use pulsewright_core::time::FrameRate;
use pulsewright_core::truth::Observer;

/// Frames of a part: about a megabyte of 14 channels at 16 bits. Handing over wakes a thread, which costs more than it seems.
const PART_FRAMES: u64 = 32_768;

/// A part that is not yet encoded.
pub struct UnencodedPart<'a> {
    /// Index of its section.
    pub section: usize,
    /// Its frames.
    pub place: Section,
    /// A player at its start.
    pub player: Player<'a>,
    /// The marks in it; none when they were not asked for.
    pub marks: Vec<Mark>,
}

/// A signal and the files that it is split into.
#[derive(Clone, Copy)]
pub struct SplitSignal<'p, 'a> {
    /// The script.
    pub script: &'a Script<'a>,
    /// Frames a second.
    pub rate: FrameRate,
    /// Pressures that are played.
    pub pressures: SiteSet,
    /// Leads in which each beat is described.
    pub lead_truth: &'p [Lead],
    /// The files, in order.
    pub sections: &'p [Section],
}

/// Splits a signal into parts. It skips over each part, which costs only the part's events.
pub struct Splitter<'p, 'a> {
    played: SplitSignal<'p, 'a>,
    player: Player<'a>,
    marks: Option<MarkGatherer>,
    grain: u64,
    section: usize,
    /// Frames of the section before the next part.
    behind: u64,
}

impl<'p, 'a> Splitter<'p, 'a> {
    /// At the start, for parts of whole multiples of `grain` frames; `marks` asks for the marks of each part.
    pub fn new(played: SplitSignal<'p, 'a>, grain: u64, marks: bool) -> Splitter<'p, 'a> {
        let player = Player::new(played.script, played.rate).with_pressures_at(played.pressures);
        let player = player.with_beats_in(played.lead_truth);
        Splitter {
            played,
            player,
            marks: marks.then(MarkGatherer::default),
            grain: grain.max(1),
            section: 0,
            behind: 0,
        }
    }

    /// The next part; `observer` gets every event in it. No part lies in two sections.
    pub fn next_part(&mut self, observer: &mut impl Observer) -> Option<UnencodedPart<'a>> {
        let section = self.played.sections.get(self.section).copied()?;
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
                marks.take_before(self.played.rate.instant_of(place.first + frames)).collect()
            }
        };
        self.behind += frames;
        if self.behind >= section.frames {
            (self.section, self.behind) = (self.section + 1, 0);
        }
        Some(UnencodedPart { section: index, place, player, marks })
    }

    /// Reports to `observer` the events that the end of the render cuts off, when the script would go on.
    pub fn end_here(&mut self, observer: &mut impl Observer) {
        self.player.end_here(observer);
    }
}
