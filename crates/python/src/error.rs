//! The error that Python code catches.

pyo3::create_exception!(
    pulsewright,
    ScriptError,
    pyo3::exceptions::PyValueError,
    "A script, a plan or a request that can't be played; the message names every place and the allowed values."
);
