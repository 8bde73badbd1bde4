//! Bodies that documents brought, for as long as the program runs: settings refer to a body without owning it.

use pulsewright_core::body::{Age, Body};
use pulsewright_core::frame::INDEPENDENT_LEADS;
use pulsewright_core::internal::ecg::{Complex, Knot, Residual, Residuals, Templates, Wave, knot};
use pulsewright_core::settings::Field;
use std::collections::HashMap;
use std::sync::{LazyLock, Mutex, PoisonError};

/// Most different bodies that one run of a program keeps; up to 50 KiB each.
pub(super) const MOST_KEPT: usize = 10_000;

/// Texts, the bits of the numbers, and where the shapes lie.
type BodyKey = (String, String, Vec<u32>, Vec<usize>);

#[derive(Default)]
struct Kept {
    /// By the bits of their numbers.
    complexes: HashMap<Vec<u32>, &'static Complex>,
    p: HashMap<Vec<u32>, &'static [Wave]>,
    knots: HashMap<Vec<Knot>, &'static [Knot]>,
    /// By the bits of their numbers, and where the knots lie.
    residuals: HashMap<Vec<usize>, &'static Residuals>,
    bodies: HashMap<BodyKey, &'static Body>,
}

static KEPT: LazyLock<Mutex<Kept>> = LazyLock::new(Mutex::default);

fn bits(waves: &[Wave]) -> impl Iterator<Item = u32> + '_ {
    let of = |wave: &Wave| {
        let [x, y, z] = wave.mv;
        [wave.at_ms, wave.rise_ms, wave.hold_ms, wave.fall_ms, x, y, z].map(f32::to_bits)
    };
    waves.iter().flat_map(of)
}

fn leaked<T: Clone>(list: &[T]) -> &'static [T] {
    Box::leak(list.to_vec().into_boxed_slice())
}

/// A complex of these waves, the same one each time.
pub(super) fn complex(qrs: &[Wave], qrs_ms: f32, t: [Wave; 3], qt_ms: f32) -> &'static Complex {
    let key = [qrs_ms, qt_ms].map(f32::to_bits).into_iter().chain(bits(&t)).chain(bits(qrs)).collect();
    let make = || -> &'static Complex {
        Box::leak(Box::new(Complex { qrs: leaked(qrs), qrs_ms, t: Box::leak(Box::new(t)), qt_ms }))
    };
    KEPT.lock().unwrap_or_else(PoisonError::into_inner).complexes.entry(key).or_insert_with(make)
}

/// A P wave of these waves, the same one each time.
pub(super) fn p_wave(waves: &[Wave]) -> &'static [Wave] {
    let mut kept = KEPT.lock().unwrap_or_else(PoisonError::into_inner);
    kept.p.entry(bits(waves).collect()).or_insert_with(|| leaked(waves))
}

/// A residual of these numbers, place by place, that lie where they did each time.
pub(super) fn residual(at_ms: f32, step_ms: f32, leads_uv: &[[i16; INDEPENDENT_LEADS]]) -> Residual<'static> {
    let knots: Vec<Knot> = leads_uv.iter().map(|leads| knot(*leads)).collect();
    let mut kept = KEPT.lock().unwrap_or_else(PoisonError::into_inner);
    let knots = kept.knots.entry(knots).or_insert_with_key(|knots| leaked(knots));
    Residual { at_ms, step_ms, knots }
}

/// The residuals of a body, the same ones each time; `None` where there are none.
pub(super) fn residuals(all: &Residuals) -> Option<&'static Residuals> {
    let of = |residual: &Option<Residual<'static>>| {
        residual.map_or([0; 3], |Residual { at_ms, step_ms, knots }| {
            [at_ms.to_bits() as usize, step_ms.to_bits() as usize, knots.as_ptr() as usize]
        })
    };
    let key: Vec<usize> = all.0.iter().flat_map(of).collect();
    if all.0.iter().all(Option::is_none) {
        return None;
    }
    let mut kept = KEPT.lock().unwrap_or_else(PoisonError::into_inner);
    Some(kept.residuals.entry(key).or_insert_with(|| Box::leak(Box::new(*all))))
}

/// The body of these texts, values and shapes, the same one each time; `None` once there are too many.
pub(super) fn body(
    (id, name): (&str, &str),
    age: Age,
    resting_bpm: f32,
    values: &[(Field, f32)],
    templates: Templates,
) -> Option<&'static Body> {
    let numbers = values.iter().flat_map(|(field, value)| [*field as u32, value.to_bits()]);
    let numbers = [age as u32, resting_bpm.to_bits()].into_iter().chain(numbers).collect();
    let complexes = templates.complexes.iter().map(|complex| std::ptr::from_ref(*complex) as usize);
    let p = templates.p.iter().map(|waves| waves.as_ptr() as usize);
    let residuals = templates.residuals.map_or(0, |residuals| std::ptr::from_ref(residuals) as usize);
    let key = (id.to_owned(), name.to_owned(), numbers, complexes.chain(p).chain([residuals]).collect());
    let mut kept = KEPT.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(known) = kept.bodies.get(&key) {
        return Some(known);
    }
    if kept.bodies.len() >= MOST_KEPT {
        return None;
    }
    let text = |text: &str| -> &'static str { Box::leak(text.to_owned().into_boxed_str()) };
    let body: &'static Body = Box::leak(Box::new(Body {
        id: text(id),
        name: text(name),
        age,
        resting_bpm,
        values: leaked(values),
        templates: Box::leak(Box::new(templates)),
    }));
    kept.bodies.insert(key, body);
    Some(body)
}
