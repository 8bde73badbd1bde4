//! The bytes of an image, and where its items lie.

use super::numbers::{u32_at, u64_at};
use super::own;
use super::own_body;
use super::step::{ImageStep, SERIES};
use crate::anatomy::{AtrialOrigin, Pathway};
use crate::body::{BODIES, PlayedBody};
use crate::field::Field;
use crate::heart::catalogue::RHYTHMS;
use crate::heart::rhythm::Rhythm;
use crate::heart::rhythm::parameter::Parameter;
use crate::step::StepEntry;

/// First bytes of an image.
pub(super) const MARK: [u8; 4] = *b"PWIM";
/// Version of the format.
pub(super) const VERSION: u16 = 2;
/// Bytes before the positions of the items.
pub(super) const HEADER: usize = 32;
/// Where the check sum lies in the header.
pub(super) const CHECK_SUM: core::ops::Range<usize> = 8..12;
/// First byte of a step and of a repeat.
pub(super) const STEP: u8 = 1;
pub(super) const REPEAT: u8 = 2;

/// Bytes laid out as an image, and which of its items are played.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Bytes<'a> {
    bytes: &'a [u8],
    first: u32,
    count: u32,
}

impl<'a> Bytes<'a> {
    pub(super) fn new(bytes: &'a [u8], count: u32) -> Bytes<'a> {
        Bytes { bytes, first: 0, count }
    }

    pub(super) fn seed(&self) -> u64 {
        u64_at(self.bytes, 16).unwrap_or(0)
    }

    /// How many items there are.
    pub(crate) fn items(&self) -> usize {
        self.count as usize
    }

    /// The item at an index alone.
    pub(super) fn alone(&self, item: usize) -> Option<Bytes<'a>> {
        Some(Bytes { first: self.first.checked_add(u32::try_from(item).ok()?)?, count: 1, ..*self })
    }

    /// The bytes from the start of an item's record on.
    fn record(&self, item: usize) -> Option<&'a [u8]> {
        if item >= self.items() {
            return None;
        }
        let place = 4usize.checked_mul((self.first as usize).checked_add(item)?)?.checked_add(HEADER)?;
        self.bytes.get(u32_at(self.bytes, place)? as usize..)
    }

    /// How many rhythms of its own the image has.
    pub(super) fn own_rhythms(&self) -> u8 {
        self.bytes.get(6).copied().unwrap_or(0)
    }

    /// How many bodies of its own the image has.
    pub(super) fn own_bodies(&self) -> u8 {
        self.bytes.get(7).copied().unwrap_or(0)
    }

    /// The rhythm of the image's own at an index, and where it lies; `None` where there is none or it makes no sense.
    pub(super) fn own_rhythm(&self, index: u8) -> Option<(Rhythm, usize)> {
        if index >= self.own_rhythms() {
            return None;
        }
        let record = self.after_items(index.into())?;
        Some((own::read(record)?, record.as_ptr() as usize))
    }

    /// The body of the image's own at an index; `None` where there is none or it is cut off.
    fn own_body(&self, index: u8) -> Option<PlayedBody<'a>> {
        if index >= self.own_bodies() {
            return None;
        }
        own_body::read(self.after_items(usize::from(self.own_rhythms()) + usize::from(index))?)
    }

    /// Whether the body of the image's own at an index is whole and makes sense.
    pub(super) fn own_body_allowed(&self, index: u8) -> bool {
        self.own_body(index).is_some_and(|body| own_body::allowed(&body))
    }

    /// The bytes from the start of a record on that comes after the items.
    fn after_items(&self, index: usize) -> Option<&'a [u8]> {
        let items = u32_at(self.bytes, 28)? as usize;
        let place = 4usize.checked_mul(items.checked_add(index)?)?.checked_add(HEADER)?;
        self.bytes.get(u32_at(self.bytes, place)? as usize..)
    }

    /// The body that a number stands for: those of this program, then the image's own.
    fn body(&self, number: u8) -> Option<PlayedBody<'a>> {
        match BODIES.get(usize::from(number)) {
            Some(body) => Some((*body).into()),
            None => self.own_body(number - BODIES.len() as u8),
        }
    }

    /// The rhythm that a number stands for: those of the catalogue, then the image's own.
    fn rhythm(&self, number: u8) -> Option<(Rhythm, usize)> {
        match RHYTHMS.get(usize::from(number)) {
            Some(rhythm) => Some((**rhythm, core::ptr::from_ref(*rhythm) as usize)),
            None => self.own_rhythm(number - RHYTHMS.len() as u8),
        }
    }

    /// The step or repeat at an index; `None` where there is none, or where it is cut off or names what does not exist.
    pub(crate) fn entry(&self, item: usize) -> Option<StepEntry<ImageStep<'a>>> {
        let record = self.record(item)?;
        match *record.first()? {
            STEP | SERIES => {
                Some(StepEntry::Step(ImageStep::new(record, |number| self.rhythm(number), |number| self.body(number))?))
            }
            REPEAT => {
                Some(StepEntry::Repeat { level: *record.get(1)?, first: u32_at(record, 4)?, times: u32_at(record, 8)? })
            }
            _ => None,
        }
    }
}

/// Identifies the settings, bodies, rhythms and parameters of rhythms of this program and their order, and the number of shapes of a
/// body: FNV-1a over their names.
pub(super) const TABLES: u32 = {
    let mut digest = 0x811c_9dc5;
    let mut i = 0;
    while i < Field::ALL.len() {
        digest = name(digest, Field::ALL[i].info().path);
        i += 1;
    }
    let mut i = 0;
    while i < BODIES.len() {
        digest = name(digest, BODIES[i].id);
        i += 1;
    }
    let mut i = 0;
    while i < RHYTHMS.len() {
        digest = name(digest, RHYTHMS[i].id);
        i += 1;
    }
    let mut i = 0;
    while i < Parameter::ALL.len() {
        digest = name(digest, Parameter::ALL[i].info().path);
        i += 1;
    }
    i = 0;
    while i < Pathway::ALL.len() + AtrialOrigin::ALL.len() {
        digest = name(digest, if i < Pathway::ALL.len() { "pathway" } else { "origin" });
        i += 1;
    }
    digest
};

/// A digest with a name and a zero byte after it taken in.
const fn name(mut digest: u32, name: &str) -> u32 {
    let bytes = name.as_bytes();
    let mut i = 0;
    while i < bytes.len() {
        digest = (digest ^ bytes[i] as u32).wrapping_mul(0x0100_0193);
        i += 1;
    }
    digest.wrapping_mul(0x0100_0193)
}
