//! The files of the truth: names, columns and cells.

use super::beats::BeatRows;
use pulsewright_text::fit;

/// The truth files.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)] // The table of the module above describes each.
pub enum TruthFile {
    Beats,
    Atrial,
    Pulses,
    Breaths,
    Pacing,
    Cuff,
    Episodes,
    Steps,
    Readings,
    Alarms,
    Refused,
}

impl TruthFile {
    /// Every file.
    pub const ALL: [TruthFile; 11] = [
        TruthFile::Beats,
        TruthFile::Atrial,
        TruthFile::Pulses,
        TruthFile::Breaths,
        TruthFile::Pacing,
        TruthFile::Cuff,
        TruthFile::Episodes,
        TruthFile::Steps,
        TruthFile::Readings,
        TruthFile::Alarms,
        TruthFile::Refused,
    ];

    /// The files that [`TruthWriter`](super::TruthWriter) writes.
    pub const EVENTS: [TruthFile; 8] = [
        TruthFile::Beats,
        TruthFile::Atrial,
        TruthFile::Pulses,
        TruthFile::Breaths,
        TruthFile::Pacing,
        TruthFile::Cuff,
        TruthFile::Episodes,
        TruthFile::Refused,
    ];

    /// The files that [`ExpectedTables`](super::ExpectedTables) write.
    pub const EXPECTED: [TruthFile; 3] = [TruthFile::Steps, TruthFile::Readings, TruthFile::Alarms];

    /// Follows the signal's name, in place of its extension.
    pub const fn suffix(self) -> &'static str {
        match self {
            TruthFile::Beats => "beats.csv",
            TruthFile::Atrial => "atrial.csv",
            TruthFile::Pulses => "pulses.csv",
            TruthFile::Breaths => "breaths.csv",
            TruthFile::Pacing => "pacing.csv",
            TruthFile::Cuff => "cuff.csv",
            TruthFile::Episodes => "episodes.csv",
            TruthFile::Steps => "steps.csv",
            TruthFile::Readings => "readings.csv",
            TruthFile::Alarms => "alarms.csv",
            TruthFile::Refused => "refused.csv",
        }
    }

    pub(crate) const fn columns(self) -> &'static str {
        match self {
            TruthFile::Beats => BeatRows::COLUMNS,
            TruthFile::Atrial => "time_s,frame",
            TruthFile::Pulses => "time_s,channel,foot_mmhg,peak_s,systolic_mmhg,end_s,lowest_mmhg,mean_mmhg",
            TruthFile::Breaths => "time_s,peak_s,end_s,depth_ohm,air,measured",
            TruthFile::Pacing => "time_s,frame,chamber,captures",
            TruthFile::Cuff => {
                "time_s,phase,cuff_mmhg,systolic_mmhg,diastolic_mmhg,mean_mmhg,systolic_low_mmhg,systolic_high_mmhg,\
                 diastolic_low_mmhg,diastolic_high_mmhg,mean_low_mmhg,mean_high_mmhg"
            }
            TruthFile::Episodes => "start_s,end_s,episode",
            TruthFile::Steps => {
                "step,name,start_s,end_s,rhythm,body,rate_bpm,systolic_mmhg,diastolic_mmhg,mean_mmhg,breaths_per_min,\
                 alarm,alarm_name,alarm_s,settled_s,rate_low_bpm,rate_high_bpm,systolic_low_mmhg,systolic_high_mmhg,\
                 diastolic_low_mmhg,diastolic_high_mmhg,mean_low_mmhg,mean_high_mmhg,breaths_low_per_min,\
                 breaths_high_per_min"
            }
            TruthFile::Readings => "step,reading,unit,start_s,end_s,settle_s,expected,low,high,why",
            TruthFile::Alarms => "alarm,time_s,within_s,end_s,priority,begin_s,required",
            TruthFile::Refused => "time_s,site,why",
        }
    }
}

/// A cell of CSV: in quotes where it has to be, always on one line, and no formula.
pub fn quoted(text: &str) -> String {
    let text = fit::cell(&crate::csv::on_one_line(text)).into_owned();
    if text.contains([',', '"']) || text.starts_with(['#', ' ']) || text.ends_with(' ') {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text
    }
}
