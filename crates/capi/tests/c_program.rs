//! The example in C, compiled and run: its frames are the core's, and the header agrees with the library.

use pulsewright_capi::events::{Event as CEvent, EventKind};
use pulsewright_capi::live::{
    STEP_WORDS, StepMemory, pulsewright_hold, pulsewright_next_step, pulsewright_play, pulsewright_step_body,
    pulsewright_step_now, pulsewright_step_resting, pulsewright_step_rhythm, pulsewright_step_set,
};
use pulsewright_capi::{
    Frame, INTERFACE, PLAYER_WORDS, PlayerMemory, Status, pulsewright_electrodes, pulsewright_fill,
    pulsewright_fill_events, pulsewright_pressures, pulsewright_skip, pulsewright_start,
};
use pulsewright_core::frame::Frame as CoreFrame;
use pulsewright_core::heart::catalogue::named;
use pulsewright_core::player::Player;
use pulsewright_core::script::{Item, Ramp, Script, Step};
use pulsewright_core::settings::Field;
use pulsewright_core::time::{FrameRate, Span};
use pulsewright_core::truth::Event;
use pulsewright_files::image::{bytes, c_constant};
use std::fs;
use std::mem::{MaybeUninit, offset_of};
use std::path::{Path, PathBuf};
use std::process::Command;

const HEADER: &str = include_str!("../include/pulsewright.h");

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// The output of a command; its messages are the test's when it fails.
fn run(command: &mut Command) -> String {
    let output = command.output().expect("a program that can be started");
    assert!(output.status.success(), "{command:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("text")
}

fn compiler() -> Command {
    let mut compiler = Command::new("gcc");
    compiler.args(["-std=c11", "-Wall", "-Wextra", "-Werror", "-pedantic", "-O1"]);
    compiler.arg("-I").arg(root().join("crates/capi/include"));
    compiler
}

#[test]
fn the_example_plays_the_frames_of_the_script() {
    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).parent().expect("the target folder").to_owned();
    run(Command::new(env!("CARGO"))
        .args(["build", "--locked", "-q", "-p", "pulsewright-capi", "--target-dir"])
        .arg(&target)
        .current_dir(root()));
    let text = fs::read(root().join("examples/ward-round.json")).expect("the example");
    let document = pulsewright_script::parse(&text, "ward-round.json").expect("a script");
    let items = document.items();
    let script = Script::new(document.seed(), &items).expect("a script");

    let folder = tempfile::tempdir().expect("a folder");
    let image = bytes(&script).expect("an image");
    fs::write(
        folder.path().join("image.h"),
        c_constant(pulsewright_files::image::ImageContent::Script, "ward-round", &image),
    )
    .expect("a file");
    let program = folder.path().join("play");
    run(compiler()
        .arg("-I")
        .arg(folder.path())
        .arg(root().join("examples/c/play.c"))
        .arg(target.join("debug/libpulsewright_capi.a"))
        .arg("-o")
        .arg(&program));
    let frames = 20_003;
    let printed = run(Command::new(&program).args([&frames.to_string(), "--bits"]));

    let mut player = Player::new(&script, FrameRate::lit(500));
    let mut block = vec![CoreFrame::default(); frames];
    assert_eq!(player.fill(&mut block), frames);
    assert_bits(&printed, &block);
    // It shows something: a QRS is about a millivolt.
    assert!(block.iter().any(|frame| frame.leads_mv[1] > 0.5));

    let printed = run(Command::new(&program).args([&frames.to_string(), "--events"]));
    let rate = FrameRate::lit(500);
    let mut player = Player::new(&script, rate);
    let mut expected = Vec::new();
    player.fill_observed(&mut block, &mut |event| match event {
        Event::Beat(beat) => expected.push(format!(
            "{} beat {}, peak at {}",
            rate.frame_at_or_after(beat.onset),
            beat.code.symbol(),
            rate.frame_at_or_after(beat.peak)
        )),
        Event::Pace { at, captures, .. } => {
            let answer = if captures { "" } else { ", no answer" };
            expected.push(format!("{} pacing pulse{answer}", rate.frame_at_or_after(at)));
        }
        _ => {}
    });
    assert!(expected.len() > 20);
    assert_eq!(printed.lines().collect::<Vec<_>>(), expected);
    // A trigger at the peak of a beat lies where lead II has its QRS.
    let peaks = expected.iter().filter_map(|line| line.split("peak at ").nth(1)?.parse::<usize>().ok());
    for peak in peaks.filter(|peak| *peak < block.len()) {
        assert!(block[peak].leads_mv[1].abs() > 0.2, "frame {peak}");
    }
    the_example_leads_the_player(&program, &items);
}

/// What the example plays with `--live`, as one script that was known from the start.
fn the_example_leads_the_player(program: &Path, items: &[Item<'_>]) {
    let (Some(Item::Step(rest)), Some(Item::Step(sits_up)), Some(Item::Step(settles))) =
        (items.first(), items.get(1), items.get(2))
    else {
        panic!("three steps")
    };
    // Halfway through the ramps of "sits up".
    let half = [(Field::BreathsPerMin, 17.0), (Field::ArterialSystolic, 131.0), (Field::ArterialDiastolic, 82.0)];
    let fast = half.iter().fold(rest.settings, |settings, (field, value)| settings.lit(*field, *value));
    let fast = fast.lit(Field::RateBpm, 110.0);
    let whole = |step: &Step<'_>| -> Vec<Ramp> {
        step.ramps.iter().map(|ramp| Ramp { over: ramp.over.or(step.duration), ..*ramp }).collect()
    };
    let (rising, falling) = (whole(sits_up), whole(settles));
    let as_led = [
        Item::Step(*rest),
        Step { duration: Some(Span::secs(10)), ramps: &rising, ..*sits_up }.into(),
        Step::lasting(Span::secs(8), fast).into(),
        Step::lasting(Span::secs(6), fast.with_rhythm(named("ventricular-tachycardia"))).into(),
        Step { duration: Some(Span::secs(26)), ramps: &falling, ..*settles }.into(),
    ];
    let script = Script::new(4, &as_led).expect("a script");
    let mut block = vec![CoreFrame::default(); 40_000];
    assert_eq!(Player::new(&script, FrameRate::lit(500)).fill(&mut block), 40_000);
    let printed = run(Command::new(program).args(["40000", "--live"]));
    assert_bits(&printed, &block);
    // The R-R interval from the samples: 60 / 110 s within what the rate varies.
    let peaks: Vec<usize> = (20_500..24_000)
        .filter(|n| {
            block[*n].leads_mv[1] > 0.5 && (n - 100..n + 100).all(|m| block[m].leads_mv[1] <= block[*n].leads_mv[1])
        })
        .collect();
    let mean = (peaks[peaks.len() - 1] - peaks[0]) as f64 / (peaks.len() - 1) as f64 / 500.0;
    assert!(peaks.len() > 10 && (mean * 110.0 / 60.0 - 1.0).abs() < 0.03, "{} peaks, {mean} s apart", peaks.len());
}

/// Lines of bits are those of the frames.
fn assert_bits(printed: &str, block: &[CoreFrame]) {
    let mut lines = printed.lines();
    for (i, frame) in block.iter().enumerate() {
        let frame = Frame::from(frame);
        let values = frame.leads_mv.iter().chain([&frame.respiration_ohm]).chain(&frame.pressure_mmhg);
        let bits: Vec<String> =
            values.chain(&frame.cuff_mmhg).map(|value| format!("{:08x}", value.to_bits())).collect();
        assert_eq!(lines.next(), Some(bits.join(" ").as_str()), "frame {i}");
    }
    assert_eq!(lines.next(), None);
}

/// Sizes, places and numbers that C takes from the header.
#[test]
fn the_header_declares_what_the_library_has() {
    let statuses = [
        ("OK", Status::Ok),
        ("POINTER", Status::Pointer),
        ("FRAME_RATE", Status::FrameRate),
        ("ITEM", Status::Item),
        ("NOT_AN_IMAGE", Status::NotAnImage),
        ("DAMAGED", Status::Damaged),
        ("OTHER_TABLES", Status::OtherTables),
        ("NO_SCRIPT", Status::NoScript),
        ("NOT_STARTED", Status::NotStarted),
        ("PRESSURES", Status::Pressures),
        ("TOO_LATE", Status::TooLate),
        ("NOT_MADE", Status::NotMade),
        ("WORD", Status::Word),
        ("VALUE", Status::Value),
        ("CONFLICT", Status::Conflict),
        ("OWN", Status::Own),
    ];
    let mut facts: Vec<(String, usize)> =
        statuses.iter().map(|(name, status)| (format!("PULSEWRIGHT_{name}"), *status as usize)).collect();
    let kinds = [
        ("STEP", EventKind::Step),
        ("ATRIAL", EventKind::Atrial),
        ("BEAT", EventKind::Beat),
        ("ATRIAL_PACE", EventKind::AtrialPace),
        ("VENTRICULAR_PACE", EventKind::VentricularPace),
        ("BREATH", EventKind::Breath),
        ("EPISODE_START", EventKind::EpisodeStart),
        ("EPISODE_END", EventKind::EpisodeEnd),
    ];
    facts.extend(kinds.iter().map(|(name, kind)| (format!("PULSEWRIGHT_EVENT_{name}"), *kind as usize)));
    facts.push(("PULSEWRIGHT_INTERFACE".into(), INTERFACE as usize));
    facts.push(("sizeof(pulsewright_event)".into(), size_of::<CEvent>()));
    facts.push(("offsetof(pulsewright_event, peak_frame)".into(), offset_of!(CEvent, peak_frame)));
    facts.push(("offsetof(pulsewright_event, kind)".into(), offset_of!(CEvent, kind)));
    facts.push(("offsetof(pulsewright_event, detail)".into(), offset_of!(CEvent, detail)));
    facts.push(("PULSEWRIGHT_PLAYER_WORDS".into(), PLAYER_WORDS));
    facts.push(("sizeof(pulsewright_player)".into(), size_of::<PlayerMemory>()));
    facts.push(("_Alignof(pulsewright_player)".into(), align_of::<PlayerMemory>()));
    facts.push(("PULSEWRIGHT_STEP_WORDS".into(), STEP_WORDS));
    facts.push(("sizeof(pulsewright_step)".into(), size_of::<StepMemory>()));
    facts.push(("_Alignof(pulsewright_step)".into(), align_of::<StepMemory>()));
    facts.push(("sizeof(pulsewright_frame)".into(), size_of::<Frame>()));
    facts.push(("offsetof(pulsewright_frame, respiration_ohm)".into(), offset_of!(Frame, respiration_ohm)));
    facts.push(("offsetof(pulsewright_frame, pressure_mmhg)".into(), offset_of!(Frame, pressure_mmhg)));
    facts.push(("offsetof(pulsewright_frame, cuff_mmhg)".into(), offset_of!(Frame, cuff_mmhg)));
    let mut text = String::from("#include \"pulsewright.h\"\n");
    for (what, value) in facts {
        text += &format!("_Static_assert({what} == {value}, \"{what}\");\n");
    }
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("layout.c");
    fs::write(&file, text).expect("a file");
    run(compiler().arg("-c").arg(&file).arg("-o").arg(folder.path().join("layout.o")));
    // Every function of the library is declared.
    let sources = [include_str!("../src/lib.rs"), include_str!("../src/live.rs")];
    let functions =
        sources.iter().flat_map(|source| source.lines()).filter_map(|line| line.split_once("extern \"C\" fn "));
    for (_, rest) in functions {
        let name = rest.split('(').next().expect("a name");
        assert!(HEADER.contains(&format!("{name}(")), "{name} is not in the header");
    }
}

#[test]
fn what_cannot_be_played_is_refused() {
    let mut memory = Box::new(MaybeUninit::<PlayerMemory>::zeroed());
    let player = memory.as_mut_ptr();
    let settings = pulsewright_core::settings::Settings::new(
        &pulsewright_core::body::ADULT,
        &pulsewright_core::heart::catalogue::SINUS,
    );
    let step = pulsewright_core::script::Step {
        duration: Some(pulsewright_core::time::Span::secs(1)),
        settings,
        ramps: &[],
        beats: &[],
        series: None,
        recording: None,
        noise: None,
    };
    let items = [pulsewright_core::script::Item::Step(step)];
    let image = bytes(&Script::new(1, &items).expect("a script")).expect("an image").leak();
    let start = |image: &[u8], hz, item| {
        // SAFETY: the memory is this test's; images live to the end of the program where they are accepted.
        unsafe { pulsewright_start(player, image.as_ptr(), image.len(), hz, item) }
    };
    let (whole, part) = (&image[..], &image[..40]);
    assert_eq!(start(part, 500, -1), Status::Damaged);
    assert_eq!(start(b"not one", 500, -1), Status::NotAnImage);
    assert_eq!(start(whole, 1, -1), Status::FrameRate);
    assert_eq!(start(whole, 500, 1), Status::Item);
    // SAFETY: null is refused, whatever else is given.
    unsafe {
        assert_eq!(pulsewright_start(std::ptr::null_mut(), whole.as_ptr(), whole.len(), 500, -1), Status::Pointer);
        assert_eq!(pulsewright_start(player, std::ptr::null(), 5, 500, -1), Status::Pointer);
    }
    assert_eq!(start(whole, 500, 0), Status::Ok);
    let mut frames = vec![Frame::default(); 600];
    // SAFETY: a started player, and room for as many frames.
    unsafe {
        assert_eq!(pulsewright_fill(std::ptr::null_mut(), frames.as_mut_ptr(), 600), 0);
        assert_eq!(pulsewright_fill(player, std::ptr::null_mut(), 600), 0);
        assert_eq!(pulsewright_fill(player, frames.as_mut_ptr(), 600), 500);
    }
}

/// Numbers for memory of any content.
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        self.0 ^ self.0 >> 29
    }
}

/// Memory of any content: no function plays it, none crashes, and none writes to it.
#[test]
fn memory_without_a_player_or_a_step_is_refused() {
    let mut numbers = Numbers(1);
    let mut frames = vec![Frame::default(); 20];
    let mut events = [CEvent { frame: 0, peak_frame: 0, kind: 0, detail: 0 }; 4];
    // What a started player has in its first word, alone: memory of a player that was overwritten from behind.
    let mut real = Box::new(MaybeUninit::<PlayerMemory>::zeroed());
    let image = resting_image();
    // SAFETY: the memory is this test's, the image lives to the end of the program.
    let first = unsafe {
        assert_eq!(pulsewright_start(real.as_mut_ptr(), image.as_ptr(), image.len(), 500, -1), Status::Ok);
        real.as_ptr().cast::<u64>().read()
    };
    for round in 0..4000 {
        let mut words = [0_u64; PLAYER_WORDS];
        for word in &mut words {
            *word = [0, u64::MAX, numbers.next(), numbers.next() >> 32][round % 4];
        }
        if round % 8 == 2 {
            words[0] = first;
        }
        let before = words;
        // Off by a few bytes too.
        let player = (&raw mut words).cast::<u8>().wrapping_add([0, 0, 0, 4, 1][round % 5]).cast::<PlayerMemory>();
        let step = player.cast::<StepMemory>();
        let word = c"rate_bpm".as_ptr();
        // SAFETY: initialised memory of this test's; a player that is not aligned is only compared, never read.
        unsafe {
            assert_eq!(pulsewright_fill(player, frames.as_mut_ptr(), 20), 0);
            let mut happened = 7;
            let filled =
                pulsewright_fill_events(player, frames.as_mut_ptr(), 20, events.as_mut_ptr(), 4, &mut happened);
            assert_eq!((filled, happened), (0, 0));
            assert_eq!(pulsewright_skip(player, 20), 0);
            assert_eq!(pulsewright_pressures(player, 1), Status::NotStarted);
            pulsewright_next_step(player);
            pulsewright_hold(player);
            let mut made = MaybeUninit::<StepMemory>::zeroed();
            assert_eq!(pulsewright_step_now(made.as_mut_ptr(), player), Status::NotStarted);
            assert_eq!(pulsewright_play(player, made.as_ptr()), Status::NotStarted);
            assert_eq!(pulsewright_step_set(step, word, 80.0), Status::NotMade);
            assert_eq!(pulsewright_step_rhythm(step, word), Status::NotMade);
            assert_eq!(pulsewright_step_body(step, word), Status::NotMade);
            // A real player does not take it for a step.
            assert_eq!(pulsewright_play(real.as_mut_ptr(), step), Status::NotMade);
        }
        assert_eq!(words, before);
    }
}

/// An image of a resting adult, for the rest of the program.
fn resting_image() -> &'static [u8] {
    let step = Step::lasting(
        Span::secs(5),
        pulsewright_core::settings::Settings::new(
            &pulsewright_core::body::ADULT,
            &pulsewright_core::heart::catalogue::SINUS,
        ),
    );
    bytes(&Script::new(1, &[step.into()]).expect("a script")).expect("an image").leak()
}

/// Bytes of any content for words, values and images: each is refused or played, and nothing crashes.
#[test]
fn any_words_values_and_images() {
    let mut numbers = Numbers(2);
    let image = resting_image();
    let (mut memory, mut made) = (Box::new(MaybeUninit::<PlayerMemory>::zeroed()), MaybeUninit::<StepMemory>::zeroed());
    let (player, step) = (memory.as_mut_ptr(), made.as_mut_ptr());
    let mut frames = vec![Frame::default(); 20];
    let words = ["rate_bpm", "ecg.gain", "sinus", "asystole", "adult", "neonate", "life", "", "arterial.systolic_mmhg"];
    let mut statuses = std::collections::BTreeMap::new();
    for round in 0..4000 {
        let mut text = words[numbers.next() as usize % words.len()].as_bytes().to_vec();
        if round % 3 == 0 {
            text.resize(numbers.next() as usize % 100, numbers.next() as u8);
        }
        text.push(0);
        let value = match round % 4 {
            0 => f32::from_bits(numbers.next() as u32),
            _ => (numbers.next() % 4000) as f32 * 0.1,
        };
        let mut other = image.to_vec();
        let place = numbers.next() as usize % other.len();
        other[place] ^= numbers.next() as u8;
        let other: &'static [u8] = other.leak();
        let word = text.as_ptr().cast();
        // SAFETY: the memory is this test's, words end with a zero byte, images live to the end of the program; a step is changed
        // only before a player that plays none is started anew.
        unsafe {
            assert_eq!(pulsewright_start(player, image.as_ptr(), image.len(), 500, -1), Status::Ok);
            let made = if round % 2 == 0 { pulsewright_step_now(step, player) } else { pulsewright_step_resting(step) };
            assert_eq!(made, Status::Ok);
            let tried = [
                pulsewright_step_set(step, word, value),
                pulsewright_step_rhythm(step, word),
                pulsewright_step_body(step, word),
                pulsewright_play(player, step),
            ];
            assert_eq!(pulsewright_fill(player, frames.as_mut_ptr(), 20), 20);
            tried.iter().for_each(|status| *statuses.entry(*status as i32).or_insert(0) += 1);
            if pulsewright_start(player, other.as_ptr(), other.len(), 500, -1) == Status::Ok {
                assert_eq!(pulsewright_fill(player, frames.as_mut_ptr(), 20), 20);
            }
        }
        assert!(frames.iter().all(|frame| frame.leads_mv.iter().all(|mv| mv.is_finite())));
    }
    let seen = |status: Status| statuses.get(&(status as i32)).is_some_and(|count| *count > 20);
    assert!([Status::Ok, Status::Word, Status::Value, Status::Conflict].into_iter().all(seen), "{statuses:?}");
}

#[test]
fn pressures_are_chosen_before_the_first_frame() {
    let step = pulsewright_core::Step::lasting(
        pulsewright_core::Span::secs(5),
        pulsewright_core::Settings::new(&pulsewright_core::ADULT, &pulsewright_core::SINUS),
    );
    let items = [pulsewright_core::Item::Step(step)];
    let image = bytes(&Script::new(1, &items).expect("a script")).expect("an image").leak();
    let mut memory = Box::new(MaybeUninit::<PlayerMemory>::zeroed());
    let player = memory.as_mut_ptr();
    let mut frames = vec![Frame::default(); 500];
    // SAFETY: the memory is this test's, the image lives to the end of the program, there is room for as many frames.
    unsafe {
        assert_eq!(pulsewright_start(player, image.as_ptr(), image.len(), 100, -1), Status::Ok);
        assert_eq!(pulsewright_pressures(player, 0x1ff), Status::Pressures);
        assert_eq!(pulsewright_pressures(player, 1 << 10), Status::Pressures);
        assert_eq!(pulsewright_pressures(player, 1 << 3), Status::Ok);
        assert_eq!(pulsewright_fill(player, frames.as_mut_ptr(), 500), 500);
        assert_eq!(pulsewright_pressures(player, 1), Status::TooLate);
        let mut electrodes = [f32::NAN; 9];
        for frame in &frames {
            pulsewright_electrodes(frame, electrodes.as_mut_ptr());
            let [ra, la, ll, v1, ..] = electrodes;
            assert!((la - ra - frame.leads_mv[0]).abs() < 1e-5 && (ll - ra - frame.leads_mv[1]).abs() < 1e-5);
            assert_eq!(v1, frame.leads_mv[6]);
        }
    }
    assert!(frames.iter().all(|frame| frame.pressure_mmhg[0] == 0.0 && frame.pressure_mmhg[3] > 0.0));
}
