//! A strip, measured on the draw list and on the output of the back ends.
use std::error::Error;

use pulsewright_core::{
    body::ADULT,
    frame::{Channel, Lead},
    heart::catalogue,
    script::{Item, Script, Step},
    settings::{Field, Settings},
    time::{FrameRate, Instant, Span},
    truth::Event,
};
use pulsewright_plot::{
    drawing::{Drawing, Pen, Point, Shape, Text},
    excerpt::{Excerpt, ExcerptError},
    png,
    strip::{self, NOTICE, StripError, StripSheet},
    svg,
};

const RATE: FrameRate = FrameRate::lit(1000);

fn excerpt(seconds: u32, from_s: u32) -> Result<Excerpt, Box<dyn Error>> {
    let sinus = Settings::new(&ADULT, &catalogue::SINUS).lit(Field::RateBpm, 60.0);
    let faster = sinus.lit(Field::RateBpm, 90.0);
    let items = [Item::Step(Step::lasting(Span::secs(12), sinus)), Item::Step(Step::lasting(Span::secs(88), faster))];
    let script = Script::new(1, &items)?;
    Ok(Excerpt::play(&script, RATE, Instant::ZERO.plus(Span::secs(from_s)), Span::secs(seconds))?)
}

fn lines(drawing: &Drawing, pen: Pen) -> Vec<Vec<Point>> {
    let of_pen = |shape: &Shape| match shape {
        Shape::Strokes(strokes) if strokes.pen == pen => Some(strokes.lines.clone()),
        _ => None,
    };
    drawing.shapes.iter().filter_map(of_pen).flatten().collect()
}

fn texts(drawing: &Drawing) -> Vec<&Text> {
    drawing.shapes.iter().filter_map(as_text).collect()
}

fn as_text(item: &Shape) -> Option<&Text> {
    if let Shape::Text(text) = item { Some(text) } else { None }
}

fn close(a: f64, b: f64, tolerance: f64) -> bool {
    (a - b).abs() <= tolerance
}

#[test]
fn paper_calibration_and_trace_share_true_millimetres() -> Result<(), Box<dyn Error>> {
    let excerpt = excerpt(4, 2)?;
    let sheet = StripSheet { lines: strip::lines(["II"])?, ..StripSheet::usual() };
    let drawing = strip::draw(&excerpt, &sheet)?;
    // The calibration mark is 10 mm high and 5 mm (200 ms) long.
    let mark = &lines(&drawing, Pen::Calibration)[0];
    assert!(close(mark[1].y_mm - mark[2].y_mm, 10.0, 1e-9) && close(mark[3].x_mm - mark[2].x_mm, 5.0, 1e-9));
    // Vertical lines of the grid are a millimetre apart, every fifth is heavy.
    let mut columns: Vec<f64> = [Pen::FineGrid, Pen::CoarseGrid]
        .into_iter()
        .flat_map(|pen| lines(&drawing, pen))
        .filter(|line| line[0].x_mm == line[1].x_mm)
        .map(|line| line[0].x_mm)
        .collect();
    columns.sort_by(f64::total_cmp);
    assert!(columns.windows(2).all(|pair| close(pair[1] - pair[0], 1.0, 1e-9)));
    // The R peak lies where truth says, as high as the frame says.
    let frames = &excerpt.frames;
    let highest = (0..1000).max_by(|&a, &b| frames[a].lead_mv(Lead::II).total_cmp(&frames[b].lead_mv(Lead::II)));
    let highest = highest.ok_or("no frames")?;
    let trace = &lines(&drawing, Pen::Trace)[0];
    let x = mark[5].x_mm + highest as f64 * 0.025;
    let peak = trace.iter().filter(|p| close(p.x_mm, x, 0.5)).map(|p| p.y_mm).fold(f64::MAX, f64::min);
    let height_mm = mark[0].y_mm - peak;
    assert!(close(height_mm, 10.0 * f64::from(frames[highest].lead_mv(Lead::II)), 0.03), "{height_mm}");
    Ok(())
}

#[test]
fn codes_stand_over_the_peaks_of_the_truth() -> Result<(), Box<dyn Error>> {
    let excerpt = excerpt(8, 2)?;
    let drawing = strip::draw(&excerpt, &StripSheet::usual())?;
    let start = lines(&drawing, Pen::Calibration)[0][5].x_mm;
    let codes: Vec<f64> = texts(&drawing).iter().filter(|t| t.words == "N").map(|t| t.at.x_mm).collect();
    let peaks: Vec<f64> = excerpt
        .events
        .iter()
        .filter_map(|event| if let Event::Beat(beat) = event { Some(excerpt.seconds_to(beat.peak)) } else { None })
        .filter(|at_s| (0.0..8.0).contains(at_s))
        .map(|at_s| start + 25.0 * at_s)
        .collect();
    assert_eq!((codes.len(), peaks.len()), (8, 8));
    assert!(codes.iter().zip(&peaks).all(|(code, peak)| close(*code, *peak, 0.01)));
    let plain = strip::draw(&excerpt, &StripSheet { codes: false, ..StripSheet::usual() })?;
    assert!(!texts(&plain).iter().any(|t| t.words == "N" || t.words == "p"));
    Ok(())
}

#[test]
fn long_strips_wrap_and_every_row_carries_the_notice_and_its_step() -> Result<(), Box<dyn Error>> {
    let drawing = strip::draw(&excerpt(25, 0)?, &StripSheet::usual())?;
    let words: Vec<&str> = texts(&drawing).iter().map(|t| t.words.as_str()).collect();
    let count = |wanted: &str| words.iter().filter(|word| **word == wanted).count();
    assert_eq!(count(NOTICE), 3);
    assert_eq!((count("1 mV"), count("200 ms"), count("II")), (6, 6, 3));
    // The first step is named in rows 1 and 2, the second, which starts at 12 s, in rows 2 and 3.
    assert_eq!(count("Sinus rhythm, adult, 90 bpm"), 2);
    assert_eq!(lines(&drawing, Pen::Step).len(), 1);
    assert!(words.contains(&"24 s") && !words.contains(&"25 s"));
    let traces = lines(&drawing, Pen::Trace);
    assert_eq!(traces.len(), 12);
    let reach = |line: &Vec<Point>| line[line.len() - 1].x_mm - line[0].x_mm;
    assert!(close(reach(&traces[0]), 250.0, 0.01) && close(reach(&traces[11]), 125.0, 0.05));
    Ok(())
}

#[test]
fn twelve_leads_stand_in_four_columns_over_a_rhythm_strip() -> Result<(), Box<dyn Error>> {
    let sheet = StripSheet { lines: strip::lines(["respiration", "12-lead", "arterial"])?, ..StripSheet::usual() };
    let kinds: Vec<Channel> = sheet.lines.iter().filter_map(|line| line.parts.first().copied()).collect();
    assert_eq!(kinds[0], Channel::Lead(Lead::I));
    assert_eq!(&kinds[4..], [Channel::find("arterial"), Channel::find("respiration")].map(|c| c.expect("a channel")));
    let drawing = strip::draw(&excerpt(10, 0)?, &sheet)?;
    let words: Vec<&Text> = texts(&drawing);
    for channel in Channel::ALL.iter().filter(|channel| matches!(channel, Channel::Lead(_))) {
        assert!(words.iter().any(|text| text.words == channel.id() && text.bold), "{}", channel.id());
    }
    let x = |lead: &str| words.iter().find(|text| text.words == lead).map_or(f64::NAN, |text| text.at.x_mm);
    assert!(close(x("V4") - x("V1"), 62.5, 0.01) && close(x("V1") - x("aVR"), 62.5, 0.01));
    Ok(())
}

#[test]
fn svg_is_text_in_millimetres_with_title_and_description() -> Result<(), Box<dyn Error>> {
    let mut excerpt = excerpt(8, 0)?;
    excerpt.labels[0] = "rest <&> \"quiet\"".into();
    let drawing = strip::draw(&excerpt, &StripSheet::usual())?;
    let text = svg::write(&drawing);
    assert!(text.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"242mm\""), "{}", &text[..120]);
    assert!(
        text.contains("viewBox=\"0 0 242 ")
            && text.contains("<title id=\"title\">rest &lt;&amp;&gt; &quot;quiet&quot;")
    );
    assert!(text.contains("<desc id=\"desc\">") && text.contains("8 normal") && text.contains(NOTICE));
    assert_eq!(text.matches("<text").count(), texts(&drawing).len());
    assert_eq!(text, svg::write(&strip::draw(&excerpt, &StripSheet::usual())?));
    let picture = png::encode(&drawing, 100)?;
    // Width of the header chunk: 242 mm at 100 dpi.
    assert_eq!(&picture[16..20], 953_u32.to_be_bytes());
    Ok(())
}

#[test]
fn impossible_sheets_are_refused() -> Result<(), Box<dyn Error>> {
    let sinus = Settings::new(&ADULT, &catalogue::SINUS);
    let items = [Item::Step(Step::lasting(Span::secs(5), sinus))];
    let script = Script::new(1, &items)?;
    let play = |from_s, length| Excerpt::play(&script, RATE, Instant::ZERO.plus(Span::secs(from_s)), length);
    assert!(matches!(play(5, Span::secs(1)), Err(ExcerptError::AfterEnd { .. })));
    assert!(matches!(play(0, Span::secs(601)), Err(ExcerptError::Length { .. })));
    assert!(matches!(play(0, Span::ZERO), Err(ExcerptError::Length { .. })));
    assert_eq!(play(4, Span::secs(8))?.frames.len(), 1000);
    let excerpt = play(0, Span::secs(5))?;
    for (mm_per_s, mm_per_mv, row_s) in [(0.0, 10.0, 10.0), (25.0, f64::NAN, 10.0), (25.0, 10.0, 1e9)] {
        let sheet = StripSheet { mm_per_s, mm_per_mv, row_s, ..StripSheet::usual() };
        assert!(matches!(strip::draw(&excerpt, &sheet), Err(StripError::Scale { .. })));
    }
    let bare = StripSheet { lines: Vec::new(), ..StripSheet::usual() };
    assert_eq!(strip::draw(&excerpt, &bare), Err(StripError::NoChannels));
    assert!(matches!(strip::lines(["II", "VX"]), Err(StripError::UnknownChannel(word)) if word == "VX"));
    Ok(())
}

#[test]
fn pacing_pulses_are_drawn_from_the_truth_and_not_from_the_samples() -> Result<(), Box<dyn Error>> {
    let settings = Settings::new(&ADULT, &catalogue::PACED_DDD).lit(Field::PacingMv, 40.0);
    let items = [Item::Step(Step::hold(settings))];
    let script = Script::new(1, &items)?;
    let excerpt = Excerpt::play(&script, FrameRate::lit(10_000), Instant::ZERO, Span::secs(4))?;
    let tallest = excerpt.frames.iter().map(|frame| frame.lead_mv(Lead::II).abs()).fold(0.0, f32::max);
    assert!(tallest > 5.0, "the samples hold the pulses: {tallest} mV");
    let sheet = StripSheet { lines: strip::lines(["II"])?, ..StripSheet::usual() };
    let drawing = strip::draw(&excerpt, &sheet)?;
    let mut heights = lines(&drawing, Pen::Trace).into_iter().flatten().map(|p| p.y_mm).collect::<Vec<_>>();
    heights.sort_by(f64::total_cmp);
    let reach = heights[heights.len() - 1] - heights[0];
    assert!(reach < 30.0, "the trace holds none: {reach} mm");
    let pulses = excerpt.events.iter().filter(|event| matches!(event, Event::Pace { .. })).count();
    assert_eq!(lines(&drawing, Pen::Pacing).len(), pulses);
    assert!(pulses >= 8);
    Ok(())
}

/// Largest x and y of everything drawn.
fn extent(drawing: &Drawing) -> (f64, f64) {
    let points = drawing.shapes.iter().flat_map(|item| match item {
        Shape::Strokes(strokes) => strokes.lines.iter().flatten().copied().collect::<Vec<_>>(),
        Shape::Text(text) => vec![text.at],
    });
    points.fold((0.0, 0.0), |(x, y): (f64, f64), point| (x.max(point.x_mm), y.max(point.y_mm)))
}

#[test]
fn a_page_fits_a4_and_letter_and_keeps_true_scale() -> Result<(), Box<dyn Error>> {
    let row_s = StripSheet::longest_row_on_page_s(25.0);
    let sheet = StripSheet { lines: strip::lines(["12-lead"])?, row_s, page: true, ..StripSheet::usual() };
    let drawing = strip::draw(&excerpt(8, 0)?, &sheet)?;
    // ISO 216 and ANSI/ASME Y14.1, on their side, with 10 mm around.
    for [width_mm, height_mm] in [[297.0, 210.0], [279.4, 215.9]] {
        assert!(drawing.width_mm <= width_mm - 20.0 && drawing.height_mm <= height_mm - 20.0);
    }
    let (x, y) = extent(&drawing);
    assert!(x <= drawing.width_mm && y <= drawing.height_mm, "{x} {y}");
    assert!(svg::write(&drawing).contains("width=\"259mm\" height=\"190mm\""));
    let mark = &lines(&drawing, Pen::Calibration)[0];
    assert!(close(mark[1].y_mm - mark[2].y_mm, 10.0, 1e-9));
    let tall = strip::draw(&excerpt(60, 0)?, &sheet);
    assert!(matches!(tall, Err(StripError::Page { height_mm, .. }) if height_mm > 190.0));
    let wide = StripSheet { row_s: 10.0, ..sheet };
    assert!(matches!(strip::draw(&excerpt(10, 0)?, &wide), Err(StripError::Page { width_mm, .. }) if width_mm > 259.0));
    Ok(())
}

#[test]
fn seed_settings_and_intervals_are_printed() -> Result<(), Box<dyn Error>> {
    let settings = Settings::new(&ADULT, &catalogue::SINUS)
        .lit(Field::RateBpm, 60.0)
        .lit(Field::PrMs, 200.0)
        .lit(Field::QtcMs, 420.0)
        .lit(Field::Life, 0.0);
    let items = [Item::Step(Step::lasting(Span::secs(10), settings))];
    let excerpt = Excerpt::play(&Script::new(41, &items)?, RATE, Instant::ZERO, Span::secs(10))?;
    let drawing = strip::draw(&excerpt, &StripSheet::usual())?;
    let words: Vec<&str> = texts(&drawing).iter().map(|text| text.words.as_str()).collect();
    assert!(words.iter().any(|words| words.starts_with("seed 41") && words.contains("ecg.pr_ms 200")), "{words:?}");
    let intervals = "RR 1000  PR 200  QRS 92  QT 420  QTc 420 ms";
    assert!(words.iter().any(|words| words.contains(intervals)), "{words:?}");
    Ok(())
}

/// A PR interval belongs to a P wave that brings its QRS: none in flutter or fibrillation, beside ventricles that beat by themselves, or
/// where a few beats alone are captured.
#[test]
fn pr_is_printed_where_a_p_wave_brings_the_beat() -> Result<(), Box<dyn Error>> {
    let without = "asystole atrial-fibrillation atrial-fibrillation-complete-block atrial-flutter atrial-flutter-varying \
                   av-block-3-junctional av-block-3-ventricular idioventricular-accelerated paced-vvi torsades \
                   ventricular-fibrillation ventricular-tachycardia";
    let with = "atrial-premature av-block-1 av-block-2-type-2 junctional-escape paced-aai sinus ventricular-bigeminy";
    for (rhythms, expected) in [(without, false), (with, true)] {
        for rhythm in rhythms.split_whitespace() {
            let rhythm = catalogue::RHYTHMS.iter().find(|known| known.id == rhythm).ok_or(rhythm)?;
            let items = [Item::Step(Step::lasting(Span::secs(10), Settings::new(&ADULT, rhythm)))];
            let excerpt = Excerpt::play(&Script::new(3, &items)?, RATE, Instant::ZERO, Span::secs(10))?;
            let drawing = strip::draw(&excerpt, &StripSheet::usual())?;
            let printed = texts(&drawing).iter().any(|text| text.words.contains("  PR "));
            assert_eq!(printed, expected, "{}", rhythm.id);
        }
    }
    Ok(())
}

#[test]
fn pacing_marks_point_as_the_pulse_does_in_each_lead() -> Result<(), Box<dyn Error>> {
    for (amplitude_mv, up) in [(4.0, true), (-4.0, false)] {
        let settings = Settings::new(&ADULT, &catalogue::PACED_VVI).lit(Field::PacingMv, amplitude_mv);
        let items = [Item::Step(Step::hold(settings))];
        let excerpt = Excerpt::play(&Script::new(1, &items)?, RATE, Instant::ZERO, Span::secs(4))?;
        for (lead, follows) in [("II", true), ("aVR", false)] {
            let drawing = strip::draw(&excerpt, &StripSheet { lines: strip::lines([lead])?, ..StripSheet::usual() })?;
            let bars = lines(&drawing, Pen::Pacing);
            assert!(bars.len() >= 4);
            // Downwards on paper is larger.
            assert!(bars.iter().all(|bar| (bar[1].y_mm < bar[0].y_mm) == (up == follows)), "{lead} {amplitude_mv}");
        }
    }
    Ok(())
}

#[test]
fn names_of_leads_lie_clear_of_every_trace() -> Result<(), Box<dyn Error>> {
    let settings = Settings::new(&ADULT, &catalogue::SINUS).lit(Field::EcgGain, 3.0);
    let items = [Item::Step(Step::hold(settings))];
    let excerpt = Excerpt::play(&Script::new(1, &items)?, RATE, Instant::ZERO, Span::secs(8))?;
    let sheet = StripSheet { lines: strip::lines(["12-lead"])?, row_s: 8.0, ..StripSheet::usual() };
    let drawing = strip::draw(&excerpt, &sheet)?;
    let points: Vec<Point> = lines(&drawing, Pen::Trace).into_iter().flatten().collect();
    let is_name = |text: &&Text| text.bold && Channel::find(&text.words).is_some();
    let names: Vec<&Text> = texts(&drawing).into_iter().filter(is_name).collect();
    assert!(names.len() >= 12, "{}", names.len());
    for name in names {
        let on_name = |point: &&Point| {
            (name.at.x_mm..name.at.x_mm + 8.0).contains(&point.x_mm)
                && (name.at.y_mm - 3.2..name.at.y_mm).contains(&point.y_mm)
        };
        assert_eq!(points.iter().filter(on_name).count(), 0, "{}", name.words);
    }
    Ok(())
}
