//! Words of bodies' documents: of the shapes, and of the settings that a body brings.

use pulsewright_core::body::ADULT;
use pulsewright_core::heart::rhythm::parameter::Parameter;
use pulsewright_core::settings::Field;

/// Keys of a body's document, in the order in which they are written.
pub(super) const KEYS: [&str; 9] =
    ["version", "extends", "name", "age", "resting_bpm", "settings", "complexes", "p_waves", "residuals"];
/// Keys of a complex.
pub(super) const COMPLEX_KEYS: [&str; 6] = ["qrs_ms", "qt_ms", "qrs", "t", "st", "tail"];
/// Keys of the three waves of T, in their order.
pub(super) const T_KEYS: [&str; 3] = ["t", "st", "tail"];
/// Keys of a wave.
pub(super) const WAVE_KEYS: [&str; 5] = ["at_ms", "rise_ms", "hold_ms", "fall_ms", "xyz_mv"];

/// Most bodies of its own that a script has.
pub(crate) const MOST: usize = 50;

/// Words of the complexes: those of the pathways.
pub(super) fn complexes() -> &'static [&'static str] {
    Parameter::Pathway.info().words
}

/// Words of the P waves: those of the sources of the atria that have a shape, which come first.
pub(super) fn p_waves() -> &'static [&'static str] {
    let all = Parameter::Atria.info().words;
    all.get(..ADULT.templates.p.len()).unwrap_or(all)
}

/// Whether a body brings a setting.
pub(super) fn brings(field: Field) -> bool {
    ADULT.values.iter().any(|(other, _)| *other == field)
}
