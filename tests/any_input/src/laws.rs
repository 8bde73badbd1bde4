//! The laws of playing, over scripts made of the input: the same bits however frames are asked for, all of them finite.

use super::{VALUES, sound_bits};
use arbitrary::{Result, Unstructured};
use pulsewright_core::body::BODIES;
use pulsewright_core::frame::{Frame, PressureSite};
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::EctopicSite;
use pulsewright_core::image::{self, Image};
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::{Item, Ramp, Script, Series, SeriesBeat, Step, TimedBeat};
use pulsewright_core::settings::{Field, FieldKind, Settings};
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_core::truth::{BeatCode, Event};

/// Frames that are played of each script.
const MOST: usize = 600;

/// Bytes become a script and ways to play it, which must agree.
pub fn laws(bytes: &[u8]) {
    // Too few bytes say nothing.
    let _ = played(&mut Unstructured::new(bytes));
}

fn played(u: &mut Unstructured<'_>) -> Result<()> {
    let seed: u64 = u.arbitrary()?;
    let rate = FrameRate::hz(*u.choose(&[100, 250, 360, 500, 1000])?).expect("a frame rate");
    let sites = u.arbitrary::<u16>()?;
    let kept = PressureSite::ALL.iter().enumerate().filter(|(i, _)| sites & 1 << i != 0).map(|(_, site)| *site);
    let chosen = SiteSet::new(&kept.take(8).collect::<Vec<_>>()).expect("at most eight sites");
    let mut steps = Vec::new();
    for _ in 0..u.int_in_range(1..=4)? {
        steps.extend(StepValues::new(u)?);
    }
    let mut items: Vec<Item<'_>> = steps.iter().map(StepValues::item).collect();
    if let (Some(last), true) = (items.len().checked_sub(1), u.arbitrary()?) {
        items.push(Item::Repeat { first: u.int_in_range(0..=last)? as u32, times: u.int_in_range(1..=9)?, level: 0 });
    }
    let Ok(script) = Script::new(seed, &items) else { return Ok(()) };
    let player = Player::new(&script, rate).with_pressures_at(chosen);

    let mut expected = Output::default();
    let mut whole = player.clone();
    expected.fill(&mut whole, 64, MOST);
    let count = expected.frames.len();
    // Events that end with the last frame come when the next frame is asked for.
    expected.fill(&mut whole, 64, 1);
    let asked = asked(u);
    let mut output = Output::default();
    let mut split = player.clone();
    let mut ways = asked.iter().copied();
    while output.frames.len() < count {
        let left = count - output.frames.len();
        match ways.next() {
            Some((Way::Fill, count)) => output.fill(&mut split, 97, count.min(left)),
            Some((Way::Skip, count)) => output.skip(&mut split, count.min(left)),
            Some((Way::Clone, count)) => {
                // Playing a copy does not change the original.
                let mut copy = split.clone();
                Output::default().fill(&mut copy, 33, count.min(left));
                split = split.clone();
            }
            None => output.fill(&mut split, 97, left),
        }
        assert_eq!(split.position(), output.frames.len() as u64);
    }
    output.fill(&mut split, 97, 1);
    expected.same(&output);
    far_on(&player, (61 + seed % 200) * u64::from(rate.as_hz()));

    let mut bytes = Vec::new();
    if image::write(&script, |part| bytes.extend_from_slice(part)).is_ok() {
        let image = Image::new(&bytes).expect("what was written is an image");
        let mut output = Output::default();
        output.fill(&mut Player::of_image(&image, rate).with_pressures_at(chosen), 41, MOST + 1);
        expected.same(&output);
    }
    Ok(())
}

/// Minutes on, it makes no difference whether the events on the way were observed.
fn far_on(player: &Player<'_>, count: u64) {
    let (mut one, mut other) = (player.clone(), player.clone());
    let skipped = one.skip_observed(count, &mut |_: Event| ());
    assert_eq!(skipped, other.skip(count));
    let [mut expected, mut found] = [Output::default(), Output::default()];
    expected.fill(&mut one, 64, 300);
    found.fill(&mut other, 64, 300);
    expected.same(&found);
}

/// Frames, none for those that were skipped, and every event.
#[derive(Default)]
struct Output {
    frames: Vec<Option<[u32; VALUES]>>,
    events: Vec<Event>,
}

impl Output {
    fn fill(&mut self, player: &mut Player<'_>, block: usize, count: usize) {
        let mut room = vec![Frame::default(); block];
        let until = self.frames.len() + count;
        while self.frames.len() < until {
            let wanted = block.min(until - self.frames.len());
            let filled = player.fill_observed(&mut room[..wanted], &mut |event| self.events.push(event));
            self.frames.extend(room[..filled].iter().map(|frame| Some(sound_bits(frame))));
            if filled == 0 {
                return;
            }
        }
    }

    fn skip(&mut self, player: &mut Player<'_>, count: usize) {
        let skipped = player.skip_observed(count as u64, &mut |event| self.events.push(event));
        assert_eq!(skipped, count as u64);
        self.frames.resize(self.frames.len() + count, None);
    }

    fn same(&self, other: &Output) {
        assert_eq!(self.frames.len(), other.frames.len());
        assert_eq!(self.events, other.events);
        for (i, (expected, found)) in self.frames.iter().zip(&other.frames).enumerate() {
            assert!(found.is_none() || expected == found, "frame {i}: {expected:?} and {found:?}");
        }
    }
}

#[derive(Clone, Copy)]
enum Way {
    Fill,
    Skip,
    Clone,
}

/// Ways to ask for frames, up to sixteen.
fn asked(u: &mut Unstructured<'_>) -> Vec<(Way, usize)> {
    let mut asked = Vec::new();
    while !u.is_empty() && asked.len() < 16 {
        let way = u.choose(&[Way::Fill, Way::Skip, Way::Clone]).copied().unwrap_or(Way::Fill);
        asked.push((way, u.int_in_range(0..=400).unwrap_or(0)));
    }
    asked
}

/// A step that owns its ramps and beats.
struct StepValues {
    duration: Option<Span>,
    settings: Settings,
    ramps: Vec<Ramp>,
    beats: Vec<TimedBeat>,
    series: Option<(Vec<SeriesBeat>, Span)>,
}

impl StepValues {
    /// `None` when its parts exclude each other.
    fn new(u: &mut Unstructured<'_>) -> Result<Option<StepValues>> {
        let mut settings = Settings::new(u.choose(BODIES)?, u.choose(RHYTHMS)?);
        for _ in 0..u.int_in_range(0..=9)? {
            let (field, value) = set(u)?;
            settings = settings.with(field, value).expect("within the range");
        }
        let hundredths = u.int_in_range(0..=600)?;
        let duration = (hundredths > 0).then_some(Span::millis(10 * hundredths));
        let mut ramps = Vec::new();
        for _ in 0..u.int_in_range(0..=2)? {
            let (field, to) = set(u)?;
            let over = u.arbitrary::<bool>()?.then_some(Span::millis(u.int_in_range(10..=7000)?));
            if field.info().ramps && (over.is_some() || duration.is_some()) {
                ramps.push(Ramp { field, to, over });
            }
        }
        let mut beats = Vec::new();
        for _ in 0..u.int_in_range(0..=3)? {
            beats
                .push(TimedBeat { after: Span::millis(u.int_in_range(0..=6000)?), site: *u.choose(EctopicSite::ALL)? });
        }
        beats.sort_by_key(|beat| beat.after);
        let series = series(u)?;
        if series.is_some() {
            beats.clear();
        }
        let step = StepValues { duration, settings, ramps, beats, series };
        let sound = Script::new(0, &[step.item()]).is_ok();
        Ok(sound.then_some(step))
    }

    fn item(&self) -> Item<'_> {
        let series = self.series.as_ref().map(|(beats, length)| Series { beats, length: *length });
        let StepValues { duration, settings, ramps, beats, .. } = self;
        Item::Step(Step { duration: *duration, ramps, beats, series, ..Step::hold(*settings) })
    }
}

/// In one of four steps, up to nine beats of any code, mostly far enough apart.
fn series(u: &mut Unstructured<'_>) -> Result<Option<(Vec<SeriesBeat>, Span)>> {
    if u.int_in_range(0..=3)? != 0 {
        return Ok(None);
    }
    let (mut beats, mut after) = (Vec::new(), Span::ZERO);
    for _ in 0..u.int_in_range(1..=9)? {
        after = after.plus(Span::millis(u.int_in_range(140..=1900)?));
        beats.push(SeriesBeat { after, code: *u.choose(BeatCode::ALL)? });
    }
    Ok(Some((beats, after.plus(Span::millis(u.int_in_range(0..=900)?)))))
}

/// A field and a value in its range; both ends come often.
fn set(u: &mut Unstructured<'_>) -> Result<(Field, f32)> {
    let field = *u.choose(Field::ALL)?;
    let info = field.info();
    let share = f32::from(u.arbitrary::<u8>()?) / 255.0;
    let value = (info.min + share * share * (info.max - info.min)).clamp(info.min, info.max);
    Ok((field, if info.kind == FieldKind::Number { value } else { value.round() }))
}
