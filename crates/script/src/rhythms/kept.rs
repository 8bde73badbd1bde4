//! Rhythms that documents brought, for as long as the program runs: settings refer to a rhythm without owning it.

use pulsewright_core::heart::rhythm::Rhythm;
use pulsewright_core::settings::Field;
use std::sync::{Mutex, PoisonError};

/// Most different rhythms that one run of a program keeps; some 300 bytes each.
pub(crate) const MOST_KEPT: usize = 100_000;

static KEPT: Mutex<Vec<&'static Rhythm>> = Mutex::new(Vec::new());

/// The rhythm of this record with these texts and values, the same one each time; `None` once there are too many.
pub(crate) fn keep(record: Rhythm, id: &str, name: &str, values: &[(Field, f32)]) -> Option<&'static Rhythm> {
    let same = |kept: &&&'static Rhythm| {
        **kept == &Rhythm { id: kept.id, name: kept.name, values: kept.values, ..record }
            && kept.id == id
            && kept.name == name
            && kept.values == values
    };
    let mut kept = KEPT.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(known) = kept.iter().find(same) {
        return Some(known);
    }
    if kept.len() >= MOST_KEPT {
        return None;
    }
    let text = |text: &str| -> &'static str { Box::leak(text.to_owned().into_boxed_str()) };
    let values: &'static [(Field, f32)] = Box::leak(values.to_vec().into_boxed_slice());
    let rhythm: &'static Rhythm = Box::leak(Box::new(Rhythm { id: text(id), name: text(name), values, ..record }));
    kept.push(rhythm);
    Some(rhythm)
}
