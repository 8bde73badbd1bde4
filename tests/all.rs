//! Every test file of the folder `tests` in one program: `cargo test -p pulsewright-tests --test all year::` runs those of one.

#[path = "tests/any_script.rs"]
mod any_script;
#[path = "tests/artefacts.rs"]
mod artefacts;
#[path = "tests/asked_beats.rs"]
mod asked_beats;
#[path = "tests/conduction.rs"]
mod conduction;
#[path = "tests/ectopy.rs"]
mod ectopy;
#[path = "tests/expectations.rs"]
mod expectations;
#[path = "tests/fibrillation.rs"]
mod fibrillation;
#[path = "tests/golden.rs"]
mod golden;
#[path = "tests/image.rs"]
mod image;
#[path = "tests/intervals.rs"]
mod intervals;
#[path = "tests/levels.rs"]
mod levels;
#[path = "tests/lifelike.rs"]
mod lifelike;
#[path = "tests/morphology.rs"]
mod morphology;
#[path = "tests/numerics.rs"]
mod numerics;
#[path = "tests/own_bodies.rs"]
mod own_bodies;
#[path = "tests/own_rhythms.rs"]
mod own_rhythms;
#[path = "tests/pacing.rs"]
mod pacing;
#[path = "tests/pathology.rs"]
mod pathology;
#[path = "tests/pressures.rs"]
mod pressures;
#[path = "tests/recordings.rs"]
mod recordings;
#[path = "tests/runoff.rs"]
mod runoff;
#[path = "tests/script.rs"]
mod script;
#[path = "tests/series.rs"]
mod series;
#[path = "tests/transitions.rs"]
mod transitions;
#[path = "tests/year.rs"]
mod year;
