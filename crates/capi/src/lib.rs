//! The core for programs in C: `include/pulsewright.h` declares what this defines.
//!
//! Nothing is allocated. The caller owns the memory of a player and of the image that it plays; the header gives each function's
//! conditions for pointers; the functions refuse null and memory that is not aligned.
#![no_std]

// The panic handler of a desk computer; the core itself never panics.
#[cfg(not(target_os = "none"))]
extern crate std;

use core::mem::MaybeUninit;
use core::slice;
use pulsewright_core::frame::{self, PressureSite};
use pulsewright_core::image::{Image, ImageError};
use pulsewright_core::player::Player;
use pulsewright_core::time::FrameRate;

/// A program without an operating system stops here; the core never panics.
#[cfg(target_os = "none")]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}

/// Memory of a player, in words of 8 bytes.
pub const PLAYER_WORDS: usize = if size_of::<usize>() == 4 { 768 } else { 784 };

/// Memory of a player, as the header declares it.
#[repr(C, align(8))]
pub struct PlayerMemory {
    words: [MaybeUninit<u64>; PLAYER_WORDS],
}

const _: () = assert!(size_of::<Player<'_>>() <= size_of::<PlayerMemory>());
const _: () = assert!(align_of::<Player<'_>>() <= align_of::<PlayerMemory>());

/// A frame, as the header declares it.
#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Frame {
    /// I, II, III, aVR, aVL, aVF, V1 to V6, mV.
    pub leads_mv: [f32; 12],
    /// Impedance, ohm.
    pub respiration_ohm: f32,
    /// Pressures in the order of [`PressureSite::ALL`], mmHg.
    pub pressure_mmhg: [f32; PressureSite::COUNT],
    /// Cuff pressure, and the oscillation in it, mmHg.
    pub cuff_mmhg: [f32; 2],
}

impl From<&frame::Frame> for Frame {
    fn from(frame: &frame::Frame) -> Frame {
        Frame {
            leads_mv: frame.twelve_leads_mv(),
            respiration_ohm: frame.respiration_ohm,
            pressure_mmhg: frame.pressure_mmhg,
            cuff_mmhg: frame.cuff_mmhg,
        }
    }
}

/// The header's `PULSEWRIGHT_...`.
#[repr(i32)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// Done.
    Ok = 0,
    /// A null or misaligned pointer.
    Pointer = 1,
    /// No frame rate that the core plays.
    FrameRate = 2,
    /// No step at the item asked for.
    Item = 3,
    /// Not an image, or of another version of the format.
    NotAnImage = 4,
    /// An image that is cut off or changed.
    Damaged = 5,
    /// An image of a version with other settings, bodies or rhythms.
    OtherTables = 6,
    /// An image whose items make no script.
    NoScript = 7,
}

impl From<ImageError> for Status {
    fn from(error: ImageError) -> Status {
        match error {
            ImageError::Mark | ImageError::Version(_) => Status::NotAnImage,
            ImageError::Length { .. } | ImageError::CheckSum => Status::Damaged,
            ImageError::Tables => Status::OtherTables,
            _ => Status::NoScript,
        }
    }
}

/// Puts a player at the start of an image, or of one step of it, into memory of the caller.
///
/// # Safety
/// `player` points to a [`PlayerMemory`] of the caller's, `image` to `length` bytes that stay as they are for as long as the
/// player is used; either may be null.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_start(
    player: *mut PlayerMemory,
    image: *const u8,
    length: usize,
    frames_per_second: u32,
    item: i32,
) -> Status {
    if player.is_null() || !player.is_aligned() || image.is_null() || length > isize::MAX as usize {
        return Status::Pointer;
    }
    // SAFETY: not null; the caller promises `length` bytes that do not change while the player is used.
    let bytes: &'static [u8] = unsafe { slice::from_raw_parts(image, length) };
    let Ok(rate) = FrameRate::hz(frames_per_second) else { return Status::FrameRate };
    let image = match Image::new(bytes) {
        Ok(image) => image,
        Err(error) => return error.into(),
    };
    let chosen = match usize::try_from(item) {
        Ok(item) => image.alone(item),
        Err(_) => Some(image),
    };
    let Some(image) = chosen else { return Status::Item };
    // SAFETY: not null, aligned, the caller's, and by the assertions above large enough; a player needs no drop.
    unsafe { player.cast::<Player<'static>>().write(Player::of_image(&image, rate)) };
    Status::Ok
}

/// Fills `count` frames and returns how many; fewer only at the end.
///
/// # Safety
/// `player` points to a player that [`pulsewright_start`] has made, which nothing else uses meanwhile; `frames` to `count` frames
/// of the caller's. Either may be null.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_fill(player: *mut PlayerMemory, frames: *mut Frame, count: usize) -> usize {
    if frames.is_null() || !frames.is_aligned() {
        return 0;
    }
    // SAFETY: the caller promises a started player of its own.
    let Some(player) = (unsafe { started(player) }) else { return 0 };
    let mut block = [frame::Frame::default(); 16];
    let mut filled = 0;
    while filled < count {
        let asked = block.len().min(count - filled);
        let n = player.fill(block.get_mut(..asked).unwrap_or(&mut []));
        for (i, frame) in block.iter().take(n).enumerate() {
            // SAFETY: `filled + i` is below `count`; the caller promises as many frames, which may not be initialised.
            unsafe { frames.add(filled + i).write(frame.into()) };
        }
        filled += n;
        if n < asked {
            break;
        }
    }
    filled
}

/// Passes over `count` frames, or to the end, and returns how many.
///
/// # Safety
/// As [`pulsewright_fill`] for `player`.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_skip(player: *mut PlayerMemory, count: u64) -> u64 {
    // SAFETY: the caller promises a started player of its own.
    unsafe { started(player) }.map_or(0, |player| player.skip(count))
}

/// Ends the present step at the next frame.
///
/// # Safety
/// As [`pulsewright_fill`] for `player`.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_next_step(player: *mut PlayerMemory) {
    // SAFETY: the caller promises a started player of its own.
    if let Some(player) = unsafe { started(player) } {
        player.next_step();
    }
}

/// The player in memory of the caller; `None` for null or misaligned memory.
///
/// # Safety
/// `memory` is null, or holds a player that nothing else uses for `'p`.
unsafe fn started<'p>(memory: *mut PlayerMemory) -> Option<&'p mut Player<'static>> {
    // SAFETY: aligned here, not null by `as_mut`, a player by the caller's promise.
    if memory.is_aligned() { unsafe { memory.cast::<Player<'static>>().as_mut() } } else { None }
}
