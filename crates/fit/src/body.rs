//! The beats of a recording, kind by kind, as a body's document.

use crate::average::{AverageBeat, average, median};
use crate::beats::MarkedBeat;
use crate::correlation::correlation;
use crate::recording::LeadRecording;
use crate::residual::{self, FittedResidual, FittedResiduals};
use crate::shapes::{self, FittedShapes, rounded};
use pulsewright_core::frame::{Channel, INDEPENDENT_LEADS, Lead};
use pulsewright_core::internal::ecg::Wave;
use pulsewright_core::settings::Field;
use serde_json::{Map, Value, json};

/// Least beats of a kind.
const LEAST: usize = 3;

/// Why nothing can be fitted.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FitError {
    /// Too few beats.
    #[error("of the beats of the normal kind ({found}) fewer than {LEAST} are whole and look alike")]
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

/// The residual of a lead.
#[derive(Clone, Debug)]
pub struct LeadResidual {
    /// The lead.
    pub lead: Lead,
    /// Root mean square of the average less the body's beat, mV.
    pub rms_mv: f64,
    /// Correlation of the body's beat with the average.
    pub correlation: f64,
    /// Correlation of its waves on the heart vector alone.
    pub of_vector: f64,
    /// Height of the average's largest deflection, mV, and that of the body's beat.
    pub largest_mv: [f64; 2],
    /// Standard deviation of the beats about their average, mV.
    pub spread_mv: f64,
}

/// A kind of beat that was fitted, or why not.
#[derive(Clone, Debug)]
pub struct FittedBeats {
    /// Word of the pathway.
    pub pathway: &'static str,
    /// Beats averaged.
    pub used: usize,
    /// Beats left out: unlike the average, or at an end of the recording.
    pub left_out: usize,
    /// Residuals, lead by lead; empty of a kind with too few beats.
    pub left_over: Vec<LeadResidual>,
}

/// A fitted body.
#[derive(Clone, Debug)]
pub struct Fit {
    /// The document.
    pub document: Value,
    /// Its kinds of beats.
    pub kinds: Vec<FittedBeats>,
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

/// Fits a body that extends the one with the word `extends`.
///
/// # Errors
/// Too few normal beats, or an average that no body can have.
pub fn fit(recording: &LeadRecording, beats: &[MarkedBeat], name: &str, extends: &str) -> Result<Fit, FitError> {
    let all: Vec<usize> = beats.iter().map(|beat| beat.at).collect();
    let places = |word: &str| -> Vec<usize> {
        let of_kind = |(_, beat): &(usize, &MarkedBeat)| pathway(beat.code) == Some(word);
        beats.iter().enumerate().filter(of_kind).map(|(place, _)| place).collect()
    };
    // The usual beat of a person with a block is that of the block, and plays in rhythms of normal beats too.
    let usual = ["normal", "left-bundle-blocked", "right-bundle-blocked", "paced"];
    let usual = usual.into_iter().max_by_key(|word| (places(word).len(), *word == "normal")).unwrap_or("normal");
    let leads: Vec<Lead> = recording.leads.iter().map(|signal| signal.lead).collect();
    let average_of = |word: &str| average(recording, &all, &places(word), LEAST);
    let average = average_of(usual).ok_or(FitError::Beats { found: places(usual).len() })?;
    let found = found_in(&average, &leads).ok_or(FitError::Waves { kind: usual })?;
    let left_over = remainder(&found, &average, &leads);
    let (shapes, residuals) = found;
    let mut kinds = vec![FittedBeats {
        pathway: usual,
        used: average.used,
        left_out: places(usual).len() - average.used,
        left_over,
    }];
    let (mut complexes, mut of_qrs, mut of_t) = (Map::new(), Map::new(), Map::new());
    let mut insert = |word: &str, shapes: &FittedShapes, residuals: &FittedResiduals| {
        complexes.insert(word.into(), complex(shapes));
        of_qrs.insert(word.into(), residual_json(&residuals.qrs));
        of_t.insert(word.into(), residual_json(&residuals.t));
    };
    insert("normal", &shapes, &residuals);
    if usual != "normal" {
        insert(usual, &shapes, &residuals);
    }
    let others = ["normal", "left-bundle-blocked", "right-bundle-blocked", "left-ventricle", "escape", "paced"];
    for word in others.into_iter().filter(|word| *word != usual && !places(word).is_empty()) {
        let found = average_of(word).and_then(|average| Some((found_in(&average, &leads)?, average)));
        match found {
            Some((found, average)) => {
                let left_over = remainder(&found, &average, &leads);
                kinds.push(FittedBeats {
                    pathway: word,
                    used: average.used,
                    left_out: places(word).len() - average.used,
                    left_over,
                });
                insert(word, &found.0, &found.1);
            }
            None => kinds.push(FittedBeats { pathway: word, used: 0, left_out: places(word).len(), left_over: vec![] }),
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
        "p_waves": {"sinus-node": waves_json(&shapes.p)},
        "residuals": {"qrs": of_qrs, "t": of_t, "p": {"sinus-node": residual_json(&residuals.p)}}
    });
    Ok(Fit { document, kinds })
}

/// Waves of an average, and the residuals of its leads.
fn found_in(average: &AverageBeat, leads: &[Lead]) -> Option<(FittedShapes, FittedResiduals)> {
    let shapes = shapes::find(average, leads)?;
    let residuals = residual::find(average, leads, &shapes)?;
    Some((shapes, residuals))
}

/// The part of each lead of an average that the body does not draw.
fn remainder(
    (shapes, residuals): &(FittedShapes, FittedResiduals),
    average: &AverageBeat,
    leads: &[Lead],
) -> Vec<LeadResidual> {
    let from = [
        (&residuals.p, shapes.onset_ms - shapes.pr_ms),
        (&residuals.qrs, shapes.onset_ms),
        (&residuals.t, shapes.onset_ms + shapes.qrs_ms),
    ];
    let one = |((lead, mv), spread_mv): ((&Lead, &Vec<f64>), &f64)| {
        let times = (0..mv.len()).map(|sample| 1000.0 * sample as f64 / average.hz);
        let beside =
            |t_ms: f64| from.map(|(residual, from_ms)| residual.lead_mv(*lead, t_ms - from_ms)).iter().sum::<f64>();
        let vector: Vec<f64> = times.clone().map(|t_ms| shapes.lead_mv(*lead, t_ms)).collect();
        let drawn: Vec<f64> = vector.iter().zip(times).map(|(mv, t_ms)| mv + beside(t_ms)).collect();
        let largest = |values: &[f64]| {
            values.iter().copied().fold(0.0, |most: f64, mv| if mv.abs() > most.abs() { mv } else { most })
        };
        let squares = mv.iter().zip(&drawn).map(|(mv, drawn)| (mv - drawn).powi(2)).sum::<f64>();
        LeadResidual {
            lead: *lead,
            rms_mv: (squares / mv.len().max(1) as f64).sqrt(),
            correlation: correlation([(&mv[..], &drawn[..])]),
            of_vector: correlation([(&mv[..], &vector[..])]),
            largest_mv: [largest(mv), largest(&drawn)],
            spread_mv: *spread_mv,
        }
    };
    leads.iter().zip(&average.leads).zip(&average.spread_mv).map(one).collect()
}

fn complex(shapes: &FittedShapes) -> Value {
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

fn residual_json(residual: &FittedResidual) -> Value {
    let eight = [Lead::I, Lead::II, Lead::V1, Lead::V2, Lead::V3, Lead::V4, Lead::V5, Lead::V6];
    let numbers = |place: usize| -> Vec<i16> {
        residual.knots_uv.iter().filter_map(|knot: &[i16; INDEPENDENT_LEADS]| knot.get(place).copied()).collect()
    };
    let leads = eight.into_iter().enumerate().map(|(place, lead)| (lead, numbers(place)));
    // A lead is left out where it was not recorded; the first stays, so that there is one.
    let shown = leads.filter(|(lead, numbers)| *lead == Lead::I || numbers.iter().any(|uv| *uv != 0));
    let leads: Map<String, Value> =
        shown.map(|(lead, numbers)| (Channel::Lead(lead).id().to_owned(), json!(numbers))).collect();
    json!({"at_ms": residual.at_ms, "step_ms": residual.step_ms, "leads_uv": leads})
}
