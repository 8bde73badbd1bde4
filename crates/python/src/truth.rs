//! The truth as columns: times in seconds as `float64`, words as strings.

use crate::script::wrong;
use numpy::IntoPyArray;
use pulsewright_core::frame::Channel;
use pulsewright_core::time::{FrameRate, Instant};
use pulsewright_core::truth::{Beat, Breath, Chamber, Episode, Event, Observer};
use pulsewright_files::truth::MeasuredBreaths;
use pulsewright_score::Annotations;
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyList};

/// A column of a table.
enum Column {
    Numbers(Vec<f64>),
    Words(Vec<String>),
}

/// A table: columns by name, all of one length.
struct Table {
    name: &'static str,
    columns: Vec<(&'static str, Column)>,
}

/// A value of a row.
enum Cell {
    Number(f64),
    Word(String),
}

impl Table {
    const fn new(name: &'static str) -> Table {
        Table { name, columns: Vec::new() }
    }

    fn push(&mut self, row: impl IntoIterator<Item = (&'static str, Cell)>) {
        for (index, (name, cell)) in row.into_iter().enumerate() {
            if self.columns.len() <= index {
                let column = match &cell {
                    Cell::Number(_) => Column::Numbers(Vec::new()),
                    Cell::Word(_) => Column::Words(Vec::new()),
                };
                self.columns.push((name, column));
            }
            match (self.columns.get_mut(index).map(|column| &mut column.1), cell) {
                (Some(Column::Numbers(column)), Cell::Number(value)) => column.push(value),
                (Some(Column::Words(column)), Cell::Word(word)) => column.push(word),
                _ => {}
            }
        }
    }
}

/// Collects events into tables.
pub struct Truth {
    rate: FrameRate,
    frames: u64,
    last_peak: Option<Instant>,
    step: Option<(usize, Instant)>,
    running: Vec<(Episode, Instant)>,
    breaths: MeasuredBreaths,
    tables: [Table; 7],
}

const BEATS: usize = 0;
const ATRIAL: usize = 1;
const PULSES: usize = 2;
const BREATHS: usize = 3;
const PACING: usize = 4;
const EPISODES: usize = 5;
const STEPS: usize = 6;

fn at(instant: Instant) -> Cell {
    Cell::Number(instant.as_secs_f64())
}

fn number(value: f32) -> Cell {
    Cell::Number(f64::from(value))
}

fn word(word: &str) -> Cell {
    Cell::Word(word.to_owned())
}

impl Truth {
    /// For a render of `frames` frames, with the breaths of its script.
    pub fn new(rate: FrameRate, frames: u64, breaths: MeasuredBreaths) -> Truth {
        let names = ["beats", "atrial", "pulses", "breaths", "pacing", "episodes", "steps"];
        let tables = names.map(Table::new);
        Truth { rate, frames, last_peak: None, step: None, running: Vec::new(), breaths, tables }
    }

    /// The annotated beats of a recording, of which only peak and code are known.
    pub fn of_recording(rate: FrameRate, frames: u64, annotations: &Annotations) -> Truth {
        let mut truth = Truth::new(rate, frames, MeasuredBreaths::default());
        let unknown = || Cell::Number(f64::NAN);
        let mut last_s = f64::NAN;
        for beat in &annotations.beats {
            let time_s = beat.at.s();
            truth.tables[BEATS].push([
                ("time_s", Cell::Number(time_s)),
                ("frame", Cell::Number((time_s * f64::from(rate.as_hz())).round())),
                ("code", Cell::Word(beat.code.into())),
                ("rr_s", Cell::Number(time_s - last_s)),
                ("p_onset_s", unknown()),
                ("qrs_onset_s", unknown()),
                ("qrs_end_s", unknown()),
                ("t_end_s", unknown()),
            ]);
            last_s = time_s;
        }
        truth
    }

    /// Closes the rows that are still open at the end.
    pub fn finish(mut self) -> Truth {
        let end = self.rate.instant_of(self.frames);
        self.end_step(end);
        if let Some(breath) = self.breaths.finish() {
            self.breath(breath);
        }
        for (episode, start) in std::mem::take(&mut self.running) {
            self.episode(episode, start, end);
        }
        self
    }

    /// A table as a dictionary of arrays.
    pub fn table<'py>(&self, py: Python<'py>, name: &str) -> PyResult<Bound<'py, PyDict>> {
        let table =
            self.tables.iter().find(|table| table.name == name).ok_or_else(|| wrong(format!("no table '{name}'")))?;
        let columns = PyDict::new(py);
        for (name, column) in &table.columns {
            match column {
                Column::Numbers(values) => columns.set_item(name, values.clone().into_pyarray(py))?,
                Column::Words(words) => columns.set_item(name, PyList::new(py, words)?)?,
            }
        }
        Ok(columns)
    }

    /// The frame nearest to an instant, as in the files.
    fn frame(&self, instant: Instant) -> f64 {
        (instant.as_secs_f64() * f64::from(self.rate.as_hz())).round()
    }

    fn beat(&mut self, beat: &Beat) {
        let rr_s = self.last_peak.replace(beat.peak).map_or(f64::NAN, |last| beat.peak.since(last).as_secs_f64());
        let frame = self.frame(beat.peak);
        if frame >= self.frames as f64 {
            return;
        }
        // Of a beat of a recording only the peak is known.
        let known = |instant| if beat.is_recorded { Cell::Number(f64::NAN) } else { at(instant) };
        self.tables[BEATS].push([
            ("time_s", at(beat.peak)),
            ("frame", Cell::Number(frame)),
            ("code", Cell::Word(beat.code.symbol().into())),
            ("rr_s", Cell::Number(rr_s)),
            ("p_onset_s", Cell::Number(beat.p_onset.map_or(f64::NAN, Instant::as_secs_f64))),
            ("qrs_onset_s", known(beat.onset)),
            ("qrs_end_s", known(beat.end)),
            ("t_end_s", known(beat.t_end)),
        ]);
    }

    fn end_step(&mut self, end: Instant) {
        if let Some((item, start)) = self.step.take() {
            self.tables[STEPS].push([("item", Cell::Number(item as f64)), ("start_s", at(start)), ("end_s", at(end))]);
        }
    }

    fn breath(&mut self, (breath, measured): (Breath, bool)) {
        let answer = |yes| word(if yes { "yes" } else { "no" });
        self.tables[BREATHS].push([
            ("time_s", at(breath.start)),
            ("peak_s", at(breath.peak)),
            ("end_s", at(breath.end)),
            ("depth_ohm", number(breath.depth_ohm)),
            ("air", answer(!breath.obstructed)),
            ("measured", answer(measured)),
        ]);
    }

    fn episode(&mut self, episode: Episode, start: Instant, end: Instant) {
        let name = pulsewright_files::truth::episode_word(episode);
        self.tables[EPISODES].push([("start_s", at(start)), ("end_s", at(end)), ("episode", word(name))]);
    }
}

impl Observer for Truth {
    fn observe(&mut self, event: Event) {
        if let Some(breath) = self.breaths.take(&event) {
            self.breath(breath);
        }
        match event {
            Event::Step { item, at } => {
                self.end_step(at);
                self.step = Some((item, at));
            }
            Event::Atrial(atrial) => self.tables[ATRIAL].push([("time_s", at(atrial.onset))]),
            Event::Beat(beat) => self.beat(&beat),
            Event::Episode { episode, at, starts: true } => self.running.push((episode, at)),
            Event::Episode { episode, at, .. } => {
                if let Some(index) = self.running.iter().position(|running| running.0 == episode) {
                    let (episode, start) = self.running.remove(index);
                    self.episode(episode, start, at);
                }
            }
            Event::Pace { at: start, chamber, captures } => {
                let chamber = match chamber {
                    Chamber::Atrium => "atrium",
                    Chamber::Ventricle => "ventricle",
                };
                let captures = if captures { "yes" } else { "no" };
                self.tables[PACING].push([
                    ("time_s", at(start)),
                    ("chamber", word(chamber)),
                    ("captures", word(captures)),
                ]);
            }
            Event::Pulse(pulse) => self.tables[PULSES].push([
                ("time_s", at(pulse.foot)),
                ("channel", word(Channel::Pressure(pulse.site).id())),
                ("foot_mmhg", number(pulse.foot_mmhg)),
                ("peak_s", at(pulse.foot.plus(pulse.rise))),
                ("systolic_mmhg", number(pulse.systolic_mmhg)),
                ("end_s", at(pulse.end)),
                ("lowest_mmhg", number(pulse.lowest_mmhg)),
                ("mean_mmhg", number(pulse.mean_mmhg)),
            ]),
            _ => {}
        }
    }
}
