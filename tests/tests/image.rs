//! Images of scripts: they play what the script plays, and bytes that are not a whole, sound image are refused or harmless.

use proptest::prelude::*;
use pulsewright_core::body::BODIES;
use pulsewright_core::frame::Frame;
use pulsewright_core::heart::catalogue::RHYTHMS;
use pulsewright_core::heart::rhythm::EctopicSite;
use pulsewright_core::image::{Image, ImageError};
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Ramp, Script, Series, SeriesBeat, Step, TimedBeat};
use pulsewright_core::settings::{Field, FieldKind, Settings};
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_core::truth::{BeatCode, Event};
use pulsewright_tests::check_sum::check_sum;
use pulsewright_tests::images::compiled;
use std::fs;
use std::path::Path;

const RATE: FrameRate = FrameRate::lit(250);

/// Bits of the frames of the first `seconds`, and every event; a step that holds goes on after 3 s.
fn played(mut player: Player<'_>, seconds: usize) -> (Vec<[u32; 21]>, Vec<Event>) {
    let (mut frames, mut events) = (Vec::new(), Vec::new());
    let mut block = [Frame::default(); 750];
    while frames.len() < 250 * seconds
        && let n @ 1.. = player.fill_observed(&mut block, &mut |event| events.push(event))
    {
        frames.extend(block[..n].iter().map(|frame| {
            let leads = frame.leads_mv.iter().chain([&frame.respiration_ohm]);
            let mut values = leads.chain(&frame.pressure_mmhg).chain(&frame.cuff_mmhg);
            [(); 21].map(|()| values.next().map_or(0, |value| value.to_bits()))
        }));
        player.next_step();
    }
    (frames, events)
}

fn same(script: &Script<'_>, seconds: usize) {
    let bytes = compiled(script);
    let image = Image::new(&bytes).expect("what was written can be read");
    assert_eq!((image.seed(), image.duration()), (script.seed(), script.duration()));
    let (expected, reported) = played(Player::new(script, RATE), seconds);
    let (found, heard) = played(Player::of_image(&image, RATE), seconds);
    assert!(
        expected == found,
        "frames differ from frame {:?} on",
        expected.iter().zip(&found).position(|(a, b)| a != b)
    );
    assert_eq!(reported, heard);
}

#[test]
fn every_example_plays_the_same_from_its_image() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples");
    let mut scripts = 0;
    for folder in [root.clone(), root.join("test-signals")] {
        for entry in fs::read_dir(folder).expect("the examples") {
            let path = entry.expect("an entry").path();
            if path.extension().is_none_or(|extension| extension != "json") {
                continue;
            }
            let text = fs::read(&path).expect("a readable file");
            let document = pulsewright_script::parse(&text, "example").expect("a script");
            let items = document.items();
            same(&Script::new(document.seed(), &items).expect("a script"), 120);
            scripts += 1;
        }
    }
    assert!(scripts > 20, "only {scripts} examples");
}

/// Rhythm, body, tenths of a second (0: holds), fields at shares of their ranges, ramps, premature beats, and intervals and codes of a
/// series, which takes the place of premature beats.
type StepValues =
    (usize, usize, u64, Vec<(usize, f32)>, Vec<(usize, f32, Option<u64>)>, Vec<(u64, usize)>, Vec<(u64, usize)>);

fn step() -> impl Strategy<Value = StepValues> {
    let field = || 0..Field::ALL.len();
    (
        0..RHYTHMS.len(),
        0..BODIES.len(),
        prop_oneof![1 => Just(0), 9 => 1..60_u64],
        prop::collection::vec((field(), 0.0..=1.0_f32), 0..20),
        prop::collection::vec((field(), 0.0..=1.0_f32, prop::option::of(10..5000_u64)), 0..3),
        prop::collection::vec((0..6000_u64, 0..EctopicSite::ALL.len()), 0..4),
        prop_oneof![
            3 => Just(Vec::new()),
            1 => prop::collection::vec((150..1900_u64, 0..BeatCode::ALL.len()), 1..9),
        ],
    )
}

struct Built {
    duration: Option<Span>,
    settings: Settings,
    ramps: Vec<Ramp>,
    beats: Vec<TimedBeat>,
    series: Vec<SeriesBeat>,
}

impl Built {
    fn new((rhythm, body, tenths, fields, ramps, beats, series): &StepValues) -> Option<Built> {
        let at = |field: Field, share: f32| {
            let info = field.info();
            let value = (info.min + share * (info.max - info.min)).clamp(info.min, info.max);
            if info.kind == FieldKind::Number { value } else { value.round() }
        };
        let mut settings = Settings::new(BODIES[*body], RHYTHMS[*rhythm]);
        for (index, share) in fields {
            let field = Field::ALL[*index];
            settings = settings.with(field, at(field, *share)).ok()?;
        }
        let duration = (*tenths > 0).then_some(Span::millis(100 * tenths));
        let ramps = ramps.iter().filter_map(|(index, share, over)| {
            let (field, over) = (Field::ALL[*index], over.map(Span::millis));
            let usable = field.info().ramps && (over.is_some() || duration.is_some());
            usable.then_some(Ramp { field, to: at(field, *share), over })
        });
        let mut beats: Vec<TimedBeat> = beats
            .iter()
            .map(|(ms, site)| TimedBeat { after: Span::millis(*ms), site: EctopicSite::ALL[*site] })
            .collect();
        beats.sort_by_key(|beat| beat.after);
        let mut after = Span::ZERO;
        let listed = series.iter().map(|(ms, code)| {
            after = after.plus(Span::millis(*ms));
            SeriesBeat { after, code: BeatCode::ALL[*code] }
        });
        let series: Vec<SeriesBeat> = listed.collect();
        if !series.is_empty() {
            beats.clear();
        }
        let built = Built { duration, settings, ramps: ramps.collect(), beats, series };
        Script::new(0, &[built.item()]).is_ok().then_some(built)
    }

    fn item(&self) -> Item<'_> {
        let Built { duration, settings, ramps, beats, series } = self;
        let series = series.last().map(|last| Series { beats: series, length: last.after });
        Item::Step(Step { duration: *duration, ramps, beats, series, ..Step::hold(*settings) })
    }
}

fn items(built: &[Built]) -> Vec<Item<'_>> {
    let mut items: Vec<Item<'_>> = built.iter().map(Built::item).collect();
    items.push(Item::Repeat { first: items.len() as u32 - 1, times: 2, level: 0 });
    items.push(Item::Repeat { first: 0, times: 2, level: 1 });
    items
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_script_plays_the_same_from_its_image(drawn in prop::collection::vec(step(), 1..6), seed in any::<u64>()) {
        let built: Vec<Built> = drawn.iter().filter_map(Built::new).collect();
        prop_assume!(!built.is_empty());
        let items = items(&built);
        same(&Script::new(seed, &items).expect("each step is one"), 20);
    }

    /// Even with a check sum that fits: refused, or played without a panic.
    #[test]
    fn no_bytes_are_harmful(
        drawn in prop::collection::vec(step(), 1..3),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let built: Vec<Built> = drawn.iter().filter_map(Built::new).collect();
        prop_assume!(!built.is_empty());
        let mut bytes = compiled(&Script::new(7, &items(&built)).expect("each step is one"));
        for (place, value) in changes {
            // Magic, version, length and tables stay, or nothing else would be looked at.
            let place = 28 + place.index(bytes.len() - 28);
            bytes[place] = value;
        }
        let sum = check_sum(&bytes).to_le_bytes();
        bytes[8..12].copy_from_slice(&sum);
        if let Ok(image) = Image::new(&bytes) {
            played(Player::of_image(&image, RATE), 5);
            for item in 0..image.items() {
                if let Some(alone) = image.alone(item) {
                    played(Player::of_image(&alone, RATE), 1);
                }
            }
        }
    }

    #[test]
    fn noise_is_no_image(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        prop_assert!(Image::new(&bytes).is_err());
        let marked: Vec<u8> = b"PWIM\x02\0".iter().copied().chain(bytes).collect();
        prop_assert!(Image::new(&marked).is_err());
    }
}

#[test]
fn every_cut_and_every_flipped_bit_is_refused_by_name() {
    let values: StepValues = (40, 1, 20, vec![(3, 0.5)], vec![(12, 0.7, Some(500))], vec![(100, 2), (900, 3)], vec![]);
    let built =
        [Built::new(&values).expect("a step"), Built::new(&(0, 0, 0, vec![], vec![], vec![], vec![])).expect("a step")];
    let bytes = compiled(&Script::new(1, &items(&built)).expect("a script"));
    assert!(Image::new(&bytes).is_ok());
    for length in 0..bytes.len() {
        let error = Image::new(&bytes[..length]).expect_err("a part");
        let expected = if length < 4 { ImageError::Mark } else { error };
        assert!(
            error == expected && matches!(error, ImageError::Mark | ImageError::Length { .. }),
            "{length}: {error}"
        );
    }
    for bit in 0..8 * bytes.len() {
        let mut flipped = bytes.clone();
        flipped[bit / 8] ^= 1 << (bit % 8);
        let error = Image::new(&flipped).expect_err("another image");
        let named = match bit / 8 {
            0..4 => error == ImageError::Mark,
            4..6 => matches!(error, ImageError::Version(_)),
            12..16 => matches!(error, ImageError::Length { .. }),
            _ => error == ImageError::CheckSum,
        };
        assert!(named, "byte {}: {error}", bit / 8);
    }
    let mut longer = bytes.clone();
    longer.push(0);
    assert!(matches!(Image::new(&longer), Err(ImageError::Length { .. })));
    let mut other = bytes;
    other[24] ^= 1;
    let sum = check_sum(&other).to_le_bytes();
    other[8..12].copy_from_slice(&sum);
    assert_eq!(Image::new(&other).expect_err("another build's"), ImageError::Tables);
}
