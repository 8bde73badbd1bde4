//! The bytes of an image, and where its items lie.

use super::numbers::{u16_at, u32_at, u64_at};
use super::own;
use super::step::ImageStep;
use crate::body::BODIES;
use crate::field::Field;
use crate::heart::catalogue::RHYTHMS;
use crate::heart::rhythm::Rhythm;
use crate::heart::rhythm::parameter::Parameter;
use crate::step::Entry;

/// First bytes of an image.
pub(super) const MARK: [u8; 4] = *b"PWIM";
/// Version of the format.
pub(super) const VERSION: u16 = 1;
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
    pub(super) fn own_rhythms(&self) -> u16 {
        u16_at(self.bytes, 6).unwrap_or(0)
    }

    /// The rhythm of the image's own at an index, and where it lies; `None` where there is none or it makes no sense.
    pub(super) fn own_rhythm(&self, index: u16) -> Option<(Rhythm, usize)> {
        if index >= self.own_rhythms() {
            return None;
        }
        let items = u32_at(self.bytes, 28)? as usize;
        let place = 4usize.checked_mul(items.checked_add(usize::from(index))?)?.checked_add(HEADER)?;
        let record = self.bytes.get(u32_at(self.bytes, place)? as usize..)?;
        Some((own::read(record)?, record.as_ptr() as usize))
    }

    /// The rhythm that a number stands for: those of the catalogue, then the image's own.
    fn rhythm(&self, number: u8) -> Option<(Rhythm, usize)> {
        match RHYTHMS.get(usize::from(number)) {
            Some(rhythm) => Some((**rhythm, core::ptr::from_ref(*rhythm) as usize)),
            None => self.own_rhythm(u16::from(number) - RHYTHMS.len() as u16),
        }
    }

    /// The step or repeat at an index; `None` where there is none, or where it is cut off or names what does not exist.
    pub(crate) fn entry(&self, item: usize) -> Option<Entry<ImageStep<'a>>> {
        let record = self.record(item)?;
        match *record.first()? {
            STEP => Some(Entry::Step(ImageStep::new(record, |number| self.rhythm(number))?)),
            REPEAT => {
                Some(Entry::Repeat { level: *record.get(1)?, first: u32_at(record, 4)?, times: u32_at(record, 8)? })
            }
            _ => None,
        }
    }
}

/// Identifies the settings, bodies, rhythms and parameters of rhythms of this build and their order: FNV-1a over their names.
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
