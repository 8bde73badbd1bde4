//! Which pressures are played.

use crate::anatomy::PressureSite;
use crate::frame::Channel;
use core::fmt;

/// Pressures played at once.
pub const AT_ONCE: usize = 8;

/// A choice of at most [`AT_ONCE`] sites.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SiteSet(u16);

/// More than [`AT_ONCE`] sites.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooManySites(
    /// How many.
    pub usize,
);

impl fmt::Display for TooManySites {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} pressures at once, where {AT_ONCE} are possible", self.0)
    }
}

impl core::error::Error for TooManySites {}

impl SiteSet {
    pub(crate) const EVERY: u16 = (1 << PressureSite::COUNT) - 1;

    /// No site.
    pub(crate) const NONE: SiteSet = SiteSet(0);

    /// Every site but the two atria, whose pressures central vein and wedge show too.
    pub const USUAL: SiteSet =
        SiteSet(SiteSet::EVERY & !bit(PressureSite::RightAtrium) & !bit(PressureSite::LeftAtrium));

    /// These sites.
    pub fn new(sites: &[PressureSite]) -> Result<SiteSet, TooManySites> {
        SiteSet::of_bits(sites.iter().fold(0, |bits, site| bits | bit(*site)))
    }

    /// The sites of those of `channels` that are pressures.
    pub fn of(channels: &[Channel]) -> Result<SiteSet, TooManySites> {
        let site = |channel: &Channel| if let Channel::Pressure(site) = channel { bit(*site) } else { 0 };
        let bits = channels.iter().fold(0, |bits, channel| bits | site(channel));
        SiteSet::of_bits(bits)
    }

    /// The sites of these bits, however many.
    pub(crate) const fn from_bits(bits: u16) -> SiteSet {
        SiteSet(bits)
    }

    /// One bit for each site.
    pub(crate) const fn bits(self) -> u16 {
        self.0
    }

    /// The sites of these bits: bit n is the site at index n of [`PressureSite::ALL`].
    pub fn of_bits(bits: u16) -> Result<SiteSet, TooManySites> {
        let count = bits.count_ones() as usize;
        if count > AT_ONCE { Err(TooManySites(count)) } else { Ok(SiteSet(bits)) }
    }

    /// Whether a site is among them.
    pub fn has(self, site: PressureSite) -> bool {
        self.0 & bit(site) != 0
    }

    /// The sites, in their order.
    pub fn sites(self) -> impl Iterator<Item = PressureSite> {
        let mut left = self.0;
        core::iter::from_fn(move || {
            let first = PressureSite::ALL.get(left.trailing_zeros() as usize).copied();
            left &= left.wrapping_sub(1);
            first
        })
    }

    /// Place of a site among them.
    pub(crate) fn place(self, site: PressureSite) -> Option<usize> {
        self.has(site).then(|| (self.0 & (bit(site) - 1)).count_ones() as usize)
    }
}

/// The bit of a site.
pub(crate) const fn bit(site: PressureSite) -> u16 {
    1 << site as u16
}
