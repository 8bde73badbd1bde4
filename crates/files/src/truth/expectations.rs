//! Expected readings and alarms of a monitor, step by step: the tables `steps`, `readings` and `alarms`.

use super::tables::{TruthFile, quoted};
use crate::decimal::{push_instant, push_rounded};
use pulsewright_core::expect::{Alarm, AlarmLimits, Expected, Forecast, Reading};
use pulsewright_core::frame::{Channel, Lead, PressureSite};
use pulsewright_core::heart::rhythm::Priority;
use pulsewright_core::pressure::{AT_ONCE, SiteSet};
use pulsewright_core::script::{Item, Script, Step};
use pulsewright_core::time::Instant;
use std::io::{self, Write};
use std::sync::atomic::AtomicBool;

/// The readings and alarms of a correct monitor: it plays a script by itself, beside the signal.
pub struct ExpectedTables<'a> {
    forecast: Box<Forecast<'a>>,
    script: &'a Script<'a>,
    labels: &'a [&'a str],
    sites: SiteSet,
    leads: &'a [Lead],
}

impl<'a> ExpectedTables<'a> {
    /// Of `script` up to `end`, at `sites` and the artery; `labels` by item of the script.
    pub fn new(
        script: &'a Script<'a>,
        labels: &'a [&'a str],
        sites: SiteSet,
        limits: AlarmLimits,
        end: Instant,
    ) -> ExpectedTables<'a> {
        let mut all: Vec<PressureSite> = sites.sites().collect();
        if !sites.has(PressureSite::Arterial) && all.len() < AT_ONCE {
            all.push(PressureSite::Arterial);
        }
        let sites = SiteSet::new(&all).unwrap_or(sites);
        let forecast = Box::new(Forecast::new(script, sites, limits, end));
        ExpectedTables { forecast, script, labels, sites, leads: &[] }
    }

    /// The same with the ST level in these leads.
    pub fn with_st_in(self, leads: &'a [Lead]) -> ExpectedTables<'a> {
        ExpectedTables { forecast: Box::new(self.forecast.with_st_in(leads)), leads, ..self }
    }

    /// The same, over soon after another thread has set `stop`.
    pub fn stopped_by(self, stop: &'a AtomicBool) -> ExpectedTables<'a> {
        ExpectedTables { forecast: Box::new(self.forecast.stopped_by(stop)), ..self }
    }

    /// Writes the tables, in the order of [`TruthFile::EXPECTED`], and gives the files back.
    ///
    /// # Errors
    /// The first error of writing.
    pub fn write<W: Write>(mut self, mut files: [W; 3]) -> io::Result<[W; 3]> {
        for (file, table) in files.iter_mut().zip(TruthFile::EXPECTED) {
            writeln!(file, "{}", table.columns())?;
        }
        let [steps, readings, alarms] = &mut files;
        let mut row = Vec::new();
        let mut played = 0;
        loop {
            let expected = self.forecast.next_step(&mut |alarm: Alarm| push_alarm(&mut row, &alarm));
            alarms.write_all(&row)?;
            row.clear();
            let Some(expected) = expected else { return Ok(files) };
            let Some(Item::Step(step)) = self.script.items().get(expected.item) else { continue };
            played += 1;
            let label = quoted(self.labels.get(expected.item).copied().unwrap_or(""));
            push_step(&mut row, played, &label, step, &expected);
            steps.write_all(&row)?;
            row.clear();
            self.push_readings(&mut row, played, &expected);
            readings.write_all(&row)?;
            row.clear();
        }
    }

    fn push_readings(&self, row: &mut Vec<u8>, played: u64, expected: &Expected) {
        let mut push_from = |from: Instant, name: &str, unit: &str, reading: &Reading| {
            write!(row, "{played},{name},{unit},").ok();
            push_instant(row, expected.start);
            row.push(b',');
            push_instant(row, expected.end);
            row.push(b',');
            push_rounded(row, from.since(expected.start).as_secs(), 3);
            push_band(row, reading);
            let why: Vec<&str> = reading.causes.iter().map(|cause| cause.words()).collect();
            writeln!(row, ",{}", quoted(&why.join("; "))).ok();
        };
        push_from(expected.from, "heart-rate", "bpm", &expected.rate);
        push_from(expected.from, "pulse-rate", "bpm", &expected.pulse);
        push_from(expected.breaths_from, "respiration-rate", "breaths/min", &expected.breaths);
        let mut push = |name: &str, unit: &str, reading: &Reading| push_from(expected.from, name, unit, reading);
        for site in self.sites.sites() {
            let pressure = expected.pressure(site);
            let parts =
                [("systolic", &pressure.systolic), ("diastolic", &pressure.diastolic), ("mean", &pressure.mean)];
            for (part, reading) in parts {
                push(&format!("{}-{part}", Channel::Pressure(site).id()), "mmHg", reading);
            }
        }
        for lead in self.leads {
            if let Some(reading) = expected.st.get(*lead as usize) {
                push(&format!("st-{}", Channel::Lead(*lead).id()), "mV", reading);
            }
        }
        if expected.cuff.iter().any(|reading| reading.band.is_some()) {
            for (part, reading) in ["systolic", "diastolic", "mean"].iter().zip(&expected.cuff) {
                push(&format!("cuff-{part}"), "mmHg", reading);
            }
        }
    }
}

/// Mean, lowest and highest, each after a comma; a missing value leaves its cell empty.
fn push_band(row: &mut Vec<u8>, reading: &Reading) {
    let values = reading.band.map_or([f32::NAN; 3], |band| [band.mean, band.low, band.high]);
    for value in values {
        row.push(b',');
        push_rounded(row, value, 2);
    }
}

fn push_step(row: &mut Vec<u8>, number: u64, label: &str, step: &Step<'_>, expected: &Expected) {
    write!(row, "{number},{label},").ok();
    push_instant(row, expected.start);
    row.push(b',');
    push_instant(row, expected.end);
    write!(row, ",{},{}", step.settings.rhythm().id, step.settings.body().id).ok();
    let arterial = expected.pressure(PressureSite::Arterial);
    let readings =
        [&expected.rate, &arterial.systolic, &arterial.diastolic, &arterial.mean, &expected.breaths].map(|of| of.band);
    for band in readings {
        row.push(b',');
        push_rounded(row, band.map_or(f32::NAN, |band| band.mean), 2);
    }
    let alarm = expected.alarm();
    let priority = alarm.map_or(Priority::None, |sounded| sounded.first.kind.priority());
    write!(row, ",{},{},", priority.id(), alarm.map_or("", |sounded| sounded.first.kind.id())).ok();
    if let Some(sounded) = alarm {
        push_instant(row, sounded.first.onset);
    }
    row.push(b',');
    push_instant(row, expected.from);
    for band in readings {
        for value in band.map_or([f32::NAN; 2], |band| [band.low, band.high]) {
            row.push(b',');
            push_rounded(row, value, 2);
        }
    }
    row.push(b'\n');
}

fn push_alarm(row: &mut Vec<u8>, alarm: &Alarm) {
    write!(row, "{},", alarm.kind.id()).ok();
    push_instant(row, alarm.onset);
    row.push(b',');
    push_rounded(row, alarm.usual_within_s(), 3);
    row.push(b',');
    if let Some(end) = alarm.end {
        push_instant(row, end);
    }
    write!(row, ",{},", alarm.kind.priority().id()).ok();
    push_instant(row, alarm.begin);
    writeln!(row, ",{}", if alarm.is_required() { "yes" } else { "no" }).ok();
}
