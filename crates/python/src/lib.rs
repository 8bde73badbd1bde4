//! The Python module `pulsewright._native`; users import the package around it, in `python/pulsewright`.
//!
//! Samples are `float32` arrays of channels by frames, made once and handed over without a copy; every value equals that of a file
//! with `--bits float`. The interpreter's lock is free while signals are made and scored.

mod cohort;
mod error;
mod live;
mod player;
mod score;
mod script;
mod signals;
mod suite;
mod truth;

use pyo3::prelude::*;

/// The compiled part of the package.
#[pymodule]
fn _native(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add("ScriptError", module.py().get_type::<error::ScriptError>())?;
    module.add("__version__", env!("CARGO_PKG_VERSION"))?;
    module.add_class::<signals::Signals>()?;
    module.add_class::<player::Player>()?;
    module.add_class::<live::LivePlayer>()?;
    module.add_class::<suite::Plan>()?;
    module.add_class::<cohort::CohortPlan>()?;
    module.add_function(wrap_pyfunction!(signals::render, module)?)?;
    module.add_function(wrap_pyfunction!(score::score, module)?)
}
