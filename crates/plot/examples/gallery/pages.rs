//! The pages of the gallery: one strip a rhythm and body, and the table of rhythms.

use std::collections::BTreeMap;
use std::error::Error;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use pulsewright_core::{
    body::{ADULT, BODIES, Body},
    heart::{catalogue::RHYTHMS, rhythm::Rhythm},
    player::Player,
    script::{Item, Script, Step},
    settings::Settings,
    time::{FrameRate, Instant, Span},
    truth::{BeatCode, Event},
};
use pulsewright_plot::{drawing::Drawing, excerpt::Excerpt, strip, strip::StripSheet, svg};
use pulsewright_script::catalogue_text;

/// Seconds of a strip.
const SECONDS: u32 = 8;
/// Where the search for the best strip ends, s.
const SEARCHED: u32 = 90;
const RATE: FrameRate = FrameRate::lit(1000);
const SEED: u64 = 1;

/// The folder of the documentation.
pub fn docs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs")
}

/// Name and SVG of every strip.
pub fn strips() -> Result<Vec<(String, String)>, Box<dyn Error>> {
    Ok(drawings("")?.into_iter().map(|(name, drawing)| (format!("{name}.svg"), svg::write(&drawing))).collect())
}

/// Name and drawing of the strips of rhythms whose word contains `word`.
pub fn drawings(word: &str) -> Result<Vec<(String, Drawing)>, Box<dyn Error>> {
    let mut all = Vec::new();
    for rhythm in RHYTHMS.iter().filter(|rhythm| rhythm.id.contains(word)) {
        for body in BODIES {
            all.push((file_stem(rhythm, body), drawing(rhythm, body)?));
        }
    }
    Ok(all)
}

fn file_stem(rhythm: &Rhythm, body: &Body) -> String {
    format!("{}-{}", rhythm.id, body.id)
}

fn drawing(rhythm: &'static Rhythm, body: &'static Body) -> Result<Drawing, Box<dyn Error>> {
    let settings = Settings::new(body, rhythm);
    let items = [Item::Step(Step::hold(settings))];
    let script = Script::new(SEED, &items)?;
    let from = telling_start(&script);
    let excerpt = Excerpt::play(&script, RATE, from, Span::secs(SECONDS))?;
    let sheet = StripSheet { lines: strip::lines(["II", "V1", "arterial"])?, ..StripSheet::usual() };
    Ok(strip::draw(&excerpt, &sheet)?)
}

/// The whole second, from 4 s on, at which a strip shows the most kinds of beat, then two unusual ones, then the longest
/// pause: a strip of rare premature beats shows one.
fn telling_start(script: &Script<'_>) -> Instant {
    let mut beats: Vec<(f64, BeatCode)> = Vec::new();
    let mut player = Player::new(script, RATE);
    player.skip_observed(u64::from(SEARCHED * RATE.as_hz()), &mut |event: Event| {
        if let Event::Beat(beat) = event {
            beats.push((beat.peak.as_secs_f64(), beat.code));
        }
    });
    let score = |start: u32| {
        // A second of room on either side, so that the special beat stands inside the strip.
        let (low, high) = (f64::from(start) + 1.0, f64::from(start + SECONDS) - 1.0);
        let inside: Vec<&(f64, BeatCode)> = beats.iter().filter(|(at_s, _)| (low..high).contains(at_s)).collect();
        let mut kinds: BTreeMap<char, usize> = BTreeMap::new();
        for (_, code) in &inside {
            *kinds.entry(code.symbol()).or_default() += 1;
        }
        // Beats other than the usual ones, up to the two that show that their shapes differ.
        let unusual = inside.len() - kinds.values().max().copied().unwrap_or(0);
        let pause = inside.windows(2).map(|pair| pair[1].0 - pair[0].0).fold(0.0, f64::max);
        // Pauses to a fifth of a second: healthy variability does not move the strip.
        (kinds.len(), unusual.min(2), (pause * 5.0) as u32)
    };
    let mut best = (4, score(4));
    for start in 5..SEARCHED - SECONDS {
        let found = score(start);
        if found > best.1 {
            best = (start, found);
        }
    }
    Instant::ZERO.plus(Span::secs(best.0))
}

/// A rate rounded to tenths, without a needless nought.
fn tenths(rate_bpm: f32) -> f32 {
    (rate_bpm * 10.0).round() / 10.0
}

/// `docs/rhythms.md`.
pub fn table() -> String {
    let mut page = String::from(
        "# Rhythms\n\n\
         Every rhythm that a script can name, drawn from the signal itself: leads II and V1 on paper of 25 mm/s and \
         10 mm/mV, arterial pressure below.\n\
         Letters over the beats are the truth's annotation codes; a small p stands at each P onset.\n\
         The alarm is the priority (IEC 60601-1-8 names) that a monitor with usual settings is expected to give; what \
         your monitor must do is in its manufacturer's manual.\n\n\
         These signals are for test benches: never to a person, nor to equipment connected to one.\n\n\
         This page and its strips are generated: `cargo run -p pulsewright-plot --example gallery`.\n\n\
         | rhythm | word in scripts | usual bpm | allowed bpm | alarm | criteria | source |\n\
         |---|---|---|---|---|---|---|\n",
    );
    for rhythm in RHYTHMS {
        let (min, max) = rhythm.allowed_bpm(ADULT.resting_bpm, rhythm.usual_ratio());
        let (usual, allowed) = if rhythm.beats() {
            let usual: Vec<String> = BODIES
                .iter()
                .map(|body| {
                    format!("{} {}", body.id, tenths(rhythm.usual_rate(body.resting_bpm, rhythm.usual_ratio())))
                })
                .collect();
            (usual.join(", "), format!("{} to {}", tenths(min), tenths(max)))
        } else {
            ("-".into(), "-".into())
        };
        let text = catalogue_text::find(rhythm.id);
        let _ = writeln!(
            page,
            "| [{}](#{}) | `{}` | {usual} | {allowed} | {} | {} | {} |",
            rhythm.name,
            rhythm.id,
            rhythm.id,
            rhythm.alarm.id(),
            text.map_or("", |text| text.criteria),
            text.map_or("", |text| text.source),
        );
    }
    for rhythm in RHYTHMS {
        // An anchor of our own: a heading's generated one would follow the name, not the word.
        let _ = write!(page, "\n<a id=\"{}\"></a>\n\n## {}\n", rhythm.id, rhythm.name);
        for body in BODIES {
            let stem = file_stem(rhythm, body);
            let _ = write!(page, "\n![{}, {}](strips/{stem}.svg)\n", rhythm.name, body.name.to_lowercase());
        }
    }
    page
}
