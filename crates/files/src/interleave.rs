//! Codes of one channel after another to frames of little-endian integers.
//!
//! Integer widths are generic through `num-traits`. Only its integer traits are used here, and only they may be: its
//! float functions change their results when any crate of a build switches its `std` feature on.

use num_traits::{AsPrimitive, PrimInt, ToBytes};
use wide::{i16x8, i32x8};

/// Channels put side by side at a time.
pub const GROUP: usize = 8;

/// Frames put side by side at a time.
pub const TILE: usize = 64;

/// Codes of 16 bits of up to [`GROUP`] channels.
pub type Tile = [[i32; TILE]; GROUP];

/// Writes the first `channels` of a tile side by side as 16-bit integers, from byte `first` on of each frame of `bytes`;
/// a frame has `stride` bytes.
#[inline(always)]
pub fn interleave(tile: &Tile, channels: usize, first: usize, stride: usize, bytes: &mut [u8]) {
    match channels {
        1 => rows::<2>(tile, first, stride, bytes),
        2 => rows::<4>(tile, first, stride, bytes),
        3 => rows::<6>(tile, first, stride, bytes),
        4 => rows::<8>(tile, first, stride, bytes),
        5 => rows::<10>(tile, first, stride, bytes),
        6 => rows::<12>(tile, first, stride, bytes),
        7 => rows::<14>(tile, first, stride, bytes),
        _ => rows::<16>(tile, first, stride, bytes),
    }
}

/// As [`interleave`], with the bytes of a row's channels known when the program is built.
#[inline(always)]
fn rows<const WIDTH: usize>(tile: &Tile, first: usize, stride: usize, bytes: &mut [u8]) {
    let columns = tile.each_ref().map(|column| column.as_chunks::<GROUP>().0);
    let mut frames = bytes;
    for chunk in 0..TILE / GROUP {
        // A square of eight frames of eight channels, turned.
        let words = |column: &[[i32; GROUP]]| i16x8::from_i32x8_saturate(i32x8::new(column[chunk]));
        let square = i16x8::transpose(columns.map(words));
        for row in square {
            let Some((frame, behind)) = frames.split_at_mut_checked(stride) else { return };
            let mut row_bytes = [0; 2 * GROUP];
            for (pair, code) in row_bytes.as_chunks_mut::<2>().0.iter_mut().zip(row.to_array()) {
                *pair = code.to_le_bytes();
            }
            let place = frame.get_mut(first..).and_then(|place| place.first_chunk_mut::<WIDTH>());
            if let (Some(place), Some(row)) = (place, row_bytes.first_chunk::<WIDTH>()) {
                *place = *row;
            }
            frames = behind;
        }
    }
}

/// Writes `codes` as little-endian integers `T`, the lowest `WIDTH` bytes of each, at every `stride` bytes of `bytes`.
pub fn spread<T, const WIDTH: usize>(codes: &[i32], stride: usize, bytes: &mut [u8])
where
    T: PrimInt + ToBytes + 'static,
    i32: AsPrimitive<T>,
{
    let put = |place: &mut [u8], code: &i32| {
        let sample: T = code.as_();
        if let (Some(place), Some(sample)) =
            (place.first_chunk_mut::<WIDTH>(), sample.to_le_bytes().as_ref().first_chunk::<WIDTH>())
        {
            *place = *sample;
        }
    };
    // After the last sample there may be less than a stride.
    let Some((last, codes)) = codes.split_last() else { return };
    let mut places = bytes.chunks_exact_mut(stride);
    for (code, place) in codes.iter().zip(places.by_ref()) {
        put(place, code);
    }
    match places.next() {
        Some(place) => put(place, last),
        None => put(places.into_remainder(), last),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tiles_of_every_size_stand_as_spread_puts_them() {
        let tile: Tile = std::array::from_fn(|channel| {
            std::array::from_fn(|frame| i32::from((frame as i16).wrapping_mul(301).wrapping_sub(channel as i16 * 4099)))
        });
        for channels in 1..=GROUP {
            for (frames, before, behind) in [(TILE, 0, 0), (1, 0, 2), (7, 4, 1), (9, 16, 8), (TILE - 1, 0, 1)] {
                let stride = before + 2 * channels + behind;
                let (mut one, mut other) = (vec![0xaa; frames * stride], vec![0xaa; frames * stride]);
                interleave(&tile, channels, before, stride, &mut one);
                for (i, column) in tile.iter().enumerate().take(channels) {
                    spread::<i16, 2>(&column[..frames], stride, &mut other[before + 2 * i..]);
                }
                assert_eq!(one, other, "{channels} channels, {frames} frames");
            }
        }
    }

    #[test]
    fn codes_are_spread_as_little_endian_bytes_of_their_width() {
        let mut bytes = [0xaa; 12];
        spread::<i16, 2>(&[-2, 258], 6, &mut bytes[2..]);
        assert_eq!(bytes, [0xaa, 0xaa, 0xfe, 0xff, 0xaa, 0xaa, 0xaa, 0xaa, 0x02, 0x01, 0xaa, 0xaa]);
        let mut bytes = [0; 6];
        spread::<i32, 3>(&[-8_388_608, 8_388_607], 3, &mut bytes);
        assert_eq!(bytes, [0x00, 0x00, 0x80, 0xff, 0xff, 0x7f]);
        let mut bytes = [0; 4];
        spread::<i32, 4>(&[i32::MIN], 4, &mut bytes);
        assert_eq!(bytes, [0, 0, 0, 0x80]);
    }
}
