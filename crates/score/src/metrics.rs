//! Figures by name, for limits, CSV columns and averages.

use crate::annotations::EpisodeKind;
use crate::episodes::EpisodeFigures;
use crate::record::Figures;
use serde::Serialize;

/// Kind of number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FigureKind {
    /// A share in percent.
    Percent,
    /// A count.
    Count,
    /// Anything with a unit of its own.
    Measure,
}

/// A figure with a name.
pub struct Metric {
    /// Its name in flags, limit files, CSV and reports.
    pub name: &'static str,
    /// Its description, with its unit.
    pub what: &'static str,
    /// Its kind of number.
    pub kind: FigureKind,
    /// Reads it; `None` where there was nothing to count.
    pub value: fn(&Figures) -> Option<f64>,
}

/// Mean of one figure over the records.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MeanFigure {
    /// Name of the figure.
    pub metric: &'static str,
    /// Mean; `None` if no record has it.
    pub mean: Option<f64>,
    /// Records that have it.
    pub records: usize,
}

type Value = fn(&Figures) -> Option<f64>;

const fn percent(name: &'static str, what: &'static str, value: Value) -> Metric {
    Metric { name, what, kind: FigureKind::Percent, value }
}

const fn count(name: &'static str, what: &'static str, value: Value) -> Metric {
    Metric { name, what, kind: FigureKind::Count, value }
}

const fn measure(name: &'static str, what: &'static str, value: Value) -> Metric {
    Metric { name, what, kind: FigureKind::Measure, value }
}

fn episode(figures: &Figures, kind: EpisodeKind) -> Option<&EpisodeFigures> {
    figures.episodes.iter().find(|episode| episode.kind == kind)
}

/// All figures, in the order of the reports.
pub const METRICS: &[Metric] = &[
    percent("se", "sensitivity of detection, %", |f| f.detection.sensitivity.percent),
    percent("ppv", "positive predictivity of detection, %", |f| f.detection.predictivity.percent),
    count("found", "reference beats found", |f| Some(f.detection.matched as f64)),
    count("missed", "reference beats missed", |f| Some(f.detection.missed as f64)),
    count("extra", "test beats without a reference beat", |f| Some(f.detection.extra as f64)),
    percent("veb_se", "sensitivity for ventricular ectopic beats, %", |f| f.ventricular?.sensitivity.percent),
    percent("veb_ppv", "positive predictivity for ventricular ectopic beats, %", |f| {
        f.ventricular?.predictivity.percent
    }),
    percent("veb_fpr", "false positive rate for ventricular ectopic beats, %", |f| {
        f.ventricular?.false_positive_rate.percent
    }),
    percent("sveb_se", "sensitivity for supraventricular ectopic beats, %", |f| {
        f.supraventricular?.sensitivity.percent
    }),
    percent("sveb_ppv", "positive predictivity for supraventricular ectopic beats, %", |f| {
        f.supraventricular?.predictivity.percent
    }),
    percent("sveb_fpr", "false positive rate for supraventricular ectopic beats, %", |f| {
        f.supraventricular?.false_positive_rate.percent
    }),
    measure("offset_mean_ms", "test minus reference time, mean, ms", |f| f.rates.offset_ms.mean),
    measure("offset_deviation_ms", "test minus reference time, standard deviation, ms", |f| {
        f.rates.offset_ms.deviation
    }),
    measure("offset_max_ms", "test minus reference time, largest, ms", |f| f.rates.offset_ms.largest),
    measure("rr_rms_ms", "RR error, root mean square, ms", |f| f.rates.rr_ms.rms),
    measure("rr_max_ms", "RR error, largest, ms", |f| f.rates.rr_ms.largest),
    measure("rr_intact_rms_ms", "RR error where both beats match, root mean square, ms", |f| f.rates.rr_intact_ms.rms),
    measure("rr_intact_max_ms", "RR error where both beats match, largest, ms", |f| f.rates.rr_intact_ms.largest),
    measure("rate_rms_bpm", "heart-rate error, root mean square, bpm", |f| f.rates.rate_bpm.rms),
    measure("rate_max_bpm", "heart-rate error, largest, bpm", |f| f.rates.rate_bpm.largest),
    percent("rate_rms_percent", "heart-rate error, root mean square, % of the mean rate", |f| f.rates.rate_percent),
    percent("v_couplet_se", "ventricular couplets found, %", |f| f.ventricular_runs?.couplet_sensitivity.percent),
    percent("v_couplet_ppv", "ventricular couplets called with reason, %", |f| {
        f.ventricular_runs?.couplet_predictivity.percent
    }),
    percent("v_short_se", "ventricular runs of 3 to 5 found, %", |f| f.ventricular_runs?.short_sensitivity.percent),
    percent("v_short_ppv", "ventricular runs of 3 to 5 called with reason, %", |f| {
        f.ventricular_runs?.short_predictivity.percent
    }),
    percent("v_long_se", "ventricular runs of 6 or more found, %", |f| f.ventricular_runs?.long_sensitivity.percent),
    percent("v_long_ppv", "ventricular runs of 6 or more called with reason, %", |f| {
        f.ventricular_runs?.long_predictivity.percent
    }),
    percent("s_couplet_se", "supraventricular couplets found, %", |f| {
        f.supraventricular_runs?.couplet_sensitivity.percent
    }),
    percent("s_couplet_ppv", "supraventricular couplets called with reason, %", |f| {
        f.supraventricular_runs?.couplet_predictivity.percent
    }),
    percent("s_short_se", "supraventricular runs of 3 to 5 found, %", |f| {
        f.supraventricular_runs?.short_sensitivity.percent
    }),
    percent("s_short_ppv", "supraventricular runs of 3 to 5 called with reason, %", |f| {
        f.supraventricular_runs?.short_predictivity.percent
    }),
    percent("s_long_se", "supraventricular runs of 6 or more found, %", |f| {
        f.supraventricular_runs?.long_sensitivity.percent
    }),
    percent("s_long_ppv", "supraventricular runs of 6 or more called with reason, %", |f| {
        f.supraventricular_runs?.long_predictivity.percent
    }),
    percent("vf_se", "ventricular fibrillation episodes found, %", |f| {
        episode(f, EpisodeKind::Vf)?.sensitivity.percent
    }),
    percent("vf_ppv", "ventricular fibrillation episodes called with reason, %", |f| {
        episode(f, EpisodeKind::Vf)?.predictivity.percent
    }),
    percent("vf_time_se", "ventricular fibrillation time found, %", |f| {
        episode(f, EpisodeKind::Vf)?.duration_sensitivity_percent
    }),
    percent("vf_time_ppv", "ventricular fibrillation time called with reason, %", |f| {
        episode(f, EpisodeKind::Vf)?.duration_predictivity_percent
    }),
    percent("af_se", "atrial fibrillation episodes found, %", |f| episode(f, EpisodeKind::Af)?.sensitivity.percent),
    percent("af_ppv", "atrial fibrillation episodes called with reason, %", |f| {
        episode(f, EpisodeKind::Af)?.predictivity.percent
    }),
    percent("af_time_se", "atrial fibrillation time found, %", |f| {
        episode(f, EpisodeKind::Af)?.duration_sensitivity_percent
    }),
    percent("af_time_ppv", "atrial fibrillation time called with reason, %", |f| {
        episode(f, EpisodeKind::Af)?.duration_predictivity_percent
    }),
    percent("asystole_se", "asystole episodes found, %", |f| episode(f, EpisodeKind::Asystole)?.sensitivity.percent),
    percent("asystole_ppv", "asystole episodes called with reason, %", |f| {
        episode(f, EpisodeKind::Asystole)?.predictivity.percent
    }),
    percent("asystole_time_se", "asystole time found, %", |f| {
        episode(f, EpisodeKind::Asystole)?.duration_sensitivity_percent
    }),
    percent("asystole_time_ppv", "asystole time called with reason, %", |f| {
        episode(f, EpisodeKind::Asystole)?.duration_predictivity_percent
    }),
    percent("apnoea_se", "apnoea episodes found, %", |f| episode(f, EpisodeKind::Apnoea)?.sensitivity.percent),
    percent("apnoea_ppv", "apnoea episodes called with reason, %", |f| {
        episode(f, EpisodeKind::Apnoea)?.predictivity.percent
    }),
    percent("apnoea_time_se", "apnoea time found, %", |f| {
        episode(f, EpisodeKind::Apnoea)?.duration_sensitivity_percent
    }),
    percent("apnoea_time_ppv", "apnoea time called with reason, %", |f| {
        episode(f, EpisodeKind::Apnoea)?.duration_predictivity_percent
    }),
    measure("shutdown_s", "test shutdown, s", |f| Some(f.shutdown.test_s)),
    percent("shutdown_percent", "reference beats missed in test shutdown, %", |f| f.shutdown.beats.percent),
];

/// The figure of a name.
pub fn by_name(name: &str) -> Option<&'static Metric> {
    METRICS.iter().find(|metric| metric.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_unique() {
        let mut names: Vec<_> = METRICS.iter().map(|metric| metric.name).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), METRICS.len());
    }
}
