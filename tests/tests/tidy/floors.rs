//! The floors of the core: an import goes down or stays.

use super::source::{Crate, shown};

/// The floor of each module of the core.
const FLOORS: [(&str, &[&str]); 4] = [
    (
        "vocabulary",
        &[
            "anatomy",
            "site_set",
            "course",
            "field",
            "frame",
            "frame_clock",
            "frequency",
            "math",
            "noise",
            "reach",
            "sweep",
            "segment",
            "time",
            "truth",
            "vectors",
        ],
    ),
    (
        "sources",
        &["artefact", "block", "body", "cuff", "ecg", "heart", "pressure", "recording", "respiration", "test_signal"],
    ),
    ("sheet", &["image", "life", "script", "settings", "step", "timeline"]),
    // Expectations are worked out by playing a script.
    ("player", &["expect", "internal", "player"]),
];

/// The floor of a module, 0 the lowest; the root of the crate is the facade, above all others.
fn floor(module: Option<&String>) -> Option<usize> {
    let Some(module) = module else { return Some(FLOORS.len()) };
    FLOORS.iter().position(|(_, modules)| modules.contains(&module.as_str()))
}

/// Imports that go up, and modules that have no floor.
pub fn check(core: &Crate) -> Vec<String> {
    let mut found = Vec::new();
    for file in &core.files {
        let name = shown(&file.path);
        let Some(own) = floor(file.module.first()) else {
            found.push(format!("{name}: the module `{}` is on no floor", file.module.join("::")));
            continue;
        };
        for (inside, used) in &file.code.paths {
            let Some(path) = core.absolute(file, inside, used) else { continue };
            let module = path.first().filter(|first| core.files.iter().any(|file| file.module == [(*first).clone()]));
            let theirs = floor(module);
            if theirs.is_none_or(|theirs| theirs > own) {
                let floor_name = |floor: usize| FLOORS.get(floor).map_or("facade", |(name, _)| name);
                found.push(format!(
                    "{name}:{}: `{}` goes up from the floor \"{}\" to \"{}\"",
                    used.line,
                    used.path.join("::"),
                    floor_name(own),
                    theirs.map_or("none", floor_name)
                ));
            }
        }
    }
    found
}

/// Modules of the table that the core does not have.
pub fn stale(core: &Crate) -> Vec<String> {
    let has = |module: &str| core.files.iter().any(|file| file.module == [module]);
    FLOORS
        .iter()
        .flat_map(|(_, modules)| *modules)
        .filter(|module| !has(module))
        .map(|module| format!("no module `{module}`"))
        .collect()
}
