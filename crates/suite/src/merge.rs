//! Shards joined to one folder, as if one run had filled it.

use crate::error::SuiteError;
use crate::folder::{AnswerFolder, AnswerManifest};
use crate::plan::SuitePlan;
use std::path::{Path, PathBuf};

/// Copies the answers of shard folders into `target`, which then holds every record of the plan.
///
/// # Errors
/// When the folders belong to different plans or commands, or a record is in none of them.
pub fn merge(plan: &SuitePlan, shards: &[PathBuf], target: &Path) -> Result<AnswerFolder, SuiteError> {
    let mut whole: Option<AnswerManifest> = None;
    let mut folders = Vec::with_capacity(shards.len());
    for shard in shards {
        let Some(manifest) = AnswerManifest::read(shard)? else {
            let what = "holds no suite".to_owned();
            return Err(SuiteError::Folder { folder: shard.clone(), what });
        };
        let manifest = AnswerManifest { shard: None, ..manifest };
        let expected = whole.get_or_insert(AnswerManifest { plan: plan.document.clone(), ..manifest.clone() });
        expected.check_same(shard, &manifest)?;
        folders.push(AnswerFolder::existing(shard, &manifest));
    }
    let Some(manifest) = whole else {
        return Err(SuiteError::Command("no folders to merge".to_owned()));
    };
    let target_folder = AnswerFolder::open(target, &manifest)?;
    let mut times_s = target_folder.times_s();
    for folder in &folders {
        times_s.extend(folder.times_s());
    }
    let mut missing = Vec::new();
    for record in &plan.records {
        let mut found = target_folder.holds(record);
        for folder in &folders {
            found = found || target_folder.take_from(folder, record)?;
        }
        if !found {
            missing.push(record.name.as_str());
        }
    }
    match missing.first() {
        None => {
            target_folder.keep_times_s(&times_s)?;
            Ok(target_folder)
        }
        Some(first) => {
            let what = format!(
                "{} of {} records are in none of the folders, the first is {first}; has every shard run to its end?",
                missing.len(),
                plan.records.len()
            );
            Err(SuiteError::Folder { folder: target.to_owned(), what })
        }
    }
}
