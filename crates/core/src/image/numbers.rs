//! Numbers of an image, read where they lie: little-endian, at any place.

pub(super) fn u16_at(bytes: &[u8], place: usize) -> Option<u16> {
    Some(u16::from_le_bytes(*bytes.get(place..)?.first_chunk()?))
}

pub(super) fn u32_at(bytes: &[u8], place: usize) -> Option<u32> {
    Some(u32::from_le_bytes(*bytes.get(place..)?.first_chunk()?))
}

pub(super) fn u64_at(bytes: &[u8], place: usize) -> Option<u64> {
    Some(u64::from_le_bytes(*bytes.get(place..)?.first_chunk()?))
}

pub(super) fn f32_at(bytes: &[u8], place: usize) -> Option<f32> {
    u32_at(bytes, place).map(f32::from_bits)
}
