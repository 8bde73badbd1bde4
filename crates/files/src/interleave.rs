//! Codes of one channel after another to frames of little-endian integers.
//!
//! Integer widths are generic through `num-traits`. Only its integer traits are used here, and only they may be: its
//! float functions change their results when any crate of a build switches its `std` feature on.

use crate::quantiser::BLOCK;
use num_traits::{AsPrimitive, PrimInt, ToBytes};
use wide::{i16x8, i32x8};

/// Channels put side by side at a time.
pub const GROUP: usize = 8;

/// Codes of 16 bits of up to [`GROUP`] channels.
pub type Group = [[i32; BLOCK]; GROUP];

/// Writes the first `channels` of `group` side by side as 16-bit integers at every `stride` bytes of `bytes`.
#[inline(always)]
pub fn interleave(group: &Group, channels: usize, stride: usize, bytes: &mut [u8]) {
    match channels {
        1 => rows::<2>(group, stride, bytes),
        2 => rows::<4>(group, stride, bytes),
        3 => rows::<6>(group, stride, bytes),
        4 => rows::<8>(group, stride, bytes),
        5 => rows::<10>(group, stride, bytes),
        6 => rows::<12>(group, stride, bytes),
        7 => rows::<14>(group, stride, bytes),
        _ => rows::<16>(group, stride, bytes),
    }
}

/// As [`interleave`], with the bytes of a row's channels known when the program is built.
#[inline(always)]
fn rows<const WIDTH: usize>(group: &Group, stride: usize, bytes: &mut [u8]) {
    let columns = group.each_ref().map(|column| column.as_chunks::<GROUP>().0);
    let mut places = bytes.chunks_mut(stride.max(1));
    for chunk in 0..BLOCK / GROUP {
        // A square of eight frames of eight channels, turned.
        let words = |column: &[[i32; GROUP]]| i16x8::from_i32x8_saturate(i32x8::new(column[chunk]));
        let square = i16x8::transpose(columns.map(words));
        for row in square {
            let Some(place) = places.next() else { return };
            let mut row_bytes = [0; 2 * GROUP];
            for (pair, code) in row_bytes.as_chunks_mut::<2>().0.iter_mut().zip(row.to_array()) {
                *pair = code.to_le_bytes();
            }
            if let (Some(place), Some(row)) = (place.first_chunk_mut::<WIDTH>(), row_bytes.first_chunk::<WIDTH>()) {
                *place = *row;
            }
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
    fn groups_of_every_size_stand_as_spread_puts_them() {
        let group: Group = std::array::from_fn(|channel| {
            std::array::from_fn(|frame| i32::from((frame as i16).wrapping_mul(301).wrapping_sub(channel as i16 * 4099)))
        });
        for channels in 1..=GROUP {
            for (frames, more) in [(BLOCK, 0), (1, 0), (7, 5), (9, 24), (255, 1)] {
                let stride = 2 * channels + more;
                let (mut one, mut other) = (vec![0xaa; frames * stride], vec![0xaa; frames * stride]);
                interleave(&group, channels, stride, &mut one);
                for (i, column) in group.iter().enumerate().take(channels) {
                    spread::<i16, 2>(&column[..frames], stride, &mut other[2 * i..]);
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
