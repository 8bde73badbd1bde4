//! Fills in a document's expectations: plays its steps and sets the values that were left out.

use super::expected::{
    ALARM_SOURCE, CLEAR_SOURCE, CLEAR_WITHIN_S, Expectations, ExpectedAlarm, ExpectedClear, ExpectedReading,
    ExpectedSilence, TextPosition,
};
use super::quantity::{Quantity, ValueOrigin};
use crate::document::{Document, DocumentPart};
use crate::problem::Problem;
use pulsewright_core::anatomy::PressureSite;
use pulsewright_core::expect::{AlarmKind, Expected, Forecast, Reading, StepAlarm};
use pulsewright_core::frame::Lead;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::{Item, Script};
use pulsewright_core::settings::Field;
use pulsewright_core::time::{Instant, Span};

/// Seconds for which a step that holds is foreseen.
pub const HOLD_S: u32 = 60;

/// The same for one in which a cuff is inflated, so that it comes to its reading.
pub const CUFF_HOLD_S: u32 = 180;

/// Seconds of a document that are foreseen; later steps have to name their values.
pub const FORESEEN_S: u32 = 4 * 3600;

/// Pressures whose limits have alarms.
const ALARMED: [PressureSite; 4] =
    [PressureSite::Arterial, PressureSite::Pulmonary, PressureSite::Venous, PressureSite::Intracranial];

/// Soonest that a person hears an alarm after the start of its step, seconds.
const SOONEST_S: f64 = 0.1;

/// Alarm without a time limit of its own, when it has a name of its own too, seconds.
const OWN_WITHIN_S: f64 = 10.0;

impl Document {
    /// The expectations of each step, in playing order, up to [`FORESEEN_S`] and `most` steps. A step that holds counts as
    /// [`HOLD_S`] or [`CUFF_HOLD_S`] long.
    pub fn foresee(&self, most: usize) -> Vec<Expected> {
        self.foresee_of(most, |_| true)
    }

    /// As [`Document::foresee`], with the pressures alone that alarms follow, as the table of `check` needs. It is the faster.
    pub fn foresee_alarms(&self, most: usize) -> Vec<Expected> {
        self.foresee_of(most, |site| ALARMED.contains(&site))
    }

    /// The pressures of the sites that are `asked` for, those of the atria by a second play.
    fn foresee_of(&self, most: usize, asked: impl Fn(PressureSite) -> bool) -> Vec<Expected> {
        let mut items = self.items();
        for item in &mut items {
            if let Item::Step(step) = item {
                let cuff = step.settings.get(Field::CuffInflate) > 0.0;
                let held = Span::secs(if cuff { CUFF_HOLD_S } else { HOLD_S });
                step.duration = step.duration.or(Some(held));
            }
        }
        let Ok(script) = Script::new(self.seed(), &items) else { return Vec::new() };
        let usual: Vec<PressureSite> = SiteSet::USUAL.sites().filter(|site| asked(*site)).collect();
        let mut foreseen = self.foresee_at(&script, SiteSet::new(&usual).unwrap_or(SiteSet::USUAL), most);
        let atria = [PressureSite::RightAtrium, PressureSite::LeftAtrium];
        if self.reads(&atria)
            && let Ok(sites) = SiteSet::new(&atria)
        {
            for (expected, more) in foreseen.iter_mut().zip(self.foresee_at(&script, sites, most)) {
                for site in atria {
                    expected.pressures[site as usize] = more.pressures[site as usize];
                }
            }
        }
        foreseen
    }

    fn foresee_at(&self, script: &Script<'_>, sites: SiteSet, most: usize) -> Vec<Expected> {
        let last = Instant::ZERO.plus(Span::secs(FORESEEN_S));
        let leads: Vec<Lead> = self.asked().filter_map(|quantity| quantity.lead()).collect();
        let mut forecast = Box::new(Forecast::new(script, sites, self.alarm_limits(), last).with_st_in(&leads));
        std::iter::from_fn(|| forecast.next_step(&mut ())).take(most).collect()
    }

    /// The quantities that its steps read.
    fn asked(&self) -> impl Iterator<Item = Quantity> {
        let steps = self.parts().iter().filter_map(|part| match part {
            DocumentPart::Step(step) => Some(step),
            DocumentPart::Repeat { .. } => None,
        });
        steps.flat_map(|step| step.expect.readings.iter().map(|reading| reading.quantity))
    }

    /// Whether a step reads one of these pressures.
    fn reads(&self, sites: &[PressureSite]) -> bool {
        self.asked().any(|quantity| match quantity.origin() {
            ValueOrigin::Systolic(site) | ValueOrigin::Diastolic(site) | ValueOrigin::Mean(site) => {
                sites.contains(&site)
            }
            _ => false,
        })
    }

    /// The same document without the expectations that its steps do not bear, such as the alarm of a step that was cut short.
    pub fn with_expectations_that_hold(mut self) -> Document {
        if !self.expects() {
            return self;
        }
        let foreseen = self.foresee(self.parts.len());
        for (item, part) in self.parts.iter_mut().enumerate() {
            let DocumentPart::Step(step) = part else { continue };
            let Some(expected) = foreseen.iter().find(|expected| expected.item == item) else {
                step.expect = Expectations::default();
                continue;
            };
            step.expect.readings.retain_mut(|of| fill_reading(of, expected).is_none());
            step.expect.alarms.retain_mut(|of| fill_alarm(of, expected).is_none());
            step.expect.silent.retain(|of| refute_silence(of, expected).is_none());
            step.expect.clears.retain_mut(|of| fill_clear(of, expected).is_none());
        }
        self
    }

    /// Fills in the values that expectations leave out; returns the problems in them.
    pub(crate) fn fill_in(&mut self) -> Vec<Problem> {
        if !self.expects() {
            return Vec::new();
        }
        // A repeated step counts at its first time.
        let last =
            self.parts.iter().rposition(|part| matches!(part, DocumentPart::Step(step) if !step.expect.is_empty()));
        let asked = |site| ALARMED.contains(&site) || self.reads(&[site]);
        let foreseen = self.foresee_of(4 * (last.unwrap_or(0) + 1), asked);
        let mut problems = Vec::new();
        for (item, part) in self.parts.iter_mut().enumerate() {
            let DocumentPart::Step(step) = part else { continue };
            if step.expect.is_empty() {
                continue;
            }
            let Some(expected) = foreseen.iter().find(|expected| expected.item == item) else {
                problems.push(Problem::new(format!(
                    "values are foreseen for the first {} h at most, and this step is later",
                    FORESEEN_S / 3600
                )));
                break;
            };
            let expect = &mut step.expect;
            let readings = expect.readings.iter_mut().filter_map(|of| fill_reading(of, expected));
            problems.extend(readings);
            problems.extend(expect.alarms.iter_mut().filter_map(|of| fill_alarm(of, expected)));
            problems.extend(expect.silent.iter().filter_map(|of| refute_silence(of, expected)));
            problems.extend(expect.clears.iter_mut().filter_map(|of| fill_clear(of, expected)));
        }
        problems
    }
}

/// The reading of a quantity; `None` when the script does not play it.
pub fn reading_of(quantity: Quantity, expected: &Expected) -> Option<&Reading> {
    Some(match quantity.origin() {
        ValueOrigin::Rate => &expected.rate,
        ValueOrigin::Pulse => &expected.pulse,
        ValueOrigin::Breaths => &expected.breaths,
        ValueOrigin::Systolic(site) => &expected.pressure(site).systolic,
        ValueOrigin::Diastolic(site) => &expected.pressure(site).diastolic,
        ValueOrigin::Mean(site) => &expected.pressure(site).mean,
        ValueOrigin::Cuff(part) => expected.cuff.get(part)?,
        ValueOrigin::St(lead) => expected.st.get(lead as usize)?,
        ValueOrigin::Typed => return None,
    })
}

/// The causes of a reading in words, "; " between them.
pub fn why(reading: &Reading) -> String {
    reading.causes.iter().map(|cause| cause.words()).collect::<Vec<_>>().join("; ")
}

/// Rounded finer than monitors show it, so that errors of sampling in the last digits are hidden: to tenths, mV to thousandths.
fn rounded(quantity: Quantity, value: f32) -> f64 {
    let parts = if quantity.unit() == "mV" { 1000.0 } else { 10.0 };
    (f64::from(value) * parts).round() / parts
}

pub(super) fn fill_reading(of: &mut ExpectedReading, expected: &Expected) -> Option<Problem> {
    let reading = reading_of(of.quantity, expected);
    of.why = reading.map_or(String::new(), why);
    if of.named.value {
        of.band = of.value.map(|value| [value; 2]);
        return None;
    }
    let band = reading.and_then(|reading| reading.band);
    let rounded = |value: f32| rounded(of.quantity, value);
    of.value = band.map(|band| rounded(band.mean));
    of.band = band.map(|band| [rounded(band.low), rounded(band.high)]);
    if of.value.is_some() || !of.limit.is_around_a_value() {
        return None;
    }
    let why = if of.why.is_empty() { "the script does not set it" } else { &of.why };
    let what = format!("{} has no value in this step: {why}", of.quantity.id());
    Some(of.place.problem(what).allowed("\"value\": what the monitor should read, or \"min\" and \"max\""))
}

/// The alarm that a name means.
pub(crate) fn kind_of(name: &str) -> Option<AlarmKind> {
    let same = |kind: &&AlarmKind| kind.id().eq_ignore_ascii_case(name) || kind.name().eq_ignore_ascii_case(name);
    AlarmKind::ALL.iter().find(same).copied()
}

/// Seconds from the start of the step.
fn after(expected: &Expected, at: Instant) -> f64 {
    (at.since(expected.start).as_secs_f64() * 1000.0).round() / 1000.0
}

fn sounding(kind: AlarmKind, expected: &Expected) -> Option<&StepAlarm> {
    expected.alarms.get(kind).filter(|sounded| expected.sounds(sounded))
}

pub(super) fn fill_alarm(of: &mut ExpectedAlarm, expected: &Expected) -> Option<Problem> {
    let written = &of.written;
    let own = written.name.as_deref();
    let kind = own.and_then(kind_of);
    let found = match (own, kind) {
        (None, _) => expected.alarm(),
        (Some(_), Some(kind)) => sounding(kind, expected),
        // A name of one's own is another word for the most urgent alarm of that priority.
        (Some(_), None) => written.priority.and_then(|priority| expected.alarm_of(Some(priority))),
    };
    if found.is_none() && (kind.is_some() || written.priority.is_none()) {
        let what = match kind {
            Some(kind) => format!("{} does not come in this step", kind.id()),
            None if own.is_some() => "\"priority\" is missing".to_owned(),
            None => "no limit of an alarm is passed in this step".to_owned(),
        };
        let others: Vec<&str> =
            expected.alarms.iter().filter(|of| expected.sounds(of)).map(|of| of.first.kind.id()).collect();
        let allowed = match others.is_empty() {
            true => "an alarm with a \"name\" of its own and its \"priority\"".to_owned(),
            false => format!("{}, or a \"name\" of its own with its \"priority\"", others.join(", ")),
        };
        return Some(of.place.problem(what).allowed(allowed));
    }
    of.kind = found.map(|sounded| sounded.first.kind);
    of.name = match (own, kind.or(of.kind)) {
        (Some(own), None) => own.to_owned(),
        (Some(own), Some(_)) if kind.is_none() => own.to_owned(),
        (_, Some(kind)) => kind.name().to_owned(),
        (None, None) => String::new(),
    };
    if let Some(priority) = written.priority.or(found.map(|sounded| sounded.first.kind.priority())) {
        of.priority = priority;
    }
    of.onset_s = found.map_or(0.0, |sounded| after(expected, sounded.first.onset));
    of.soonest_s = match found {
        // It sounds already.
        Some(sounded) if sounded.first.onset <= expected.start => 0.0,
        // A stopwatch shows tenths.
        Some(sounded) => ((after(expected, sounded.first.soonest()) * 10.0).floor() / 10.0).max(SOONEST_S),
        None => SOONEST_S,
    };
    let usual = found.map_or(OWN_WITHIN_S, |sounded| f64::from((sounded.first.usual_within_s() * 10.0) as i32) / 10.0);
    of.within_s = written.within_s.unwrap_or(usual);
    of.source = written.source.clone().unwrap_or_else(|| ALARM_SOURCE.to_owned());
    None
}

fn refute_silence(of: &ExpectedSilence, expected: &Expected) -> Option<Problem> {
    let sounded = sounding(of.kind?, expected)?;
    let what = format!(
        "{} comes in this step, {} s after its start; it can't be silent",
        sounded.first.kind.id(),
        after(expected, sounded.first.onset)
    );
    Some(of.place.problem(what).allowed("alarms whose limits this step does not pass"))
}

fn fill_clear(of: &mut ExpectedClear, expected: &Expected) -> Option<Problem> {
    let before = expected.alarms.get(of.kind).filter(|sounded| sounded.first.onset < expected.start);
    let Some(end) = before.and_then(|sounded| sounded.first.end) else {
        let what = match before {
            Some(_) => format!("{} goes on in this step; it can't clear", of.kind.id()),
            None => format!("{} does not come from the step before", of.kind.id()),
        };
        return Some(of.place.problem(what).allowed("alarms of the step before whose condition ends in this one"));
    };
    of.end_s = after(expected, end);
    if of.written_within_s.is_none() {
        (of.within_s, of.source) = (CLEAR_WITHIN_S, CLEAR_SOURCE.to_owned());
    }
    None
}

impl TextPosition {
    fn problem(&self, what: String) -> Problem {
        Problem::new(what).at(self.span.clone()).path(&self.path)
    }
}
