//! Whether a record is unchanged, and whether it belongs to a script and a rig.

use crate::plan::Plan;
use crate::record::{Record, RecordOrigin, broken_seal};
use crate::seal;

/// The result of the digests.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Integrity {
    /// Changes since it was saved, and parts that do not belong together; a line each.
    pub changed: Vec<String>,
    /// Doubts that the digests can't settle, a line each.
    pub unknown: Vec<String>,
    /// Signatures that were verified, a line each.
    pub signed: Vec<String>,
}

/// Checks the files beside a record, photos and the log of what was played, against their digests; `read` gives the content of a
/// file of the record's folder, or why it can't be read.
pub fn check_beside(record: &Record, read: impl Fn(&str) -> Result<Vec<u8>, String>, found: &mut Integrity) {
    let photos = record.photos.iter().map(|photo| ("photo", &photo.name, &photo.digest));
    let logs = record.played.iter().filter_map(|played| played.log.as_ref());
    for (what, name, digest) in photos.chain(logs.map(|log| ("log", &log.name, &log.digest))) {
        match read(name) {
            Ok(bytes) if seal::digest(&bytes) == *digest => {}
            Ok(_) => found.changed.push(format!("the {what} {name} is not the one that the record was signed with")),
            Err(why) => found.unknown.push(format!("the {what} {name} can't be compared with its digest: {why}")),
        }
    }
}

/// Checks a record against its digests, and against the `fresh` plan of the script given with it, if any.
pub fn check(record: &Record, plan: &Plan, fresh: Option<&Plan>) -> Integrity {
    let mut found = Integrity::default();
    found.changed.extend(broken_seal(record).map(str::to_owned));
    if !record.doubt.is_empty() {
        found.changed.push(format!("the record was made from one that was changed: {}", record.doubt));
    }
    if record.origin == RecordOrigin::Table {
        found.unknown.push("a table has no digest: nothing shows whether it was changed".to_owned());
    }
    let Some(fresh) = fresh else { return found };
    if record.plan.is_none() {
        return found;
    }
    if fresh.script_digest != plan.script_digest {
        found.changed.push("the script named is not the one that the record was made from".to_owned());
    } else if fresh.seed != plan.seed {
        found.changed.push(format!("the record was made with seed {}, the script has {}", plan.seed, fresh.seed));
    } else if fresh.made_by == plan.made_by && fresh.frames != plan.frames {
        found.changed.push("this program makes other frames of the script than the record says".to_owned());
    } else if fresh.frames != plan.frames {
        let what = format!("{} made other frames than {} does", plan.made_by, fresh.made_by);
        found.unknown.push(what);
    } else if (&fresh.steps, &fresh.kit) != (&plan.steps, &plan.kit) && fresh.made_by == plan.made_by {
        found.changed.push("what the record expects is not what the script says".to_owned());
    }
    if let (Some(now), Some(then)) = (&fresh.rig, &plan.rig)
        && now.digest != then.digest
    {
        found
            .changed
            .push("the rig's description or correction is not the one that the record was made with".to_owned());
    }
    found
}
