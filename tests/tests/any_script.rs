//! Laws that hold for any script: the same frames and events for any block size, after `skip` and from a clone; finite values.
//!
//! Pressures, their lines, breathing and the cuff carry the most state from event to event, so every step sets some of theirs.

use proptest::prelude::*;
use pulsewright_core::block::{Block, Signals};
use pulsewright_core::body::BODIES;
use pulsewright_core::frame::{Frame, PressureSite};
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::player::Player;
use pulsewright_core::pressure::SiteSet;
use pulsewright_core::script::{Item, Ramp, Script, Step};
use pulsewright_core::settings::{Field, FieldKind, Settings};
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_core::truth::Event;

/// Groups of fields that are set often.
const OFTEN: [&str; 4] = ["breathing.", "cuff.", "arterial.", "chest."];

fn path_in(field: &Field, groups: &[&str]) -> bool {
    groups.iter().any(|group| field.info().path.starts_with(group))
}

fn fields() -> (Vec<Field>, Vec<Field>) {
    Field::ALL.iter().partition(|field| path_in(field, &OFTEN))
}

/// A field and a share of its range; the ends of the range come often.
fn set() -> impl Strategy<Value = (Field, f32)> {
    let (often, seldom) = fields();
    let field = prop_oneof![3 => prop::sample::select(often), 2 => prop::sample::select(seldom)];
    let share =
        prop_oneof![1 => Just(0.0), 1 => Just(1.0), 6 => 0.0..=1.0_f32, 4 => (0.0..=1.0_f32).prop_map(|x| x * x * x)];
    (field, share)
}

fn at_share(field: Field, share: f32) -> f32 {
    let info = field.info();
    let value = (info.min + share * (info.max - info.min)).clamp(info.min, info.max);
    if info.kind == FieldKind::Number { value } else { value.round() }
}

type StepValues = (usize, usize, u32, Vec<(Field, f32)>, Option<(Field, f32)>);

fn step() -> impl Strategy<Value = StepValues> {
    (0..RHYTHMS.len(), 0..BODIES.len(), 20..700_u32, prop::collection::vec(set(), 1..12), prop::option::of(set()))
}

/// Steps, without those whose settings exclude each other.
struct Steps(Vec<(Settings, Span, Vec<Ramp>)>);

impl Steps {
    fn new(drawn: &[StepValues]) -> Steps {
        let step = |(rhythm, body, hundredths, set, ramp): &StepValues| {
            let mut settings = Settings::new(BODIES[*body], RHYTHMS[*rhythm]);
            for (field, share) in set {
                settings = settings.with(*field, at_share(*field, *share)).expect("within the range");
            }
            let duration = Span::millis(10 * u64::from(*hundredths));
            let ramps = ramp.filter(|(field, _)| field.info().ramps);
            let ramps = ramps.map(|(field, share)| Ramp { field, to: at_share(field, share), over: None });
            (settings, duration, Vec::from_iter(ramps))
        };
        let usable = |step: &(Settings, Span, Vec<Ramp>)| Script::new(0, &[item(step)]).is_ok();
        Steps(drawn.iter().map(step).filter(usable).collect())
    }

    fn items(&self) -> Vec<Item<'_>> {
        self.0.iter().map(item).collect()
    }
}

fn item((settings, duration, ramps): &(Settings, Span, Vec<Ramp>)) -> Item<'_> {
    Item::Step(Step::lasting(*duration, *settings).with_ramps(ramps))
}

/// Bits of every value of a frame that a channel may show.
fn bits(frame: &Frame) -> Vec<u32> {
    let leads = frame.leads_mv.iter();
    let all = leads.chain(&frame.pressure_mmhg).chain(&frame.cuff_mmhg).chain([&frame.respiration_ohm]);
    all.map(|value| value.to_bits()).collect()
}

fn played(mut player: Player<'_>, block: usize) -> (Vec<Frame>, Vec<Event>) {
    let (mut frames, mut events) = (Vec::new(), Vec::new());
    let mut room = vec![Frame::default(); block];
    while let n @ 1.. = player.fill_observed(&mut room, &mut |event| events.push(event)) {
        frames.extend_from_slice(&room[..n]);
    }
    (frames, events)
}

/// Eight sites of ten.
fn chosen(left_out: (usize, usize)) -> SiteSet {
    let sites: Vec<PressureSite> = PressureSite::ALL.to_vec();
    let kept = sites.iter().enumerate().filter(|(i, _)| *i != left_out.0 && *i != left_out.1).map(|(_, site)| *site);
    SiteSet::new(&kept.take(8).collect::<Vec<_>>()).expect("eight sites")
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn frames_and_events_do_not_depend_on_how_they_are_asked_for(
        drawn in prop::collection::vec(step(), 1..5),
        seed in any::<u64>(),
        left_out in (0..10_usize, 0..10_usize),
        block in 1..700_usize,
        place in any::<prop::sample::Index>(),
        hz in prop::sample::select(vec![100_u32, 250, 500, 360]),
    ) {
        let steps = Steps::new(&drawn);
        prop_assume!(!steps.0.is_empty());
        let items = steps.items();
        let script = Script::new(seed, &items).expect("usable steps");
        let player = Player::new(&script, FrameRate::hz(hz).unwrap()).with_pressures_at(chosen(left_out));
        let (frames, events) = played(player.clone(), 16);
        for (i, frame) in frames.iter().enumerate() {
            let finite = |values: &[f32]| values.iter().all(|value| value.is_finite() && value.abs() < 1e5);
            prop_assert!(finite(&frame.pressure_mmhg) && finite(&frame.cuff_mmhg), "frame {}: {:?}", i, frame);
            prop_assert!(finite(&[frame.respiration_ohm]) && finite(&frame.leads_mv), "frame {}: {:?}", i, frame);
        }

        let (other, other_events) = played(player.clone(), block);
        prop_assert_eq!(frames.len(), other.len());
        prop_assert_eq!(&events, &other_events, "events, blocks of {}", block);
        for (i, (a, b)) in frames.iter().zip(&other).enumerate() {
            prop_assert_eq!(bits(a), bits(b), "frame {}, blocks of {}", i, block);
        }

        // Signal by signal, in blocks of any length; with no signal but the leads, the leads are the same.
        for signals in [Signals::ALL, Signals { respiration: false, cuff: false, ..Signals::ALL }] {
            let mut by_signal = player.clone();
            let mut columns = Block::new(signals);
            let mut count = 0;
            while let n @ 1.. = by_signal.fill_block(&mut columns, block) {
                for i in 0..n {
                    let mut wanted = frames[count + i];
                    if !signals.respiration {
                        wanted = Frame { respiration_ohm: 0.0, cuff_mmhg: [0.0; 2], ..wanted };
                    }
                    let frame = columns.frame(i).expect("a frame of the block");
                    prop_assert_eq!(bits(&wanted), bits(&frame), "frame {}, signal by signal", count + i);
                }
                count += n;
            }
            prop_assert_eq!(count, frames.len());
        }

        // Passed over in one leap: events between the last frame and the end are reported as well.
        let mut passed = Vec::new();
        prop_assert_eq!(player.clone().skip_observed(u64::MAX, &mut |event| passed.push(event)), frames.len() as u64);
        prop_assert_eq!(&events, &passed, "events, in one leap");

        // Skipped to anywhere, in two leaps, and from a clone taken there.
        let place = place.index(frames.len());
        let mut leaping = player.clone();
        let mut reported = Vec::new();
        leaping.skip_observed((place / 3) as u64, &mut |event| reported.push(event));
        leaping.skip_observed((place - place / 3) as u64, &mut |event| reported.push(event));
        prop_assert_eq!(leaping.position(), place as u64);
        let mut clone = player.clone();
        let mut room = vec![Frame::default(); place.max(1)];
        clone.fill(&mut room[..place]);
        let (from_clone, after_clone) = played(clone.clone(), 64);
        let (from_leap, later) = played(leaping, 64);
        // Events passed over unheard make no difference to those after them.
        let mut unheard = player.clone();
        unheard.skip(place as u64);
        prop_assert_eq!(&played(unheard, 64).1, &later, "events, after passing over {} unheard", place);
        prop_assert!(events.ends_with(&after_clone), "events, after {} frames played unheard", place);
        reported.extend(later);
        prop_assert_eq!(&events, &reported, "events, leaping to {}", place);
        for (i, frame) in frames[place..].iter().enumerate() {
            prop_assert_eq!(bits(frame), bits(&from_leap[i]), "frame {}, after leaping to {}", place + i, place);
            prop_assert_eq!(bits(frame), bits(&from_clone[i]), "frame {}, from a clone at {}", place + i, place);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    /// Minutes passed over without an observer leave out pulses long past; the frames after them are the same to the bit.
    #[test]
    fn pulses_long_past_leave_nothing(
        drawn in prop::collection::vec(step(), 1..6),
        often in prop::option::weighted(0.6, 0..RHYTHMS.len()),
        seed in any::<u64>(),
        left_out in (0..10_usize, 0..10_usize),
        place in any::<prop::sample::Index>(),
        then in prop::option::of(1000..9000_usize),
    ) {
        let mut drawn = drawn;
        for (rhythm, _, hundredths, set, _) in &mut drawn {
            // Minutes, mostly of one rhythm, and mostly without lines that ring: those are played whole.
            (*rhythm, *hundredths) = (often.unwrap_or(*rhythm), *hundredths * 20);
            if seed % 4 != 0 {
                set.retain(|(field, _)| !field.info().path.ends_with("line_hz"));
            }
        }
        let steps = Steps::new(&drawn);
        prop_assume!(!steps.0.is_empty());
        let items = steps.items();
        let script = Script::new(seed, &items).expect("usable steps");
        let player = Player::new(&script, FrameRate::hz(100).unwrap()).with_pressures_at(chosen(left_out));
        let frames = player.clone().skip(u64::MAX) as usize;
        // Late in the script, or anywhere.
        let place = then.map_or_else(|| place.index(frames), |then| frames.saturating_sub(then));
        let (mut heard, mut unheard) = (player.clone(), player);
        heard.skip_observed(place as u64, &mut |_| ());
        unheard.skip(place as u64);
        for seconds in [1, 2, 7] {
            let (mut one, mut other) = (vec![Frame::default(); 100 * seconds], vec![Frame::default(); 100 * seconds]);
            let (mut events, mut other_events) = (Vec::new(), Vec::new());
            let count = heard.fill_observed(&mut one, &mut |event| events.push(event));
            prop_assert_eq!(count, unheard.fill_observed(&mut other, &mut |event| other_events.push(event)));
            prop_assert_eq!(events, other_events, "events, after passing over {}", place);
            for (i, (a, b)) in one.iter().zip(&other).enumerate() {
                prop_assert_eq!(bits(a), bits(b), "frame {}, after passing over {}", i, place);
            }
        }
    }
}

/// Made steps are mostly good, or the property would prove little.
#[test]
fn most_made_steps_play() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let made: Vec<StepValues> =
        (0..300).map(|_| step().new_tree(&mut runner).expect("a step can be made").current()).collect();
    let steps = Steps::new(&made);
    assert!(steps.0.len() > 120, "{} of 300", steps.0.len());
    let inflated = |(settings, ..): &&(Settings, Span, Vec<Ramp>)| settings.get(Field::CuffInflate) > 20.0;
    assert!(steps.0.iter().filter(inflated).count() > 10);
}
