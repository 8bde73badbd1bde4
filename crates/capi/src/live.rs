//! Live control for C: steps that the program makes, played from the next frame on.

use crate::{Held, PlayerMemory, STARTED, Status, held, started};
use core::ffi::{CStr, c_char};
use core::mem::MaybeUninit;
use pulsewright_core::body::{ADULT, Body};
use pulsewright_core::heart::catalogue::{self, SINUS};
use pulsewright_core::script::{Script, Step};
use pulsewright_core::settings::{Field, Settings};

/// Memory of a step, in words of 8 bytes.
pub const STEP_WORDS: usize = 144;

/// Content of the first word of memory that holds a step; memory with any other has none.
const MADE: u64 = !STARTED;

/// Longest word or path that is read, with its end.
const LONGEST: usize = 64;

/// What the memory of a step holds.
#[repr(C)]
struct HeldStep {
    made: u64,
    step: Step<'static>,
}

/// Memory of a step, as the header declares it.
#[repr(C, align(8))]
pub struct StepMemory {
    words: [MaybeUninit<u64>; STEP_WORDS],
}

const _: () = assert!(size_of::<HeldStep>() <= size_of::<StepMemory>());
const _: () = assert!(align_of::<HeldStep>() <= align_of::<StepMemory>());

/// Puts a step that holds into memory of the caller: a resting adult in sinus rhythm.
///
/// # Safety
/// `step` is null, or points to memory of the caller's that nothing else uses meanwhile.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_step_resting(step: *mut StepMemory) -> Status {
    // SAFETY: the same promise.
    unsafe { put(step, Settings::new(&ADULT, &SINUS)) }
}

/// Puts a step that holds into memory of the caller: the settings that the player plays at its next frame.
///
/// # Safety
/// As [`pulsewright_step_resting`] for `step`; `player` is null or initialised memory for a player.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_step_now(step: *mut StepMemory, player: *mut PlayerMemory) -> Status {
    // SAFETY: the caller promises memory of its own.
    let Some(player) = (unsafe { started(player) }) else { return Status::NotStarted };
    let Some(settings) = player.settings() else { return Status::Own };
    // SAFETY: the same promise.
    unsafe { put(step, settings) }
}

/// Sets a field by its path to a value.
///
/// # Safety
/// `step` is null or initialised memory for a step, which no player plays; `path` is null or ends with a zero byte.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_step_set(step: *mut StepMemory, path: *const c_char, value: f32) -> Status {
    // SAFETY: the same promises.
    unsafe {
        change(step, path, |settings, path| {
            let field = Field::ALL.iter().find(|field| field.info().path == path).ok_or(Status::Word)?;
            settings.with(*field, value).map_err(|_| Status::Value)
        })
    }
}

/// Chooses a rhythm by its word, at its usual rate.
///
/// # Safety
/// As [`pulsewright_step_set`].
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_step_rhythm(step: *mut StepMemory, word: *const c_char) -> Status {
    // SAFETY: the same promises.
    unsafe {
        change(step, word, |settings, word| {
            catalogue::find(word).map(|its| settings.with_rhythm(its)).ok_or(Status::Word)
        })
    }
}

/// Chooses a body by its word, with its resting values.
///
/// # Safety
/// As [`pulsewright_step_set`].
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_step_body(step: *mut StepMemory, word: *const c_char) -> Status {
    // SAFETY: the same promises.
    unsafe {
        change(step, word, |settings, word| Body::find(word).map(|its| settings.with_body(its)).ok_or(Status::Word))
    }
}

/// Plays a step from the next frame on, until another one or [`pulsewright_next_step`].
///
/// # Safety
/// As [`crate::pulsewright_fill`] for `player`; `step` is null or initialised memory for a step that stays as it is for as long as the
/// player may play it.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_play(player: *mut PlayerMemory, step: *const StepMemory) -> Status {
    // SAFETY: the caller promises memory of its own.
    let Some(held) = (unsafe { held(player) }) else { return Status::NotStarted };
    // SAFETY: the caller promises that the step stays as it is while it is played.
    let Some(step) = (unsafe { made(step.cast_mut()) }) else { return Status::NotMade };
    let step: &'static Step<'static> = step;
    if Script::new(0, &[(*step).into()]).is_err() {
        return Status::Conflict;
    }
    let Held { player, aside, .. } = held;
    if aside.is_none() {
        *aside = Some(player.to_come());
    }
    player.play_next(step, OWN_STEP, player.rate().instant_of(player.position()));
    Status::Ok
}

/// Item number that events have for a step of the caller's.
const OWN_STEP: usize = u32::MAX as usize - 1;

/// Goes on with the next step of the image, or ends a step that holds.
///
/// # Safety
/// As [`crate::pulsewright_fill`] for `player`.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_next_step(player: *mut PlayerMemory) {
    // SAFETY: the caller promises a started player of its own.
    let Some(held) = (unsafe { held(player) }) else { return };
    match held.aside.take() {
        Some(rest) => held.player.go_on(rest),
        None => held.player.next_step(),
    }
}

/// Holds the step of the next frame until [`pulsewright_next_step`].
///
/// # Safety
/// As [`crate::pulsewright_fill`] for `player`.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn pulsewright_hold(player: *mut PlayerMemory) {
    // SAFETY: the caller promises a started player of its own.
    if let Some(player) = unsafe { started(player) } {
        player.hold();
    }
}

/// Puts a step that holds, with these settings, into memory of the caller.
///
/// # Safety
/// As [`pulsewright_step_resting`].
unsafe fn put(step: *mut StepMemory, settings: Settings) -> Status {
    if step.is_null() || !step.is_aligned() {
        return Status::Pointer;
    }
    // SAFETY: not null, aligned, the caller's, and by the assertions above large enough; a step needs no drop.
    unsafe { step.cast::<HeldStep>().write(HeldStep { made: MADE, step: Step::hold(settings) }) };
    Status::Ok
}

/// Changes the settings of a step by a word of the caller's; a call that is refused changes nothing.
///
/// # Safety
/// As [`pulsewright_step_set`].
unsafe fn change(
    step: *mut StepMemory,
    word: *const c_char,
    changed: impl FnOnce(Settings, &str) -> Result<Settings, Status>,
) -> Status {
    // SAFETY: the caller promises memory of its own.
    let Some(step) = (unsafe { made(step) }) else { return Status::NotMade };
    // SAFETY: null, or ends with a zero byte.
    let Some(word) = (unsafe { text(word) }) else { return Status::Word };
    match changed(step.settings, word) {
        Ok(settings) => {
            step.settings = settings;
            Status::Ok
        }
        Err(status) => status,
    }
}

/// The step in memory of the caller; `None` for null, misaligned memory, or memory without a step.
///
/// # Safety
/// `memory` is null, or initialised memory that nothing else writes for `'s`.
unsafe fn made<'s>(memory: *mut StepMemory) -> Option<&'s mut Step<'static>> {
    if memory.is_null() || !memory.is_aligned() {
        return None;
    }
    // SAFETY: not null, aligned and initialised by the caller's promise: the first word is any number.
    if unsafe { memory.cast::<u64>().read() } != MADE {
        return None;
    }
    // SAFETY: only `put` writes that word, together with a step.
    unsafe { memory.cast::<HeldStep>().as_mut() }.map(|held| &mut held.step)
}

/// The text of a word; `None` for null, no end within [`LONGEST`] bytes, or other bytes than text.
///
/// # Safety
/// `word` is null, or its bytes up to a zero byte are the caller's.
unsafe fn text<'t>(word: *const c_char) -> Option<&'t str> {
    if word.is_null() {
        return None;
    }
    // SAFETY: read byte by byte, and never past a zero.
    (0..LONGEST).find(|i| unsafe { word.add(*i).read() } == 0)?;
    // SAFETY: a zero byte comes soon.
    unsafe { CStr::from_ptr(word) }.to_str().ok()
}
