//! Waves as they are drawn, wherever they lie: in this program, or packed in an image.

use super::{Complex, Wave};

/// Bytes of a wave: start, rise, plateau, fall, X, Y, Z, each an `f32`, little-endian.
pub(crate) type WaveBytes = [u8; 28];

/// A QRS complex with its T wave as it is drawn.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ShapedComplex<'a> {
    /// As [`Complex::qrs`].
    pub qrs: WaveList<'a>,
    /// As [`Complex::qrs_ms`].
    pub qrs_ms: f32,
    /// As [`Complex::t`].
    pub t: WaveList<'a>,
    /// As [`Complex::qt_ms`].
    pub qt_ms: f32,
}

/// Waves, wherever they lie.
#[derive(Clone, Copy, Debug)]
pub(crate) enum WaveList<'a> {
    /// In this program.
    Known(&'a [Wave]),
    /// In an image.
    Packed(&'a [WaveBytes]),
}

/// A wave from its bytes.
pub(crate) fn wave(bytes: &WaveBytes) -> Wave {
    let mut numbers = [0.0; 7];
    for (number, bytes) in numbers.iter_mut().zip(bytes.as_chunks::<4>().0) {
        *number = f32::from_le_bytes(*bytes);
    }
    let [at_ms, rise_ms, hold_ms, fall_ms, x, y, z] = numbers;
    Wave { at_ms, rise_ms, hold_ms, fall_ms, mv: [x, y, z] }
}

impl From<Complex> for ShapedComplex<'_> {
    fn from(complex: Complex) -> Self {
        let Complex { qrs, qrs_ms, t, qt_ms } = complex;
        ShapedComplex { qrs: WaveList::Known(qrs), qrs_ms, t: WaveList::Known(t), qt_ms }
    }
}

impl<'a> WaveList<'a> {
    /// How many there are.
    pub(crate) fn len(self) -> usize {
        match self {
            WaveList::Known(waves) => waves.len(),
            WaveList::Packed(waves) => waves.len(),
        }
    }

    /// The wave at an index.
    pub(crate) fn get(self, index: usize) -> Option<Wave> {
        match self {
            WaveList::Known(waves) => waves.get(index).copied(),
            WaveList::Packed(waves) => waves.get(index).map(wave),
        }
    }

    /// In order.
    pub(crate) fn iter(self) -> impl Iterator<Item = Wave> + use<'a> {
        (0..self.len()).filter_map(move |index| self.get(index))
    }
}
