//! Steps in playing order, from the items of a script or from a compact image of one.

use crate::body::{Body, PlayedBody};
use crate::course::Course;
use crate::field::{Field, OutOfRange};
use crate::heart::Conduction;
use crate::heart::catalogue::find;
use crate::heart::rhythm::{Rhythm, Ventricles};
use crate::image::bytes::Bytes;
use crate::image::step::ImageStep;
use crate::recording::{PLAYED, RecordedNoise, Recording};
use crate::settings::Settings;
use crate::step::{
    Conflict, Item, MAX_NESTING, MIN_STEP, PAIRS, Ramp, SHORTEST_RR, ScriptError, SeriesBeat, Step, StepEntry,
    TimedBeat,
};
use crate::test_signal::TestSignal;
use crate::time::{Instant, Span};

/// A step as it is played, of a script or of an image.
#[derive(Clone, Copy, Debug)]
pub struct PlayedStep<'a>(Holder<'a>);

// A step of an image is large and a reference is not, but there is no heap to put it on.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Copy, Debug)]
enum Holder<'a> {
    Item(&'a Step<'a>),
    Image(ImageStep<'a>),
}

impl<'a> From<&'a Step<'a>> for PlayedStep<'a> {
    fn from(step: &'a Step<'a>) -> PlayedStep<'a> {
        PlayedStep(Holder::Item(step))
    }
}

impl<'a> From<ImageStep<'a>> for PlayedStep<'a> {
    fn from(step: ImageStep<'a>) -> PlayedStep<'a> {
        PlayedStep(Holder::Image(step))
    }
}

impl<'a> PlayedStep<'a> {
    /// How long; `None` holds until `Player::next_step`.
    pub fn duration(&self) -> Option<Span> {
        match &self.0 {
            Holder::Item(step) => step.duration,
            Holder::Image(step) => step.duration(),
        }
    }

    /// The rhythm; one that only an image has is called [`crate::image::OWN`].
    pub fn rhythm(&self) -> &Rhythm {
        match &self.0 {
            Holder::Item(step) => step.settings.rhythm(),
            Holder::Image(step) => step.rhythm(),
        }
    }

    /// Identifies the rhythm among those of the script or image: where its record lies.
    pub(crate) fn which_rhythm(&self) -> usize {
        match &self.0 {
            Holder::Item(step) => core::ptr::from_ref(step.settings.rhythm()) as usize,
            Holder::Image(step) => step.which_rhythm(),
        }
    }

    /// The body; one that only an image has is called [`crate::image::OWN`].
    pub fn body(&self) -> PlayedBody<'a> {
        match &self.0 {
            Holder::Item(step) => step.settings.body().into(),
            Holder::Image(step) => *step.body(),
        }
    }

    /// How wide the beats of the body are.
    pub(crate) fn conduction(&self) -> &dyn Conduction {
        match &self.0 {
            Holder::Item(step) => step.settings.body(),
            Holder::Image(step) => step.body(),
        }
    }

    /// The value of a field at the start of the step.
    pub fn get(&self, field: Field) -> f32 {
        match &self.0 {
            Holder::Item(step) => step.settings.get(field),
            Holder::Image(step) => step.get(field),
        }
    }

    /// The settings at `since_start` into the step; `None` for a rhythm or body that only an image has.
    pub fn settings(&self, since_start: Span) -> Option<Settings> {
        let (rhythm, body) = match &self.0 {
            Holder::Item(step) => (step.settings.rhythm(), step.settings.body()),
            Holder::Image(step) => (find(step.rhythm().id)?, Body::find(step.body().id)?),
        };
        Some(Settings::of(body, rhythm, |field| self.value(field, since_start)))
    }

    /// Whether a switch is on.
    pub(crate) fn is_on(&self, switch: Field) -> bool {
        self.get(switch) != 0.0
    }

    /// The value of a count.
    pub(crate) fn count(&self, count: Field) -> u16 {
        self.get(count) as u16
    }

    /// The test signal chosen.
    pub(crate) fn test_signal(&self) -> TestSignal {
        TestSignal::numbered(self.get(Field::TestSignal))
    }

    /// The value of a field at `since_start` into the step.
    #[inline]
    pub(crate) fn value(&self, field: Field, since_start: Span) -> f32 {
        if self.steady() || self.ramp_of(field).is_none() {
            self.get(field)
        } else {
            self.course(field).at(since_start)
        }
    }

    /// Course of a field over the step: looked up once, for many instants.
    // Not inlined: few steps ramp.
    #[inline(never)]
    pub(crate) fn course(&self, field: Field) -> Course {
        let from = self.get(field);
        let ramp = if self.steady() { None } else { self.ramp_of(field) };
        match ramp.and_then(|ramp| Some((ramp.to, ramp.over.or(self.duration())?))) {
            Some((to, over)) => Course::ramp(from, to, over),
            None => Course::held(from),
        }
    }

    /// Whether nothing moves during the step.
    fn steady(&self) -> bool {
        match &self.0 {
            Holder::Item(step) => step.ramps.is_empty(),
            Holder::Image(step) => step.ramps() == 0,
        }
    }

    /// The ramp of a field.
    // Asked for at every value of a step that ramps, so it copies nothing.
    fn ramp_of(&self, field: Field) -> Option<Ramp> {
        match &self.0 {
            Holder::Item(step) => step.ramps.iter().copied().find(|ramp| ramp.field == field),
            Holder::Image(step) => step.ramp_of(field),
        }
    }

    /// Ramps during the step.
    pub fn ramps(&self) -> impl Iterator<Item = Ramp> + use<'a> {
        let step = *self;
        (0..).map_while(move |i| match step.0 {
            Holder::Item(step) => step.ramps.get(i).copied(),
            Holder::Image(step) => step.ramp(i),
        })
    }

    /// Whether a field is anything but zero at the start of the step or at the end of a ramp.
    pub(crate) fn uses(&self, field: Field) -> bool {
        self.get(field) != 0.0 || self.ramp_of(field).is_some()
    }

    /// The `index`-th premature beat, in order of time.
    pub(crate) fn beat(&self, index: usize) -> Option<TimedBeat> {
        match &self.0 {
            Holder::Item(step) => step.beats.get(index).copied(),
            Holder::Image(step) => step.beat(index),
        }
    }

    /// Time after which the step's series of beats begins again; `None` without one.
    pub(crate) fn series_length(&self) -> Option<Span> {
        match &self.0 {
            Holder::Item(step) => step.series.map(|series| series.length),
            Holder::Image(step) => step.series_length(),
        }
    }

    /// The `index`-th beat of the step's series.
    pub(crate) fn series_beat(&self, index: usize) -> Option<SeriesBeat> {
        match &self.0 {
            Holder::Item(step) => step.series?.beats.get(index).copied(),
            Holder::Image(step) => step.series_beat(index),
        }
    }

    /// The recording that is played; an image has none.
    pub(crate) fn recording(&self) -> Option<&Recording<'a>> {
        match &self.0 {
            Holder::Item(step) if PLAYED => step.recording.as_ref(),
            Holder::Item(_) | Holder::Image(_) => None,
        }
    }

    /// The noise of a recording; an image has none.
    pub(crate) fn noise(&self) -> Option<&'a RecordedNoise<'a>> {
        match &self.0 {
            Holder::Item(step) if PLAYED => step.noise,
            Holder::Item(_) | Holder::Image(_) => None,
        }
    }

    /// Whether the step's series, if there is one, makes sense.
    fn series_holds(&self) -> bool {
        let Some(length) = self.series_length() else { return true };
        let Some(first) = self.series_beat(0) else { return false };
        let mut last = first.after;
        for beat in (1..).map_while(|i| self.series_beat(i)) {
            if beat.after < last.plus(SHORTEST_RR) {
                return false;
            }
            last = beat.after;
        }
        self.beat(0).is_none() && length >= last && length.plus(first.after) >= last.plus(SHORTEST_RR)
    }

    /// Settings that exclude each other, at the start and at the end of the ramps.
    pub(crate) fn conflicts(&self) -> impl Iterator<Item = Conflict> + use<'a> {
        let step = *self;
        // A step that holds comes to the end of its ramps.
        let end = step.duration().unwrap_or(Span::MAX);
        [Span::ZERO, end].into_iter().flat_map(move |at| {
            let rate = step.value(Field::RateBpm, at);
            let (min_bpm, max_bpm) = step.rhythm().allowed_bpm(step.body().resting_bpm, step.get(Field::AvRatio));
            let rate = (rate < min_bpm || rate > max_bpm).then_some(Conflict::RateOfRhythm {
                rate_bpm: rate,
                min_bpm,
                max_bpm,
            });
            let ratio = step.get(Field::AvRatio);
            let min = step.rhythm().least_ratio();
            let ratio = (ratio < min).then_some(Conflict::RatioOfRhythm { ratio, min });
            let order = PAIRS.iter().filter_map(move |of| {
                let [systolic_mmhg, diastolic_mmhg] = of.fields.map(|field| step.value(field, at));
                let arterial = || step.value(Field::ArterialDiastolic, at);
                let diastolic_mmhg = if diastolic_mmhg > 0.0 { diastolic_mmhg } else { arterial() };
                let wrong = systolic_mmhg > 0.0 && systolic_mmhg < diastolic_mmhg + 2.0;
                wrong.then_some(Conflict::PressureOrder { of, systolic_mmhg, diastolic_mmhg })
            });
            let listed = step.series_length().is_some();
            let recorded = step.recording().is_some();
            let beats = (!step.test_signal().has_beats() && !recorded && (listed || step.rhythm().beats()))
                .then_some(Conflict::BeatsOfTestSignal);
            let still =
                matches!(step.rhythm().ventricles, Ventricles::Fibrillation { .. } | Ventricles::Flutter { .. });
            let series = (listed && still).then_some(Conflict::SeriesOfRhythm);
            let test = (recorded && step.test_signal() != TestSignal::None).then_some(Conflict::TestSignalOfRecording);
            rate.into_iter().chain(ratio).chain(order).chain(beats).chain(series).chain(test)
        })
    }

    /// Checks the step at an item index by itself.
    fn check(&self, item: usize) -> Result<(), ScriptError> {
        if self.duration().is_some_and(|duration| duration < MIN_STEP) {
            return Err(ScriptError::TooShort(item));
        }
        for Ramp { field, to, over } in self.ramps() {
            let limits = field.limits();
            let too_short = over.or(self.duration()).is_none_or(|over| over < MIN_STEP);
            if too_short || !limits.ramps || !limits.allow(to) {
                return Err(ScriptError::Ramp(item, OutOfRange { field, value: to }));
            }
        }
        let mut last = Span::ZERO;
        for beat in (0..).map_while(|i| self.beat(i)) {
            if beat.after < last {
                return Err(ScriptError::BeatOrder(item));
            }
            last = beat.after;
        }
        if !self.series_holds() {
            return Err(ScriptError::Series(item));
        }
        if self.recording().is_some() && self.series_length().is_none() {
            return Err(ScriptError::Recording(item));
        }
        self.conflicts().next().map_or(Ok(()), |conflict| Err(ScriptError::Conflict(item, conflict)))
    }
}

/// Where steps and repeats come from.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Source<'a> {
    Items(&'a [Item<'a>]),
    Image(Bytes<'a>),
    /// A step alone, with the item index given by live control.
    Led(&'a Step<'a>, usize),
}

impl<'a> Source<'a> {
    fn len(&self) -> usize {
        match self {
            Source::Led(_, item) => item.saturating_add(1),
            Source::Items(items) => items.len(),
            Source::Image(image) => image.items(),
        }
    }

    fn get(&self, item: usize) -> Option<StepEntry<PlayedStep<'a>>> {
        match self {
            Source::Items(items) => items.get(item).map(|item| match item {
                Item::Step(step) => StepEntry::Step(step.into()),
                Item::Repeat { first, times, level } => {
                    StepEntry::Repeat { first: *first, times: *times, level: *level }
                }
            }),
            Source::Image(image) => image.entry(item).map(|entry| match entry {
                StepEntry::Step(step) => StepEntry::Step(step.into()),
                StepEntry::Repeat { first, times, level } => StepEntry::Repeat { first, times, level },
            }),
            Source::Led(step, its) => (item == *its).then(|| StepEntry::Step((*step).into())),
        }
    }

    /// Checks that the items make a script; a player can rely on it.
    pub(crate) fn check(&self) -> Result<(), ScriptError> {
        if !(0..self.len()).any(|item| matches!(self.get(item), Some(StepEntry::Step(_)))) {
            return Err(ScriptError::Empty);
        }
        for item in 0..self.len() {
            match self.get(item) {
                Some(StepEntry::Step(step)) => step.check(item)?,
                Some(StepEntry::Repeat { first, times, level }) => {
                    let level = usize::from(level);
                    let points_back = (first as usize) < item && times > 0 && level < MAX_NESTING;
                    // Repeats in its block must lie in it wholly, and deeper.
                    let mut inner = (first as usize..item).filter_map(|i| match self.get(i) {
                        Some(StepEntry::Repeat { first, level, .. }) => Some((first, usize::from(level))),
                        _ => None,
                    });
                    if !points_back || inner.any(|(from, deeper)| from < first || deeper >= level) {
                        return Err(ScriptError::Repeat(item));
                    }
                }
                None => {}
            }
        }
        Ok(())
    }

    /// How long the items play; `None` when a step holds, or when it is beyond the range of an instant.
    pub(crate) fn duration(&self) -> Option<Span> {
        let total = self.block_ticks(0, self.len())?;
        (total < u64::MAX).then_some(Span::from_ticks(total))
    }

    /// Ticks that the items `first..end` play once, held at the largest number; `None` if a step holds.
    ///
    /// Walks a repeated block once more for its repeat, so at most [`MAX_NESTING`] times in all.
    fn block_ticks(&self, first: usize, end: usize) -> Option<u64> {
        let mut total: u64 = 0;
        for i in first..end {
            match self.get(i) {
                Some(StepEntry::Step(step)) => total = total.saturating_add(step.duration()?.ticks()),
                Some(StepEntry::Repeat { first, times, .. }) => {
                    let inner = self.block_ticks(first as usize, i)?;
                    total = total.saturating_add(inner.saturating_mul(u64::from(times.saturating_sub(1))));
                }
                None => {}
            }
        }
        Some(total)
    }
}

/// A step at its place in time.
#[derive(Clone, Copy, Debug)]
pub struct Placed<'a> {
    /// Index of the step among the script's items.
    pub item: usize,
    /// When it starts.
    pub start: Instant,
    /// The step.
    pub step: PlayedStep<'a>,
}

impl Placed<'_> {
    /// The value of a field at an instant of the step.
    // Not inlined: a hundred places call it.
    #[inline(never)]
    pub(crate) fn value(&self, field: Field, at: Instant) -> f32 {
        self.step.value(field, at.since(self.start))
    }
}

/// Walks steps in playing order.
#[derive(Clone, Debug)]
pub struct Timeline<'a> {
    source: Source<'a>,
    next: usize,
    played: [u32; MAX_NESTING],
    /// Start of the next step; [`Instant::NEVER`] once a step holds.
    start: Instant,
    /// The next step holds, however long it is.
    holds_next: bool,
}

impl<'a> Timeline<'a> {
    pub(crate) fn new(source: Source<'a>) -> Timeline<'a> {
        Timeline::from_item(source, 0)
    }

    /// A timeline that begins at an item.
    pub(crate) fn from_item(source: Source<'a>, item: usize) -> Timeline<'a> {
        Timeline { source, next: item, played: [0; MAX_NESTING], start: Instant::ZERO, holds_next: false }
    }

    /// A timeline of one step at a time of one's own.
    pub(crate) fn led(step: &'a Step<'a>, item: usize, start: Instant) -> Timeline<'a> {
        Timeline { source: Source::Led(step, item), next: item, played: [0; MAX_NESTING], start, holds_next: false }
    }

    /// When the next step starts, or the last one ends; [`Instant::NEVER`] while a step holds.
    pub(crate) fn next_start(&self) -> Instant {
        self.start
    }

    /// Goes on at `at`, although the last step holds or has not ended.
    pub fn resume_at(&mut self, at: Instant) {
        self.start = at;
    }

    /// Holds the step that is played at `at`: the present one, or the next one when that has started by then.
    pub(crate) fn hold_at(&mut self, at: Instant) {
        if self.start <= at {
            self.holds_next = true;
        } else {
            self.start = Instant::NEVER;
        }
    }
}

impl<'a> Iterator for Timeline<'a> {
    type Item = Placed<'a>;

    fn next(&mut self) -> Option<Placed<'a>> {
        let start = self.start;
        if start == Instant::NEVER {
            return None;
        }
        // Without a step nothing starts.
        self.start = Instant::NEVER;
        loop {
            let item = self.next;
            match self.source.get(item)? {
                StepEntry::Step(step) => {
                    self.next = item.saturating_add(1);
                    let holds = core::mem::take(&mut self.holds_next);
                    let duration = step.duration().filter(|_| !holds);
                    self.start = duration.map_or(Instant::NEVER, |duration| start.plus(duration));
                    return Some(Placed { item, start, step });
                }
                StepEntry::Repeat { first, times, level } => {
                    let played = self.played.get_mut(usize::from(level))?;
                    *played += 1;
                    if *played < times {
                        self.next = first as usize;
                    } else {
                        *played = 0;
                        self.next += 1;
                    }
                }
            }
        }
    }
}
