//! Making an image from a script, without a heap: everything is written twice, first to form the check sum.

use super::bytes::{CHECK_SUM, HEADER, MARK, REPEAT, STEP, TABLES, VERSION};
use super::check_sum::CheckSum;
use super::own::{self, MOST_OWN};
use super::own_body::{self, MOST_OWN_BODIES};
use super::step::{BEAT, HEAD, RAMP, SERIES, TAIL};
use crate::anatomy::{BeatCode, EctopicSite};
use crate::body::{BODIES, Body};
use crate::field::{FIELDS, Field};
use crate::heart::catalogue::RHYTHMS;
use crate::heart::rhythm::Rhythm;
use crate::script::Script;
use crate::settings::resting_in_sinus;
use crate::step::{Item, Ramp, Step};
use crate::time::Span;
use core::fmt;

// Fields, bodies and rhythms are numbered by a byte.
const _: () = assert!(FIELDS <= 255 && BODIES.len() + MOST_OWN_BODIES <= 256 && RHYTHMS.len() + MOST_OWN <= 256);

/// Why a script does not fit an image.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum WriteError {
    /// One rhythm of one's own more than [`MOST_OWN`], by item index.
    Rhythm(usize),
    /// A rhythm of one's own with a value out of its parameter's range, or whose lowest rate is above its highest, by item index.
    RhythmOutOfRange(usize),
    /// One body of one's own more than [`MOST_OWN_BODIES`], by item index.
    Body(usize),
    /// A body of one's own with a number out of its range, by item index.
    BodyOutOfRange(usize),
    /// More than 65 535 beats in a step, premature or of a series, by item index.
    Beats(usize),
    /// A recording, by item index.
    Recording(usize),
    /// Noise of a recording, by item index.
    Noise(usize),
    /// More than 4 GiB.
    Size,
}

impl fmt::Display for WriteError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            WriteError::Rhythm(i) => {
                write!(f, "item {i}: an image holds at most {MOST_OWN} rhythms that are not in the catalogue")
            }
            WriteError::RhythmOutOfRange(i) => {
                write!(f, "item {i}: the rhythm has a value out of range, or its lowest rate is above its highest")
            }
            WriteError::Body(i) => write!(f, "item {i}: an image holds at most {MOST_OWN_BODIES} bodies of one's own"),
            WriteError::BodyOutOfRange(i) => write!(f, "item {i}: the body has a number out of range"),
            WriteError::Beats(i) => write!(f, "item {i}: an image holds at most 65535 beats a step"),
            WriteError::Recording(i) => {
                write!(f, "item {i} plays a recording; an image holds no samples, so stream the script from a computer")
            }
            WriteError::Noise(i) => write!(
                f,
                "item {i} has noise of a recording; an image holds no samples, so stream the script from a computer"
            ),
            WriteError::Size => f.write_str("the image would be larger than 4 GiB"),
        }
    }
}

impl core::error::Error for WriteError {}

/// Puts out the image of a script in parts, in order.
///
/// # Errors
/// A script that does not fit; nothing has been written then.
pub fn write(script: &Script<'_>, mut put: impl FnMut(&[u8])) -> Result<(), WriteError> {
    let items = script.items();
    let own = Own::of(items)?;
    let rhythms: usize = own.rhythms.all().map(|rhythm| 4 + own::length(rhythm)).sum();
    let bodies: usize = own.bodies.all().map(|body| 4 + own_body::length(body)).sum();
    let mut length = HEADER + 4 * items.len() + rhythms + bodies;
    for (i, item) in items.iter().enumerate() {
        length += match item {
            Item::Step(step) => Record::new(i, step, &own)?.length(),
            Item::Repeat { .. } => REPEAT_LENGTH,
        };
    }
    let length = u32::try_from(length).map_err(|_| WriteError::Size)?;
    let mut sum = CheckSum::new();
    let mut position = 0;
    put_all(script, &own, length, 0, &mut |part| {
        // The sum is over everything but itself, and is written as a separate part.
        if position != CHECK_SUM.start {
            sum.take(part);
        }
        position += part.len();
    })?;
    put_all(script, &own, length, sum.value(), &mut put)
}

/// The rhythms and bodies of a script that this program does not have.
struct Own {
    rhythms: own::OwnRecords<Rhythm, MOST_OWN>,
    bodies: own::OwnRecords<Body, MOST_OWN_BODIES>,
}

impl Own {
    fn of(items: &[Item<'_>]) -> Result<Own, WriteError> {
        let mut own = Own { rhythms: own::OwnRecords::NONE, bodies: own::OwnRecords::NONE };
        for (i, item) in items.iter().enumerate() {
            let Item::Step(step) = item else { continue };
            if step.recording.is_some() {
                return Err(WriteError::Recording(i));
            }
            if step.noise.is_some() {
                return Err(WriteError::Noise(i));
            }
            let (rhythm, body) = (step.settings.rhythm(), step.settings.body());
            if catalogued(rhythm).is_none() {
                if !own::readable(rhythm) {
                    return Err(WriteError::RhythmOutOfRange(i));
                }
                own.rhythms.join(rhythm).ok_or(WriteError::Rhythm(i))?;
            }
            if known(body).is_none() {
                if !own_body::readable(body) {
                    return Err(WriteError::BodyOutOfRange(i));
                }
                own.bodies.join(body).ok_or(WriteError::Body(i))?;
            }
        }
        Ok(own)
    }
}

const REPEAT_LENGTH: usize = 12;

fn put_all(
    script: &Script<'_>,
    own: &Own,
    length: u32,
    sum: u32,
    put: &mut dyn FnMut(&[u8]),
) -> Result<(), WriteError> {
    let items = script.items();
    put(&MARK);
    put(&VERSION.to_le_bytes());
    put(&[own.rhythms.all().count() as u8, own.bodies.all().count() as u8]);
    put(&sum.to_le_bytes());
    put(&length.to_le_bytes());
    put(&script.seed().to_le_bytes());
    put(&TABLES.to_le_bytes());
    put(&(items.len() as u32).to_le_bytes());
    let records = items.len() + own.rhythms.all().count() + own.bodies.all().count();
    let mut place = (HEADER + 4 * records) as u32;
    for (i, item) in items.iter().enumerate() {
        put(&place.to_le_bytes());
        place += match item {
            Item::Step(step) => Record::new(i, step, own)?.length() as u32,
            Item::Repeat { .. } => REPEAT_LENGTH as u32,
        };
    }
    for length in own.rhythms.all().map(own::length).chain(own.bodies.all().map(own_body::length)) {
        put(&place.to_le_bytes());
        place += length as u32;
    }
    for (i, item) in items.iter().enumerate() {
        match item {
            Item::Step(step) => Record::new(i, step, own)?.put(put),
            Item::Repeat { first, times, level } => {
                put(&[REPEAT, *level, 0, 0]);
                put(&first.to_le_bytes());
                put(&times.to_le_bytes());
            }
        }
    }
    own.rhythms.all().for_each(|rhythm| own::put(rhythm, put));
    own.bodies.all().for_each(|body| own_body::put(body, put));
    Ok(())
}

/// The number of a rhythm of the catalogue.
fn catalogued(rhythm: &'static Rhythm) -> Option<usize> {
    RHYTHMS.iter().position(|one| core::ptr::eq(*one, rhythm))
}

/// The number of a body of this program.
fn known(body: &'static Body) -> Option<usize> {
    BODIES.iter().position(|one| core::ptr::eq(*one, body))
}

/// Beats of a step: premature ones or those of its series, as a script never has both.
fn count(step: &Step<'_>) -> usize {
    step.beats.len() + step.series.map_or(0, |series| series.beats.len())
}

/// A step with the numbers that its record needs.
struct Record<'a> {
    step: &'a Step<'a>,
    body: u8,
    rhythm: u8,
    beats: u16,
    resting: &'static [f32; FIELDS],
}

impl<'a> Record<'a> {
    fn new(item: usize, step: &'a Step<'a>, own: &Own) -> Result<Record<'a>, WriteError> {
        let settings = &step.settings;
        let body = settings.body();
        let body = known(body).or_else(|| Some(BODIES.len() + own.bodies.position(body)?));
        let rhythm = settings.rhythm();
        let rhythm = catalogued(rhythm).or_else(|| Some(RHYTHMS.len() + own.rhythms.position(rhythm)?));
        let body = body.ok_or(WriteError::Body(item))?;
        Ok(Record {
            step,
            body: body as u8,
            rhythm: rhythm.ok_or(WriteError::Rhythm(item))? as u8,
            beats: u16::try_from(count(step)).map_err(|_| WriteError::Beats(item))?,
            resting: resting_in_sinus(body),
        })
    }

    fn length(&self) -> usize {
        let tail = if self.step.series.is_some() { TAIL } else { 0 };
        HEAD + 5 * self.changes().count() + RAMP * self.ramps().count() + BEAT * count(self.step) + tail
    }

    /// The fields in which the step differs from the body at rest, by their bits.
    fn changes(&self) -> impl Iterator<Item = (Field, f32)> + '_ {
        Field::ALL.iter().zip(self.resting).filter_map(|(field, resting)| {
            let value = self.step.settings.get(*field);
            (value.to_bits() != resting.to_bits()).then_some((*field, value))
        })
    }

    /// Ramps, by field; where a step names one twice the first counts.
    fn ramps(&self) -> impl Iterator<Item = &Ramp> {
        Field::ALL.iter().filter_map(|field| self.step.ramps.iter().find(|ramp| ramp.field == *field))
    }

    fn put(&self, put: &mut dyn FnMut(&[u8])) {
        let (changes, ramps) = (self.changes().count() as u8, self.ramps().count() as u8);
        put(&[if self.step.series.is_some() { SERIES } else { STEP }, self.body, self.rhythm, changes, ramps, 0]);
        put(&self.beats.to_le_bytes());
        put(&self.step.duration.map_or(0, Span::ticks).to_le_bytes());
        self.changes().for_each(|(field, _)| put(&[field as u8]));
        self.changes().for_each(|(_, value)| put(&value.to_le_bytes()));
        self.ramps().for_each(|ramp| put(&[ramp.field as u8]));
        self.ramps().for_each(|ramp| put(&ramp.to.to_le_bytes()));
        self.ramps().for_each(|ramp| put(&ramp.over.map_or(0, Span::ticks).to_le_bytes()));
        for beat in self.step.beats {
            put(&beat.after.ticks().to_le_bytes());
            let site = EctopicSite::ALL.iter().position(|site| *site == beat.site);
            put(&[site.unwrap_or(0) as u8]);
        }
        if let Some(series) = self.step.series {
            for beat in series.beats {
                put(&beat.after.ticks().to_le_bytes());
                let code = BeatCode::ALL.iter().position(|code| *code == beat.code);
                put(&[code.unwrap_or(0) as u8]);
            }
            put(&series.length.ticks().to_le_bytes());
        }
    }
}
