//! Chance without state: (seed, purpose, index) → value.
//!
//! A value depends on nothing else, so `skip`, a copy of the player and another block size get the same values.
//! The seed is spread into one 64-bit key per purpose by ChaCha8; from a key and a counter the
//! value comes by four rounds of squaring, Widynski's counter-based generator ("Squares: a fast counter-based RNG",
//! arXiv:2004.06278). ChaCha could serve directly, but a seek in it costs a whole refill, on a microcontroller some
//! thousands of instructions a beat.
//! Distributions are our own, from raw words, because a library's may change between versions.

mod spread;

/// Purpose of a random value; each has its own key, so that one more draw here moves nothing elsewhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Purpose {
    /// RR intervals in atrial fibrillation.
    FibrillationInterval = 0,
    /// Slow (LF band) wander of the sinus rate.
    SlowVariability,
    /// Fast (HF band) wander of the sinus rate.
    FastVariability,
    /// Atrial fibrillatory waves.
    FibrillatoryWave,
    /// Ventricular fibrillation.
    VentricularFibrillation,
    /// When an ectopic beat comes.
    Ectopy,
    /// Shape and coupling of ectopic beats.
    EctopicShape,
    /// Chance in atrioventricular conduction.
    AvConduction,
    /// Multifocal or wandering atrial impulses.
    AtrialFocus,
    /// Muscle noise.
    Muscle,
    /// Baseline wander.
    Wander,
    /// Motion artefact.
    Motion,
    /// High-frequency surgery burst.
    Surgery,
    /// Breath-to-breath variation.
    Breath,
    /// Wander of the sinus rate below the LF band.
    VerySlowVariability,
    /// Beat-to-beat change of QT.
    Repolarisation,
    /// When the sinus node fails, and for how long.
    SinusFault,
    /// Shape of each beat.
    BeatShape,
    /// Noise that every recording has.
    Background,
    /// Electrodes that shift on the skin, in the band of the QRS.
    Electrode,
    /// Spare key, for users of the core.
    User,
}

const PURPOSES: usize = Purpose::User as usize + 1;

/// The keys of one seed.
#[derive(Clone, Debug)]
pub struct Noise {
    keys: [u64; PURPOSES],
}

impl Noise {
    /// Spreads `seed` into one key per purpose.
    pub fn new(seed: u64) -> Noise {
        let mut keys = [0; PURPOSES];
        spread::fill(seed, &mut keys);
        // Odd, so that the counter times the key runs through all values.
        keys.iter_mut().for_each(|key| *key |= 1);
        Noise { keys }
    }

    /// 32 random bits for the `index`-th draw of `purpose`.
    // Not inlined: four 64-bit products take much of a microcontroller's flash.
    #[inline(never)]
    pub fn bits(&self, purpose: Purpose, index: u64) -> u32 {
        let key = self.keys[purpose as usize];
        // The generator's first counters square to small numbers; an offset of its own keeps clear of them.
        let y = index.wrapping_add(0x9e37_79b9).wrapping_mul(key);
        let z = y.wrapping_add(key);
        let mut x = y;
        x = x.wrapping_mul(x).wrapping_add(y).rotate_left(32);
        x = x.wrapping_mul(x).wrapping_add(z).rotate_left(32);
        x = x.wrapping_mul(x).wrapping_add(y).rotate_left(32);
        (x.wrapping_mul(x).wrapping_add(z) >> 32) as u32
    }

    /// Uniform in [0, 1), in steps of 2^-24.
    pub fn uniform(&self, purpose: Purpose, index: u64) -> f32 {
        (self.bits(purpose, index) >> 8) as f32 * (1.0 / 16_777_216.0)
    }

    /// Uniform in [-1, 1).
    pub fn signed(&self, purpose: Purpose, index: u64) -> f32 {
        (self.bits(purpose, index) as i32 >> 7) as f32 * (1.0 / 16_777_216.0)
    }

    /// Bell-shaped (the sum of four 16-bit uniforms): mean 0, variance 1, within ±3.47.
    pub fn bell(&self, purpose: Purpose, index: u64) -> f32 {
        let a = self.bits(purpose, index.wrapping_mul(2));
        let b = self.bits(purpose, index.wrapping_mul(2).wrapping_add(1));
        let sum = (a & 0xffff) + (a >> 16) + (b & 0xffff) + (b >> 16);
        // The sum has mean 2 * 65535 and variance 4 * (65536^2 - 1) / 12; 65536 / sqrt(3) is its deviation.
        (sum as f32 - 131_070.0) * (1.732_050_8 / 65_536.0)
    }
}
