//! `cohort`.

use super::values;
use crate::cohort::Request;
use crate::diagnostics::VerbFailure;
use clap::{Args, ValueEnum};
use pulsewright_cohort::folder::{CohortFormat, Packs};
use pulsewright_suite::Shard;
use pulsewright_text::number::counted;
use std::path::PathBuf;

/// Patients of a pack, where no number of packs is given.
const PACK: u64 = 1000;

/// Draw patients by seed and number, and render all of them into packed arrays with an index.
///
/// A patient of the same plan and number has the same signal for ever, alone or among others. The same command line goes on
/// where a run was stopped.
#[derive(Args, Debug)]
#[command(
    after_help = "FOLDER gets pack-01-of-10.npy and so on (patients by channels by frames, 32-bit floats), patients.csv with\n\
    every drawn value, beats.csv with every beat.\n\n\
    Examples:\n  \
    pulsewright cohort people.json -n 10000 -o cohort\n  \
    pulsewright cohort people.json -n 10000 -o cohort --shard 3/10\n  \
    pulsewright cohort people.json -n 20 --list"
)]
pub struct CohortFlags {
    /// The plan, JSON.
    plan: PathBuf,
    /// Number of patients.
    #[arg(short = 'n', long, value_name = "NUMBER", value_parser = values::patients)]
    patients: u64,
    /// Folder of the cohort; made when it is not there, else the run in it goes on.
    #[arg(short, long, value_name = "FOLDER", required_unless_present = "list")]
    output: Option<PathBuf>,
    /// Only print the index: every drawn value of each patient, as CSV.
    #[arg(long, conflicts_with_all = ["output", "shard", "jobs"])]
    list: bool,
    /// Form of the signals.
    #[arg(long, value_enum, default_value = "npy")]
    format: FormWord,
    /// Number of packs [default: one for every 1000 patients].
    #[arg(long, value_name = "NUMBER", value_parser = values::hundred_thousand)]
    packs: Option<u32>,
    /// One pack alone, as 3/10, for another machine; the tables come with a run without it.
    #[arg(long, value_name = "PACK/PACKS", conflicts_with = "packs")]
    shard: Option<Shard>,
    /// Threads that render [default: one per core].
    #[arg(long, value_name = "NUMBER", value_parser = values::jobs)]
    jobs: Option<u16>,
}

/// A form of the signals.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum FormWord {
    /// Packs of arrays.
    Npy,
    /// A record of the open waveform database for each patient, 16 bits.
    Wfdb,
    /// Packs and index as Parquet: a row for each frame, a column for each channel.
    #[cfg(feature = "parquet")]
    Parquet,
}

impl CohortFlags {
    /// The request.
    pub fn request(self) -> Result<Request, VerbFailure> {
        let usual = || self.patients.div_ceil(PACK) as u32;
        let packs = self.shard.map(Shard::parts).or(self.packs).unwrap_or_else(usual);
        if u64::from(packs) > self.patients {
            return Err(VerbFailure::input(format!(
                "{packs} packs for {}: a pack has at least one",
                counted(self.patients, "patient")
            )));
        }
        let form = match self.format {
            FormWord::Npy => CohortFormat::Npy,
            FormWord::Wfdb => CohortFormat::Wfdb,
            #[cfg(feature = "parquet")]
            FormWord::Parquet => CohortFormat::Parquet,
        };
        Ok(Request {
            plan: self.plan,
            packs: Packs { patients: self.patients, packs, form },
            output: self.output,
            only: self.shard.map(|shard| shard.part() - 1),
            jobs: self.jobs.map(usize::from),
        })
    }
}
