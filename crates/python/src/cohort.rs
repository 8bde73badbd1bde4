//! A cohort's plan, patient by patient.

use crate::script::wrong;
use crate::signals::{SignalSource, Signals, play};
use numpy::IntoPyArray;
use pulsewright_cohort::Patient;
use pulsewright_core::script::Script;
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyList};
use std::sync::Arc;

/// A cohort's plan: patients to draw and to render.
#[pyclass(frozen, module = "pulsewright._native")]
pub struct CohortPlan {
    plan: pulsewright_cohort::CohortPlan,
    frames: u64,
}

#[pymethods]
impl CohortPlan {
    /// Reads a plan from its JSON.
    #[new]
    fn new(text: &str, name: &str) -> PyResult<CohortPlan> {
        let plan = pulsewright_cohort::CohortPlan::parse(text, name).map_err(wrong)?;
        let frames = plan.frames().map_err(wrong)? as u64;
        Ok(CohortPlan { plan, frames })
    }

    /// A patient: group, rhythm, body, seed, redraws, and the drawn values by name.
    fn patient<'py>(&self, py: Python<'py>, number: u64) -> PyResult<Bound<'py, PyDict>> {
        let patient = self.plan.patient(number).map_err(wrong)?;
        let values = PyDict::new(py);
        for (name, value) in self.plan.people.names().zip(&patient.values) {
            if let Some(value) = value {
                values.set_item(name, *value)?;
            }
        }
        let about = PyDict::new(py);
        about.set_item("group", &patient.group)?;
        about.set_item("rhythm", patient.rhythm.id)?;
        about.set_item("body", patient.body.id)?;
        about.set_item("seed", patient.seed)?;
        about.set_item("redraws", patient.redraws)?;
        about.set_item("values", values)?;
        Ok(about)
    }

    /// Renders a patient.
    fn render(&self, py: Python<'_>, number: u64) -> PyResult<Signals> {
        let plan = &self.plan;
        let made = py.detach(|| {
            let patient = plan.patient(number).map_err(wrong)?;
            let items = patient.document.items();
            let script = Script::new(patient.seed, &items).map_err(wrong)?;
            let samples = play(&script, plan.frame_rate, &plan.channels, self.frames)?;
            drop(items);
            Ok::<_, PyErr>((patient.document, samples))
        });
        let (document, samples) = made?;
        Signals::new(
            py,
            SignalSource::Script(Arc::new(document)),
            plan.frame_rate,
            self.frames,
            plan.channels.clone(),
            samples,
        )
    }

    /// The index of some patients as columns; NaN where a value is not drawn.
    fn table<'py>(&self, py: Python<'py>, first: u64, count: u64) -> PyResult<Bound<'py, PyDict>> {
        let range = first..first.saturating_add(count);
        let drawn =
            py.detach(|| range.clone().map(|number| self.plan.patient(number)).collect::<Result<Vec<Patient>, _>>());
        let drawn = drawn.map_err(wrong)?;
        let numbers = |value: fn(&Patient) -> u64| drawn.iter().map(value).collect::<Vec<u64>>().into_pyarray(py);
        let words = |word: fn(&Patient) -> &str| PyList::new(py, drawn.iter().map(word));
        let table = PyDict::new(py);
        table.set_item("patient", numbers(|patient| patient.number))?;
        table.set_item("group", words(|patient| &patient.group)?)?;
        table.set_item("rhythm", words(|patient| patient.rhythm.id)?)?;
        table.set_item("body", words(|patient| patient.body.id)?)?;
        table.set_item("seed", numbers(|patient| patient.seed))?;
        table.set_item("redraws", numbers(|patient| u64::from(patient.redraws)))?;
        for (place, name) in self.plan.people.names().enumerate() {
            let value = |patient: &Patient| patient.values.get(place).copied().flatten().unwrap_or(f32::NAN);
            table.set_item(name, drawn.iter().map(value).collect::<Vec<f32>>().into_pyarray(py))?;
        }
        Ok(table)
    }
}
