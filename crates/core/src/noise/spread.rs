//! Spreading a seed into many words: ChaCha with eight rounds (Bernstein 2008, "ChaCha, a variant of Salsa20"), once a script.
//!
//! Written out here because a library's, made to be fast in bulk, takes 3 kB of a microcontroller's flash. It gives the words of
//! the crate `rand_chacha`: `ChaCha8Rng::seed_from_u64(seed)`, read by `next_u64`; the test compares them.

/// Fills `words` with what `seed` spreads into.
pub(super) fn fill(seed: u64, words: &mut [u64]) {
    let key = key(seed);
    for (block, words) in (0..).zip(words.chunks_mut(8)) {
        let block = chacha8(&key, block);
        for (word, pair) in words.iter_mut().zip(block.chunks_exact(2)) {
            if let [low, high] = pair {
                *word = u64::from(*high) << 32 | u64::from(*low);
            }
        }
    }
}

/// A ChaCha key of a short seed: eight words of PCG-XSH-RR (O'Neill 2014), as the crate `rand_core` fills one.
fn key(seed: u64) -> [u32; 8] {
    let mut state = seed;
    [(); 8].map(|()| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(11_634_580_027_462_260_723);
        ((((state >> 18) ^ state) >> 27) as u32).rotate_right((state >> 59) as u32)
    })
}

/// The words of a block.
fn chacha8(key: &[u32; 8], block: u32) -> [u32; 16] {
    let [k0, k1, k2, k3, k4, k5, k6, k7] = *key;
    // "expand 32-byte k", the key, the block's number, no stream number.
    let start = [0x6170_7865, 0x3320_646e, 0x7962_2d32, 0x6b20_6574, k0, k1, k2, k3, k4, k5, k6, k7, block, 0, 0, 0];
    let mut x = start;
    for round in 0..8 {
        for column in 0..4 {
            // Odd rounds go down the diagonals.
            let down = |row: usize| 4 * row + (column + if round % 2 == 0 { 0 } else { row }) % 4;
            quarter_round(&mut x, [0, 1, 2, 3].map(down));
        }
    }
    core::array::from_fn(|i| x[i].wrapping_add(start[i]))
}

// Not inlined: it would be written out 32 times.
#[inline(never)]
fn quarter_round(x: &mut [u32; 16], [a, b, c, d]: [usize; 4]) {
    for (sum, other, turned, left) in [(a, b, d, 16), (c, d, b, 12), (a, b, d, 8), (c, d, b, 7)] {
        // By 15 at the place of use, so that the compiler sees that no place lies outside.
        let [sum, other, turned] = [sum & 15, other & 15, turned & 15];
        x[sum] = x[sum].wrapping_add(x[other]);
        x[turned] = (x[turned] ^ x[sum]).rotate_left(left);
    }
}

#[cfg(test)]
mod tests {
    use super::fill;
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng, SeedableRng};

    #[test]
    fn the_words_are_those_of_the_library() {
        for seed in (0..200).chain([u64::MAX, 0x5EED_0F00_0D5E_ED01]) {
            let mut words = [0; 27];
            fill(seed, &mut words);
            let mut library = ChaCha8Rng::seed_from_u64(seed);
            assert_eq!(words, [(); 27].map(|()| library.next_u64()), "seed {seed}");
        }
    }
}
