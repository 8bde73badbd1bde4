//! How a card plays frames: chosen from what it offers.

use std::fmt;

/// Form of a card's samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs)] // The names are the documentation: signed integers of so many bits, and floats of 32.
pub enum SampleForm {
    I16,
    I24,
    I32,
    F32,
}

impl SampleForm {
    /// Bits of the widest code that it holds exactly.
    pub const fn bits(self) -> u32 {
        match self {
            SampleForm::I16 => 16,
            SampleForm::I24 | SampleForm::F32 => 24,
            SampleForm::I32 => 32,
        }
    }
}

/// One way in which a card can play.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Offer {
    /// Channels.
    pub channels: u16,
    /// Lowest and highest frames a second.
    pub rates_hz: (u32, u32),
    /// Form of the samples.
    pub form: SampleForm,
}

/// The needs of the signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SignalNeeds {
    /// Channels.
    pub channels: usize,
    /// Bits of a code.
    pub bits: u32,
    /// Frames a second.
    pub rate_hz: u32,
}

/// How a card plays a signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlaybackForm {
    /// Channels of the card; those beyond the signal's stay at 0.
    pub channels: u16,
    /// The card's frames a second.
    pub rate_hz: u32,
    /// Frames of the card for which a frame of the signal is held.
    pub hold: u32,
    /// Form of the samples.
    pub form: SampleForm,
}

/// Why a card can't play a signal.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CardMismatch {
    /// Too few channels.
    #[error("it has {most} channels at most, and the signal has {wanted}")]
    Channels {
        /// The most that it has.
        most: u16,
        /// Those of the signal.
        wanted: usize,
    },
    /// Samples that are too narrow.
    #[error(
        "with {channels} channels it takes codes of {most} bits at most, and the signal has {wanted}: lower the bits"
    )]
    Bits {
        /// Channels of the signal.
        channels: usize,
        /// The most that it takes.
        most: u32,
        /// Those of the signal.
        wanted: u32,
    },
    /// No rate that is a multiple of the signal's.
    #[error(
        "it does not play {wanted} frames a second, nor a whole multiple of that. Rates that it plays: {rates}. A --frame-rate must be one of them or divide one"
    )]
    Rate {
        /// Frames a second of the signal.
        wanted: u32,
        /// Those of the card.
        rates: Rates,
    },
}

/// Rates of a card in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rates(Vec<(u32, u32)>);

impl Rates {
    /// Those of some offers, in order.
    pub fn of<'a>(offers: impl IntoIterator<Item = &'a Offer>) -> Rates {
        let mut rates: Vec<(u32, u32)> = offers.into_iter().map(|offer| offer.rates_hz).collect();
        rates.sort_unstable();
        rates.dedup();
        Rates(rates)
    }
}

impl fmt::Display for Rates {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, (lowest, highest)) in self.0.iter().enumerate() {
            let comma = if place > 0 { ", " } else { "" };
            match lowest == highest {
                true => write!(f, "{comma}{lowest}")?,
                false => write!(f, "{comma}{lowest} to {highest}")?,
            }
        }
        Ok(())
    }
}

/// Rates at which cards usually work, the preferred one first: below them a card's own filter may reach into the signal.
const USUAL_HZ: [u32; 6] = [48_000, 44_100, 96_000, 88_200, 192_000, 176_400];

/// The card's rate for frames of a signal: their own, or else a whole multiple.
fn rate(offer: &Offer, wanted_hz: u32) -> Option<u32> {
    let (lowest, highest) = offer.rates_hz;
    let plays = |hz: &u32| (lowest..=highest).contains(hz);
    let is_multiple = |hz: &u32| hz.checked_rem(wanted_hz) == Some(0);
    if plays(&wanted_hz) {
        return Some(wanted_hz);
    }
    let usual = USUAL_HZ.into_iter().find(|hz| plays(hz) && is_multiple(hz));
    let least = || lowest.checked_next_multiple_of(wanted_hz);
    usual.or_else(|| least().filter(plays))
}

/// Chooses how a card plays a signal: as few channels as will do, then frames held as briefly as will do, then as narrow a sample as
/// holds every code.
///
/// # Errors
/// [`CardMismatch`] when it can't.
pub fn choose(offers: &[Offer], wanted: SignalNeeds) -> Result<PlaybackForm, CardMismatch> {
    let SignalNeeds { channels, bits, rate_hz } = wanted;
    let most = offers.iter().map(|offer| offer.channels).max().unwrap_or(0);
    let wide: Vec<&Offer> = offers.iter().filter(|offer| usize::from(offer.channels) >= channels).collect();
    if wide.is_empty() {
        return Err(CardMismatch::Channels { most, wanted: channels });
    }
    let fine: Vec<&Offer> = wide.iter().copied().filter(|offer| offer.form.bits() >= bits).collect();
    if fine.is_empty() {
        let most = wide.iter().map(|offer| offer.form.bits()).max().unwrap_or(0);
        return Err(CardMismatch::Bits { channels, most, wanted: bits });
    }
    let choices = fine.iter().filter_map(|offer| {
        let card_hz = rate(offer, rate_hz)?;
        let hold = card_hz.checked_div(rate_hz)?;
        Some(PlaybackForm { channels: offer.channels, rate_hz: card_hz, hold, form: offer.form })
    });
    let unusual = |choice: &PlaybackForm| choice.hold > 1 && !USUAL_HZ.contains(&choice.rate_hz);
    choices
        .min_by_key(|choice| (choice.channels, unusual(choice), choice.hold, choice.form))
        .ok_or_else(|| CardMismatch::Rate { wanted: rate_hz, rates: Rates::of(fine) })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn offers(rates: &[(u32, u32)], channels: &[u16], forms: &[SampleForm]) -> Vec<Offer> {
        let offer = |rates_hz, channels, form| Offer { channels, rates_hz, form };
        let of_rate = |rate| channels.iter().flat_map(move |&c| forms.iter().map(move |&f| offer(rate, c, f)));
        rates.iter().flat_map(|&rate| of_rate(rate)).collect()
    }

    fn card() -> Vec<Offer> {
        offers(&[(44_100, 44_100), (48_000, 48_000), (96_000, 96_000)], &[2, 8], &[SampleForm::I16, SampleForm::I32])
    }

    fn chosen(channels: usize, bits: u32, rate_hz: u32) -> Result<PlaybackForm, CardMismatch> {
        choose(&card(), SignalNeeds { channels, bits, rate_hz })
    }

    #[test]
    fn a_rate_of_the_card_is_played_as_it_is_and_others_are_held() {
        let choice = |hz| chosen(2, 16, hz).map(|choice| (choice.rate_hz, choice.hold));
        assert_eq!(choice(44_100), Ok((44_100, 1)));
        assert_eq!(choice(48_000), Ok((48_000, 1)));
        assert_eq!(choice(1000), Ok((48_000, 48)));
        assert_eq!(choice(441), Ok((44_100, 100)));
        assert_eq!(choice(19_200), Ok((96_000, 5)));
    }

    #[test]
    fn a_rate_that_no_card_rate_is_a_multiple_of_is_refused_with_the_rates() {
        let refused = chosen(2, 16, 360).map(|choice| choice.rate_hz);
        assert_eq!(
            refused.unwrap_err().to_string().split(": ").nth(1),
            Some("44100, 48000, 96000. A --frame-rate must be one of them or divide one")
        );
    }

    #[test]
    fn the_narrowest_sample_that_holds_every_code_and_the_fewest_channels() {
        let choice = |channels, bits| chosen(channels, bits, 1000).map(|choice| (choice.channels, choice.form));
        assert_eq!(choice(1, 16), Ok((2, SampleForm::I16)));
        assert_eq!(choice(3, 24), Ok((8, SampleForm::I32)));
        assert_eq!(chosen(9, 16, 1000), Err(CardMismatch::Channels { most: 8, wanted: 9 }));
        let floats = offers(&[(48_000, 48_000)], &[2], &[SampleForm::F32]);
        let wanted = |bits| SignalNeeds { channels: 2, bits, rate_hz: 48_000 };
        assert!(choose(&floats, wanted(24)).is_ok());
        assert_eq!(choose(&floats, wanted(32)), Err(CardMismatch::Bits { channels: 2, most: 24, wanted: 32 }));
    }

    #[test]
    fn a_range_of_rates_gives_a_usual_one_or_the_least_multiple() {
        let choice = |rates, rate_hz| {
            choose(&offers(&[rates], &[2], &[SampleForm::I16]), SignalNeeds { channels: 2, bits: 16, rate_hz })
                .map(|choice| (choice.rate_hz, choice.hold))
        };
        assert_eq!(choice((4000, 384_000), 500), Ok((48_000, 96)));
        assert_eq!(choice((4000, 384_000), 8000), Ok((8000, 1)));
        assert_eq!(choice((4000, 384_000), 360), Ok((88_200, 245)));
        assert_eq!(choice((4000, 384_000), 130), Ok((4030, 31)));
        assert_eq!(choice((200_000, 384_000), 500), Ok((200_000, 400)));
        assert!(choice((44_100, 44_101), 500).is_err());
    }
}
