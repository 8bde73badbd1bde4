//! The core for programs in C: `include/pulsewright.h` declares what this defines.
//!
//! Nothing is allocated. The caller owns the memory of a player and of the image that it plays; the header gives each function's
//! conditions for pointers; the functions refuse null, memory that is not aligned, and memory without a started player.
#![no_std]

// The panic handler of a desk computer; the core itself never panics.
#[cfg(not(target_os = "none"))]
extern crate std;

pub mod events;
pub mod live;

use core::mem::MaybeUninit;
use core::slice;
use events::Event;
use pulsewright_core::frame::{self, Electrode, PressureSite};
use pulsewright_core::image::{Image, ImageError};
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::time::FrameRate;
use pulsewright_core::timeline::Timeline;

/// A program without an operating system stops here; the core never panics.
#[cfg(target_os = "none")]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}

/// Version of this interface: higher when functions were added, or changed what they do.
pub const INTERFACE: u32 = 3;

/// Memory of a player, in words of 8 bytes.
pub const PLAYER_WORDS: usize = if size_of::<usize>() == 4 { 784 } else { 804 };

/// Content of the first word of memory that holds a player; memory with any other has none.
const STARTED: u64 = 0x5057_2d73_7461_7274 ^ INTERFACE as u64;

/// What the memory holds.
#[repr(C)]
struct Held {
    started: u64,
    player: Player<'static>,
    /// What the image plays after a step of the caller's.
    aside: Option<Timeline<'static>>,
    /// [`STARTED`] again: memory that was overwritten from either side is no player.
    ends: u64,
}

/// Memory of a player, as the header declares it.
#[repr(C, align(8))]
pub struct PlayerMemory {
    words: [MaybeUninit<u64>; PLAYER_WORDS],
}

const _: () = assert!(size_of::<Held>() <= size_of::<PlayerMemory>());
const _: () = assert!(align_of::<Held>() <= align_of::<PlayerMemory>());

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
    /// No player was started in that memory.
    NotStarted = 8,
    /// More than eight pressures, or an unknown one.
    Pressures = 9,
    /// A frame has been played already.
    TooLate = 10,
    /// No step was made in that memory.
    NotMade = 11,
    /// No setting, rhythm or body of that name.
    Word = 12,
    /// A value that the setting does not take.
    Value = 13,
    /// Settings that exclude each other.
    Conflict = 14,
    /// The player plays a rhythm or body that only its image has.
    Own = 15,
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
    let held = Held { started: STARTED, player: Player::of_image(&image, rate), aside: None, ends: STARTED };
    // SAFETY: not null, aligned, the caller's, and by the assertions above large enough; a player needs no drop.
    unsafe { player.cast::<Held>().write(held) };
    Status::Ok
}

/// [`INTERFACE`].
#[unsafe(no_mangle)]
pub extern "C" fn pulsewright_interface() -> u32 {
    INTERFACE
}

/// Chooses the pressures that are played, before the first frame: bit n is the pressure at index n of a frame.
///
/// # Safety
/// As [`pulsewright_fill`] for `player`.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_pressures(player: *mut PlayerMemory, sites: u32) -> Status {
    // SAFETY: the caller promises memory of its own.
    let Some(player) = (unsafe { started(player) }) else { return Status::NotStarted };
    if player.position() > 0 {
        return Status::TooLate;
    }
    if sites >> PressureSite::COUNT != 0 {
        return Status::Pressures;
    }
    let Ok(set) = SiteSet::of_bits(sites as u16) else { return Status::Pressures };
    *player = player.clone().with_pressures_at(set);
    Status::Ok
}

/// Potentials of RA, LA, LL and V1 to V6 of a frame, mV, against the mean of the limbs.
///
/// # Safety
/// `frame` points to a frame, `electrodes_mv` to nine floats of the caller's. Either may be null.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_electrodes(frame: *const Frame, electrodes_mv: *mut f32) {
    if frame.is_null() || !frame.is_aligned() || electrodes_mv.is_null() || !electrodes_mv.is_aligned() {
        return;
    }
    // SAFETY: not null, aligned, and the caller's frame.
    let leads = unsafe { (*frame).leads_mv };
    let [i, ii, _, _, _, _, v1, v2, v3, v4, v5, v6] = leads;
    let frame = frame::Frame { leads_mv: [i, ii, v1, v2, v3, v4, v5, v6], ..frame::Frame::default() };
    for (index, electrode) in ELECTRODES.into_iter().enumerate() {
        // SAFETY: the caller promises room for nine.
        unsafe { electrodes_mv.add(index).write(frame.electrode_mv(electrode)) };
    }
}

/// Electrodes in the order of [`pulsewright_electrodes`].
const ELECTRODES: [Electrode; 9] = [
    Electrode::RA,
    Electrode::LA,
    Electrode::LL,
    Electrode::V1,
    Electrode::V2,
    Electrode::V3,
    Electrode::V4,
    Electrode::V5,
    Electrode::V6,
];

/// Fills `count` frames and returns how many; fewer only at the end.
///
/// # Safety
/// `player` points to initialised memory for a player, which nothing else uses meanwhile; `frames` to `count` frames
/// of the caller's. Either may be null.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_fill(player: *mut PlayerMemory, frames: *mut Frame, count: usize) -> usize {
    // SAFETY: the same promises; no room for events.
    unsafe { pulsewright_fill_events(player, frames, count, core::ptr::null_mut(), 0, core::ptr::null_mut()) }
}

/// As [`pulsewright_fill`], with what happens meanwhile: the first `room` events, and the count of all of them.
///
/// An event comes with the call that plays its frame, or sooner.
///
/// # Safety
/// As [`pulsewright_fill`]; `events` points to `room` events of the caller's and `happened` to a number, either may be null.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_fill_events(
    player: *mut PlayerMemory,
    frames: *mut Frame,
    count: usize,
    events: *mut Event,
    room: usize,
    happened: *mut usize,
) -> usize {
    let room = if events.is_null() || !events.is_aligned() { 0 } else { room };
    let mut counted = 0;
    let mut filled = 0;
    // SAFETY: the caller promises memory of its own.
    let player = unsafe { started(player) }.filter(|_| !frames.is_null() && frames.is_aligned());
    if let Some(player) = player {
        let rate = player.rate();
        let mut block = [frame::Frame::default(); 16];
        while filled < count {
            let asked = block.len().min(count - filled);
            let mut take = |event| {
                if let Some(event) = Event::of(&event, rate) {
                    if counted < room {
                        // SAFETY: below `room`; the caller promises as many events, which may not be initialised.
                        unsafe { events.add(counted).write(event) };
                    }
                    counted += 1;
                }
            };
            let n = player.fill_observed(block.get_mut(..asked).unwrap_or(&mut []), &mut take);
            for (i, frame) in block.iter().take(n).enumerate() {
                // SAFETY: `filled + i` is below `count`; the caller promises as many frames, which may not be initialised.
                unsafe { frames.add(filled + i).write(frame.into()) };
            }
            filled += n;
            if n < asked {
                break;
            }
        }
    }
    if !happened.is_null() && happened.is_aligned() {
        // SAFETY: not null, aligned, the caller's.
        unsafe { happened.write(counted) };
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

/// The player in memory of the caller, and what belongs to it; `None` for null, misaligned memory, or memory without a started player.
///
/// # Safety
/// `memory` is null, or initialised memory that nothing else uses for `'p`.
unsafe fn held<'p>(memory: *mut PlayerMemory) -> Option<&'p mut Held> {
    if memory.is_null() || !memory.is_aligned() {
        return None;
    }
    let held = memory.cast::<Held>();
    // SAFETY: not null, aligned and initialised by the caller's promise: the two words are any numbers.
    let ends = unsafe { [(&raw const (*held).started).read(), (&raw const (*held).ends).read()] };
    if ends != [STARTED; 2] {
        return None;
    }
    // SAFETY: only `pulsewright_start` writes those words, together with a player.
    unsafe { held.as_mut() }
}

/// The player alone, as [`held`].
///
/// # Safety
/// As [`held`].
unsafe fn started<'p>(memory: *mut PlayerMemory) -> Option<&'p mut Player<'static>> {
    // SAFETY: the same promise.
    unsafe { held(memory) }.map(|held| &mut held.player)
}
