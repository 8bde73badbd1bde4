//! `cohort`: the signals of many drawn patients, in packs with an index.
//!
//! Only arguments in, calls out: everything lives in `pulsewright-cohort`.

use crate::diagnostics::{VerbFailure, VerbOutcome, print};
use crate::interruption;
use crate::progress::LateProgressBar;
use pulsewright_cohort::folder::Packs;
use pulsewright_cohort::write::{CohortOutcome, write};
use pulsewright_cohort::{CohortError, CohortFolder, CohortManifest, CohortPlan, tables};
use pulsewright_text::number::counted;
use std::io::Write;
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::Instant;

/// A cohort to make.
pub struct Request {
    /// The plan.
    pub plan: PathBuf,
    /// Patients and packs.
    pub packs: Packs,
    /// Where it goes; without, the index is printed.
    pub output: Option<PathBuf>,
    /// This pack alone, counted from 0.
    pub only: Option<u32>,
    /// Threads that render; one per core without.
    pub jobs: Option<usize>,
}

/// Makes the packs that are not there, then says what was made.
pub fn run(args: Request) -> VerbOutcome {
    let plan = CohortPlan::read(&args.plan).map_err(VerbFailure::input)?;
    let Some(output) = &args.output else {
        return list(&plan, &args.packs);
    };
    let jobs = args.jobs.unwrap_or_else(|| thread::available_parallelism().map_or(1, usize::from));
    let folder = CohortFolder::open(output, &CohortManifest::new(&plan, args.packs)).map_err(VerbFailure::input)?;
    interruption::watch();
    let bar = Mutex::new(LateProgressBar::new());
    let progress = |done, total| {
        bar.lock().unwrap_or_else(PoisonError::into_inner).show(done, total);
        if interruption::asked() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    };
    let began = Instant::now();
    let made = write(&plan, &folder, args.only, jobs, &progress);
    drop(bar);
    let made = made.map_err(|error| match error {
        CohortError::Stopped => VerbFailure::input("interrupted; the same command line goes on from here"),
        error => VerbFailure::input(error),
    })?;
    let seconds = began.elapsed().as_secs_f64();
    print(|out| writeln!(out, "{}", sentence(&args.packs, made, args.only.is_some(), seconds)))
}

fn list(plan: &CohortPlan, packs: &Packs) -> VerbOutcome {
    print(|out| out.write_all(tables::index_head(plan).as_bytes()))?;
    for number in 0..packs.patients {
        let row = tables::index_row(&plan.patient(number).map_err(VerbFailure::input)?, packs);
        print(|out| out.write_all(row.as_bytes()))?;
    }
    Ok(())
}

fn sentence(packs: &Packs, made: CohortOutcome, one: bool, seconds: f64) -> String {
    let Packs { patients, packs, .. } = packs;
    let all = counted(u64::from(*packs), "pack");
    let of = if one { format!("one of {all}") } else { format!("{} in {all}", counted(*patients, "patient")) };
    match made {
        CohortOutcome { records: 0, tables: false, .. } => format!("{of}: everything was there"),
        CohortOutcome { records: 0, .. } => format!("{of}: all signals were there, the tables were written"),
        CohortOutcome { records, bytes, .. } => {
            let (megabytes, rate) = (bytes as f64 / 1e6, records as f64 / seconds);
            let speed = megabytes / seconds;
            format!(
                "{of}: {}, {megabytes:.0} MB, in {seconds:.2} s ({rate:.0} records/s, {speed:.0} MB/s)",
                counted(records, "record")
            )
        }
    }
}
