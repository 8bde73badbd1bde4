//! Draws without memory whose mean holds: a shuffled deck.

use crate::noise::{Noise, Purpose};

/// Cards in a deck.
const CARDS: usize = 32;

/// The quantiles of a skewed distribution with mean 0 and deviation 1, drawn in shuffled order.
///
/// Independent draws would leave the mean rate of a minute wrong by several beats. A deck has each of its values once,
/// so the mean over a deck is exact and over any stretch nearly so, while neighbours stay all but uncorrelated
/// (-1/31 between successive cards).
#[derive(Clone, Debug)]
pub struct Deck {
    order: [u8; CARDS],
    next: usize,
    shuffles: u64,
}

impl Deck {
    /// A deck to be shuffled at the first draw.
    pub const fn new() -> Deck {
        Deck { order: [0; CARDS], next: CARDS, shuffles: 0 }
    }

    /// The next value.
    pub fn draw(&mut self, noise: &Noise, purpose: Purpose) -> f32 {
        if self.next >= CARDS {
            self.shuffle(noise, purpose);
        }
        let card = self.order.get(self.next).copied().unwrap_or(0);
        self.next += 1;
        QUANTILES.get(card as usize).copied().unwrap_or(0.0)
    }

    fn shuffle(&mut self, noise: &Noise, purpose: Purpose) {
        for (i, card) in self.order.iter_mut().enumerate() {
            *card = i as u8;
        }
        for i in (1..CARDS).rev() {
            let bits = noise.bits(purpose, self.shuffles.wrapping_mul(CARDS as u64).wrapping_add(i as u64));
            let j = ((u64::from(bits) * (i as u64 + 1)) >> 32) as usize;
            self.order.swap(i, j);
        }
        self.shuffles = self.shuffles.wrapping_add(1);
        self.next = 0;
    }
}

/// Quantiles at (i + 1/2)/32 of a gamma distribution of shape 6 (RR in fibrillation is skewed to long intervals), brought
/// to mean 0 and deviation 1.
const QUANTILES: [f32; CARDS] = [
    -1.6817, -1.4317, -1.2761, -1.1534, -1.0477, -0.9526, -0.8644, -0.7811, -0.7012, -0.6236, -0.5477, -0.4726, -0.398,
    -0.3232, -0.2479, -0.1717, -0.0938, -0.0141, 0.0682, 0.1535, 0.2428, 0.3369, 0.4368, 0.5442, 0.661, 0.79, 0.9355,
    1.1039, 1.3067, 1.5669, 1.9423, 2.6938,
];
