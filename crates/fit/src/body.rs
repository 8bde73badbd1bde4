//! The beats of a recording, kind by kind, as a body's document.

use crate::average::{Average, average, median};
use crate::beats::Beat;
use crate::fiducials::{self, Fiducials};
use crate::leads::{self, View};
use crate::recording::Recording;
use crate::waves::{self, Found, Sought};
use nalgebra::DMatrix;
use pulsewright_core::frame::Lead;
use pulsewright_core::internal::ecg::Wave;
use pulsewright_core::settings::Field;
use pulsewright_script::bodies::edges;
use serde_json::{Map, Value, json};

/// Least beats of a kind.
const LEAST: usize = 3;
/// The fit sees the average at no more than this rate, samples a second.
const FITTED_HZ: f64 = 500.0;
/// Flanks of the waves of the QRS that a search begins with, share of its duration; the best of the ends is taken.
const QRS_FLANKS: [f64; 3] = [0.1, 0.18, 0.3];
/// Weight of the samples of the QRS, which is short.
const QRS_WEIGHT: f64 = 4.0;
const P_WAVES: usize = 3;
const QRS_WAVES: usize = 8;

/// Why nothing can be fitted.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FitError {
    /// Too few beats.
    #[error("{found} beats of the normal kind that look alike; at least {LEAST} are needed")]
    Beats {
        /// How many there are.
        found: usize,
    },
    /// The search ended without waves.
    #[error("no waves come near to the average beat of the kind \"{kind}\"")]
    Waves {
        /// The kind of beat.
        kind: &'static str,
    },
    /// An interval of the average that a body can't have.
    #[error("the average beat has {field} {value:.0}; a body has {min} to {max}")]
    Interval {
        /// The setting.
        field: &'static str,
        /// As found.
        value: f64,
        /// Least.
        min: f32,
        /// Most.
        max: f32,
    },
}

/// What is left over in a lead.
#[derive(Clone, Debug)]
pub struct LeftOver {
    /// The lead.
    pub lead: Lead,
    /// Root mean square of the average less the waves, mV.
    pub rms_mv: f64,
    /// Correlation of the waves with the average.
    pub correlation: f64,
    /// Height of the average's largest deflection, mV, and that of the waves.
    pub largest_mv: [f64; 2],
    /// Standard deviation of the beats about their average, mV.
    pub spread_mv: f64,
}

/// A kind of beat that was fitted, or why not.
#[derive(Clone, Debug)]
pub struct Kind {
    /// Word of the pathway.
    pub pathway: &'static str,
    /// Beats averaged.
    pub used: usize,
    /// Beats left out: unlike the average, or at an end of the recording.
    pub left_out: usize,
    /// What is left over, lead by lead; empty of a kind with too few beats.
    pub left_over: Vec<LeftOver>,
}

/// A fitted body.
#[derive(Clone, Debug)]
pub struct Fit {
    /// The document.
    pub document: Value,
    /// Its kinds of beats.
    pub kinds: Vec<Kind>,
}

/// The pathway of a beat's code; `None` of kinds that a body has no shape for.
fn pathway(code: char) -> Option<&'static str> {
    match code {
        'N' | 'A' | 'J' | 'S' | 'e' | 'j' | 'n' => Some("normal"),
        'L' => Some("left-bundle-blocked"),
        'R' => Some("right-bundle-blocked"),
        'V' | 'r' => Some("left-ventricle"),
        'E' => Some("escape"),
        '/' => Some("paced"),
        _ => None,
    }
}

/// The shapes found in an average.
struct Shapes {
    qrs: Vec<Wave>,
    qrs_ms: f64,
    t: [Wave; 3],
    qt_ms: f64,
    p: Vec<Wave>,
    pr_ms: f64,
}

/// Fits a body that extends the one with the word `extends`.
///
/// # Errors
/// Too few normal beats, or an average that no body can have.
pub fn fit(recording: &Recording, beats: &[Beat], name: &str, extends: &str) -> Result<Fit, FitError> {
    let all: Vec<usize> = beats.iter().map(|beat| beat.at).collect();
    let places = |word: &str| -> Vec<usize> {
        let of_kind = |(_, beat): &(usize, &Beat)| pathway(beat.code) == Some(word);
        beats.iter().enumerate().filter(of_kind).map(|(place, _)| place).collect()
    };
    // The usual beat of a person with a block is that of the block, and plays in rhythms of normal beats too.
    let usual = ["normal", "left-bundle-blocked", "right-bundle-blocked", "paced"];
    let usual = usual.into_iter().max_by_key(|word| (places(word).len(), *word == "normal")).unwrap_or("normal");
    let average_of = |word: &str| average(recording, &all, &places(word), LEAST);
    let average = average_of(usual).ok_or(FitError::Beats { found: places(usual).len() })?;
    let (shapes, left_over) = fitted(recording, &average).ok_or(FitError::Waves { kind: usual })?;
    let mut kinds =
        vec![Kind { pathway: usual, used: average.used, left_out: places(usual).len() - average.used, left_over }];
    let mut complexes = Map::new();
    complexes.insert("normal".into(), complex(&shapes));
    if usual != "normal" {
        complexes.insert(usual.into(), complex(&shapes));
    }
    let others = ["normal", "left-bundle-blocked", "right-bundle-blocked", "left-ventricle", "escape", "paced"];
    for word in others.into_iter().filter(|word| *word != usual && !places(word).is_empty()) {
        let found = average_of(word).and_then(|average| Some((fitted(recording, &average)?, average)));
        match found {
            Some(((other, left_over), average)) => {
                kinds.push(Kind {
                    pathway: word,
                    used: average.used,
                    left_out: places(word).len() - average.used,
                    left_over,
                });
                complexes.insert(word.into(), complex(&other));
            }
            None => kinds.push(Kind { pathway: word, used: 0, left_out: places(word).len(), left_over: vec![] }),
        }
    }
    let intervals: Vec<f64> =
        all.windows(2).filter_map(|pair| Some((pair.get(1)? - pair.first()?) as f64 / recording.hz)).collect();
    let interval_s = median(intervals).unwrap_or(average.interval_s);
    let qtc_ms = shapes.qt_ms / average.interval_s.clamp(0.17, 1.6).cbrt();
    let setting = |field: Field, value: f64| {
        let info = field.info();
        let (min, max) = (info.min, info.max);
        let good = (f64::from(min)..=f64::from(max)).contains(&value);
        if good { Ok(rounded(value, 10.0)) } else { Err(FitError::Interval { field: info.path, value, min, max }) }
    };
    let document = json!({
        "version": 1,
        "extends": extends,
        "name": name,
        "resting_bpm": rounded((60.0 / interval_s).clamp(30.0, 220.0), 10.0),
        "settings": {"ecg": {
            "pr_ms": setting(Field::PrMs, shapes.pr_ms)?,
            "qrs_ms": setting(Field::QrsMs, shapes.qrs_ms)?,
            "qtc_ms": setting(Field::QtcMs, qtc_ms)?
        }},
        "complexes": complexes,
        "p_waves": {"sinus-node": waves_json(&shapes.p)}
    });
    Ok(Fit { document, kinds })
}

fn rounded(value: f64, parts: f64) -> f64 {
    (value * parts).round() / parts
}

/// Waves of an average, and what is left over.
fn fitted(recording: &Recording, average: &Average) -> Option<(Shapes, Vec<LeftOver>)> {
    let leads: Vec<Lead> = recording.leads.iter().map(|signal| signal.lead).collect();
    let view = View::of(&leads)?;
    let count = average.leads.first().map_or(0, Vec::len);
    let recorded = DMatrix::from_fn(leads.len(), count, |lead, sample| average.leads[lead][sample]);
    let seen = &view.to_seen * recorded;
    let vector = &view.to_vector * &seen;
    let vector: Vec<[f64; 3]> = vector.column_iter().map(|at| [at[0], at[1], at[2]]).collect();
    let places = fiducials::find(&vector, average.r, average.hz);
    let step = ((average.hz / FITTED_HZ).round() as usize).max(1);
    let ms = |sample: usize| 1000.0 * sample as f64 / average.hz;
    let times: Vec<f64> = (0..count).step_by(step).map(ms).collect();
    let target = DMatrix::from_fn(times.len(), seen.nrows(), |row, direction| seen[(direction, step * row)]);
    let qrs = ms(places.qrs_onset)..ms(places.qrs_end);
    let weights: Vec<f64> = times.iter().map(|t| if qrs.contains(t) { QRS_WEIGHT } else { 1.0 }).collect();
    let tries = QRS_FLANKS.into_iter().filter_map(|flank| {
        let sought = sought(&places, flank, ms, ms(count));
        waves::find(&times, &target, &weights, &sought)
    });
    let (found, _) = tries.min_by(|a, b| a.1.total_cmp(&b.1))?;
    let onset_ms = ms(places.qrs_onset) - LEAD_IN_MS;
    let shapes = shapes(&found, &view, onset_ms)?;
    let left_over = left_over(&found, &view, average, &leads, ms);
    Some((shapes, left_over))
}

/// A wave of the QRS ends so long after its visible end at most, ms.
const AFTER_QRS_MS: f64 = 12.0;
/// A template starts so long before its visible onset, ms.
const LEAD_IN_MS: f64 = 6.0;

/// Waves to look for: P, QRS, then T, the ST segment's wave and the tail.
fn sought(places: &Fiducials, qrs_flank: f64, ms: impl Fn(usize) -> f64, end_ms: f64) -> Vec<Sought> {
    let (onset, qrs_end) = (ms(places.qrs_onset) - LEAD_IN_MS, ms(places.qrs_end));
    let (p_top, t_top) = (ms(places.p_top), ms(places.t_top));
    let width = (qrs_end - onset).max(30.0);
    let mut sought = Vec::new();
    for i in 0..P_WAVES {
        let first = p_top - 60.0 + 25.0 * i as f64;
        let start = [(p_top - 110.0).max(0.0), first.max(1.0), (p_top + 20.0).max(2.0)];
        sought.push(Sought { start, rise: [12.0, 40.0, 110.0], fall: [12.0, 45.0, 140.0], latest: f64::INFINITY });
    }
    for i in 0..QRS_WAVES {
        let first = onset + (i as f64 + 0.3) * (0.8 * width) / QRS_WAVES as f64;
        let flank = qrs_flank * width;
        sought.push(Sought {
            start: [onset, first, qrs_end - 6.0],
            latest: qrs_end + AFTER_QRS_MS,
            rise: [4.0, flank, 0.7 * width],
            fall: [4.0, flank, 0.8 * width],
        });
    }
    let t_rise = (t_top - qrs_end - 10.0).clamp(60.0, 250.0);
    sought.push(Sought {
        start: [onset, t_top - t_rise, t_top - 20.0],
        rise: [30.0, t_rise, 350.0],
        fall: [30.0, 100.0, 300.0],
        latest: f64::INFINITY,
    });
    sought.push(Sought {
        start: [onset, qrs_end - 20.0, t_top],
        rise: [20.0, 120.0, 300.0],
        fall: [20.0, 180.0, 400.0],
        latest: f64::INFINITY,
    });
    let last = (t_top + 200.0).min(end_ms);
    sought.push(Sought {
        start: [t_top - 80.0, t_top.min(last - 5.0), last],
        rise: [15.0, 80.0, 250.0],
        fall: [20.0, 120.0, 300.0],
        latest: f64::INFINITY,
    });
    sought
}

/// A wave's peak on X, Y and Z, mV.
fn vector_of(found: &Found, view: &View) -> [f64; 3] {
    let axis =
        |axis: usize| found.size.iter().enumerate().map(|(place, size)| view.to_vector[(axis, place)] * size).sum();
    [axis(0), axis(1), axis(2)]
}

/// A wave as a document has it, counted from `from_ms`.
fn wave(found: &Found, view: &View, from_ms: f64) -> Wave {
    let tenths = |ms: f64| rounded(ms, 10.0) as f32;
    Wave {
        at_ms: tenths(found.start_ms - from_ms),
        rise_ms: tenths(found.rise_ms),
        hold_ms: 0.0,
        fall_ms: tenths(found.fall_ms),
        mv: vector_of(found, view).map(|mv| rounded(mv, 10_000.0) as f32),
    }
}

fn shapes(found: &[Found], view: &View, onset_ms: f64) -> Option<Shapes> {
    let (p, rest) = found.split_at_checked(P_WAVES)?;
    let (qrs, t) = rest.split_at_checked(QRS_WAVES)?;
    let qrs: Vec<Wave> = qrs.iter().map(|found| wave(found, view, onset_ms)).collect();
    let qrs_ms = rounded(edges::qrs_ms(&qrs)?, 10.0);
    let from = onset_ms + qrs_ms;
    let t: [Wave; 3] = t.iter().map(|found| wave(found, view, from)).collect::<Vec<_>>().try_into().ok()?;
    let qt_ms = rounded(qrs_ms + edges::t_end_ms(&t)?, 10.0);
    let p_onset = p.iter().map(|found| found.start_ms).fold(f64::INFINITY, f64::min);
    let p = p.iter().map(|found| wave(found, view, p_onset)).collect();
    Some(Shapes { qrs, qrs_ms, t, qt_ms, p, pr_ms: onset_ms - p_onset })
}

fn left_over(
    found: &[Found],
    view: &View,
    average: &Average,
    leads: &[Lead],
    ms: impl Fn(usize) -> f64,
) -> Vec<LeftOver> {
    let one = |((lead, mv), spread_mv): ((&Lead, &Vec<f64>), &f64)| {
        let row = leads::row(*lead);
        let of_wave = |found: &Found| vector_of(found, view).iter().zip(row).map(|(mv, weight)| mv * weight).sum();
        let weights: Vec<f64> = found.iter().map(of_wave).collect();
        let drawn = |sample: usize| {
            let heights =
                found.iter().map(|found| waves::height([found.start_ms, found.rise_ms, found.fall_ms], ms(sample)));
            heights.zip(&weights).map(|(height, mv)| height * mv).sum::<f64>()
        };
        let drawn: Vec<f64> = (0..mv.len()).map(drawn).collect();
        let largest = |values: &[f64]| {
            values.iter().copied().fold(0.0, |most: f64, mv| if mv.abs() > most.abs() { mv } else { most })
        };
        let squares = mv.iter().zip(&drawn).map(|(mv, drawn)| (mv - drawn).powi(2)).sum::<f64>();
        LeftOver {
            lead: *lead,
            rms_mv: (squares / mv.len().max(1) as f64).sqrt(),
            correlation: correlation(mv, &drawn),
            largest_mv: [largest(mv), largest(&drawn)],
            spread_mv: *spread_mv,
        }
    };
    leads.iter().zip(&average.leads).zip(&average.spread_mv).map(one).collect()
}

fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let count = a.len().max(1) as f64;
    let (mean_a, mean_b) = (a.iter().sum::<f64>() / count, b.iter().sum::<f64>() / count);
    let (mut both, mut ours, mut theirs) = (0.0, 0.0, 0.0);
    for (a, b) in a.iter().zip(b) {
        let (a, b) = (a - mean_a, b - mean_b);
        both += a * b;
        ours += a * a;
        theirs += b * b;
    }
    both / (ours * theirs).sqrt().max(1e-12)
}

fn complex(shapes: &Shapes) -> Value {
    let [t, st, tail] = &shapes.t;
    json!({
        "qrs_ms": shapes.qrs_ms, "qt_ms": shapes.qt_ms, "qrs": waves_json(&shapes.qrs),
        "t": wave_json(t), "st": wave_json(st), "tail": wave_json(tail)
    })
}

fn waves_json(waves: &[Wave]) -> Value {
    waves.iter().map(wave_json).collect()
}

fn wave_json(wave: &Wave) -> Value {
    let number = |value: f32| value.to_string().parse::<f64>().unwrap_or(0.0);
    json!({
        "at_ms": number(wave.at_ms), "rise_ms": number(wave.rise_ms), "fall_ms": number(wave.fall_ms),
        "xyz_mv": wave.mv.map(number)
    })
}
