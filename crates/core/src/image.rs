//! Compact images of scripts: bytes that a microcontroller keeps in flash and plays as they lie there.
//!
//! `docs/image.md` specifies them byte by byte. [`write()`] makes one from a [`crate::script::Script`]; [`Image::new`] checks one, after which
//! nothing in it can be wrong: [`crate::player::Player::of_image`] plays it with the bits of the script.
//!
//! ```
//! use pulsewright_core::{body::ADULT, heart::catalogue::SINUS, image::{self, Image}, script::{Item, Script, Step},
//!     settings::Settings, time::Span};
//!
//! let settings = Settings::new(&ADULT, &SINUS);
//! let items = [Item::Step(Step::lasting(Span::secs(10), settings))];
//! let mut bytes = Vec::new();
//! image::write(&Script::new(7, &items)?, |part| bytes.extend_from_slice(part))?;
//! assert_eq!(Image::new(&bytes)?.duration(), Some(Span::secs(10)));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub(crate) mod bytes;
mod check_sum;
mod numbers;
mod own;
mod own_body;
pub(crate) mod step;
mod write;

pub use own::{MOST_OWN, OWN};
pub use own_body::MOST_OWN_BODIES;
pub use write::{WriteError, write};

use crate::heart::rhythm::Rhythm;
use crate::step::{ScriptError, StepEntry};
use crate::time::Span;
use crate::timeline::{Source, Timeline};
use bytes::{Bytes, CHECK_SUM, HEADER, MARK, TABLES, VERSION};
use check_sum::CheckSum;
use core::fmt;
use numbers::{u16_at, u32_at};

/// An image that has been checked.
#[derive(Clone, Copy, Debug)]
pub struct Image<'a>(Bytes<'a>);

/// Why bytes are no image that can be played.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum ImageError {
    /// They do not start with an image's mark.
    Mark,
    /// A version of the format that this build does not read.
    Version(u16),
    /// Fewer or more bytes than the image says it has.
    Length {
        /// Length as written.
        said: u32,
        /// How many there are.
        found: usize,
    },
    /// The check sum differs: a byte is not what was written.
    CheckSum,
    /// Made by a build with other settings, bodies or rhythms: its numbers have other meanings here.
    Tables,
    /// An item that is cut off, or that names what does not exist, by its index.
    Item(usize),
    /// A value out of its field's range, by the index of its item.
    Value(usize),
    /// A rhythm of the image's own that is cut off or makes no sense, by its index.
    Rhythm(u8),
    /// A body of the image's own that is cut off or makes no sense, by its index.
    Body(u8),
    /// Items that do not make a script.
    Script(ScriptError),
}

impl fmt::Display for ImageError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ImageError::Mark => f.write_str("not an image of a script"),
            ImageError::Version(version) => {
                write!(f, "an image of version {version}, where version {VERSION} can be read")
            }
            ImageError::Length { said, found } => write!(f, "an image of {said} bytes, of which there are {found}"),
            ImageError::CheckSum => f.write_str("the image's check sum differs: its bytes are not those written"),
            ImageError::Tables => f.write_str(
                "the image was made by a version with other settings, bodies or rhythms; make it anew from its script",
            ),
            ImageError::Item(i) => write!(f, "item {i} of the image is cut off or names what does not exist"),
            ImageError::Value(i) => write!(f, "item {i} of the image has a value out of range"),
            ImageError::Rhythm(i) => write!(f, "rhythm {i} of the image is cut off or makes no sense"),
            ImageError::Body(i) => write!(f, "body {i} of the image is cut off or makes no sense"),
            ImageError::Script(e) => e.fmt(f),
        }
    }
}

impl core::error::Error for ImageError {}

impl<'a> Image<'a> {
    /// Checks the bytes; everything after this can rely on them.
    ///
    /// # Errors
    /// Bytes that are not a whole image, or an image of another build that this one can't play.
    pub fn new(bytes: &'a [u8]) -> Result<Image<'a>, ImageError> {
        if bytes.get(..MARK.len()) != Some(&MARK) {
            return Err(ImageError::Mark);
        }
        let short = ImageError::Length { said: HEADER as u32, found: bytes.len() };
        if bytes.len() < HEADER {
            return Err(short);
        }
        let version = u16_at(bytes, 4).ok_or(short)?;
        if version != VERSION {
            return Err(ImageError::Version(version));
        }
        let said = u32_at(bytes, 12).ok_or(short)?;
        if said as usize != bytes.len() {
            return Err(ImageError::Length { said, found: bytes.len() });
        }
        let mut sum = CheckSum::new();
        sum.take(bytes.get(..CHECK_SUM.start).unwrap_or(&[]));
        sum.take(bytes.get(CHECK_SUM.end..).unwrap_or(&[]));
        if u32_at(bytes, CHECK_SUM.start) != Some(sum.value()) {
            return Err(ImageError::CheckSum);
        }
        if u32_at(bytes, 24) != Some(TABLES) {
            return Err(ImageError::Tables);
        }
        let count = u32_at(bytes, 28).ok_or(short)?;
        let image = Bytes::new(bytes, count);
        for index in 0..image.own_rhythms() {
            image.own_rhythm(index).ok_or(ImageError::Rhythm(index))?;
        }
        for index in 0..image.own_bodies() {
            if !image.own_body_allowed(index) {
                return Err(ImageError::Body(index));
            }
        }
        for item in 0..count as usize {
            match image.entry(item) {
                Some(StepEntry::Step(step)) => {
                    if !step.values_allowed() {
                        return Err(ImageError::Value(item));
                    }
                }
                Some(StepEntry::Repeat { .. }) => {}
                None => return Err(ImageError::Item(item)),
            }
        }
        Source::Image(image).check().map_err(ImageError::Script)?;
        Ok(Image(image))
    }

    /// The seed of everything left to chance.
    pub fn seed(&self) -> u64 {
        self.0.seed()
    }

    /// How many steps and repeats there are.
    pub fn items(&self) -> usize {
        self.0.items()
    }

    /// The step at an item index alone, played once, for a rig's user to choose. `None` for a repeat.
    pub fn alone(&self, item: usize) -> Option<Image<'a>> {
        let StepEntry::Step(_) = self.0.entry(item)? else { return None };
        self.0.alone(item).map(Image)
    }

    /// The steps as they will be played, each with its item index and start; ends with a step that holds.
    pub fn timeline(&self) -> Timeline<'a> {
        Timeline::new(Source::Image(self.0))
    }

    /// The same from the item at an index on; a repeat around it begins its passes there.
    pub fn timeline_from(&self, item: usize) -> Timeline<'a> {
        Timeline::from_item(Source::Image(self.0), item)
    }

    /// The rhythm of the step at an item index; `None` for a repeat.
    pub fn rhythm(&self, item: usize) -> Option<Rhythm> {
        match self.0.entry(item)? {
            StepEntry::Step(step) => Some(*step.rhythm()),
            StepEntry::Repeat { .. } => None,
        }
    }

    /// How long the image plays; `None` when a step holds, or when it is beyond the range of an instant (136 years).
    ///
    /// Takes time in proportion to the items, not to the repeats.
    pub fn duration(&self) -> Option<Span> {
        Source::Image(self.0).duration()
    }
}
