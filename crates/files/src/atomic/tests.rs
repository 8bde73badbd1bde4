use super::*;

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

fn contents(folder: &Path) -> Vec<(String, String)> {
    names(folder).into_iter().map(|name| (name.clone(), fs::read_to_string(folder.join(name)).unwrap())).collect()
}

/// A set of `out` with a part for each name, and the parts, complete.
fn staged(folder: &Path, names: &[&str], text: &str, overwrite: bool) -> (FileSet, Vec<FinishedPart>) {
    let paths: Vec<PathBuf> = names.iter().map(|name| folder.join(name)).collect();
    let names = paths.iter().map(PathBuf::as_path);
    let set = FileSet::of_render(&folder.join("out.wav"), names, overwrite, Durability::Usual).unwrap();
    let parts = paths.iter().map(|path| {
        let mut part = set.part(path).unwrap();
        part.write_all(text.as_bytes()).unwrap();
        part.finish().unwrap()
    });
    let parts = parts.collect();
    (set, parts)
}

#[test]
fn names_appear_only_when_all_are_complete() {
    let folder = tempfile::tempdir().unwrap();
    let (set, parts) = staged(folder.path(), &["a", "b"], "new", false);
    assert!(names(folder.path()).iter().all(|name| name.starts_with(".pulsewright-")));
    set.publish(parts, &[]).unwrap();
    assert_eq!(names(folder.path()), ["a", "b"]);
}

#[test]
fn a_dropped_set_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (set, parts) = staged(folder.path(), &["a"], "complete, but not published", false);
    let mut more = set.signal(&folder.path().join("b")).unwrap();
    more.write_all(&[0; 100_000]).unwrap();
    assert_eq!(names(folder.path()).len(), 3);
    drop((more, parts, set));
    assert_eq!(names(folder.path()), [""; 0]);
}

#[cfg(target_os = "linux")]
#[test]
fn room_set_aside_is_no_content() {
    use std::os::unix::fs::MetadataExt;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a");
    let set = FileSet::of_files(&[&path], false).unwrap();
    let file = set.signal(&path).unwrap();
    file.reserve(1 << 20).unwrap();
    let reserved = fs::metadata(&file.staged).unwrap();
    assert_eq!(reserved.len(), 0);
    assert!(reserved.blocks() * 512 >= 1 << 20, "{} blocks", reserved.blocks());
    file.reserve(u64::MAX).expect("more than a file can have is left to the writing");
}

#[test]
fn nothing_is_overwritten_unasked_even_if_it_came_meanwhile() {
    let folder = tempfile::tempdir().unwrap();
    let b = folder.path().join("b");
    let (set, parts) = staged(folder.path(), &["a", "b"], "new", false);
    fs::write(&b, "precious").unwrap();
    assert!(matches!(set.publish(parts, &[]), Err(FileError::Exists(path)) if path == b));
    assert_eq!(contents(folder.path()), [("b".to_owned(), "precious".to_owned())]);
    assert!(matches!(write_whole(&b, b"new", false), Err(FileError::Exists(_))));
    write_whole(&b, b"new", true).unwrap();
    assert_eq!(contents(folder.path()), [("b".to_owned(), "new".to_owned())]);
}

#[test]
fn a_set_that_cannot_have_all_its_names_is_the_old_one() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["a", "b", "gone"] {
        fs::write(folder.path().join(name), "old").unwrap();
    }
    let (set, parts) = staged(folder.path(), &["a", "b", "c"], "new", true);
    // A folder can't be replaced by a file.
    fs::create_dir(folder.path().join("c")).unwrap();
    set.publish(parts, &[&folder.path().join("gone")]).unwrap_err();
    fs::remove_dir(folder.path().join("c")).unwrap();
    let old = ["a", "b", "gone"].map(|name| (name.to_owned(), "old".to_owned()));
    assert_eq!(contents(folder.path()), old);
    let (set, parts) = staged(folder.path(), &["a", "b", "c"], "new", true);
    set.publish(parts, &[&folder.path().join("gone")]).unwrap();
    let new = ["a", "b", "c"].map(|name| (name.to_owned(), "new".to_owned()));
    assert_eq!(contents(folder.path()), new);
}

/// As a process leaves a folder that is killed after each of its changes.
#[test]
fn a_set_that_was_left_between_two_names_is_the_old_one() {
    for done in 0..=4 {
        let folder = tempfile::tempdir().unwrap();
        for name in ["a", "b"] {
            fs::write(folder.path().join(name), "old").unwrap();
        }
        let (set, parts) = staged(folder.path(), &["a", "b", "c"], "new", true);
        let change = Change::new(&set, &parts, &[]);
        let (_, at, journal) = &change.folders[0];
        fs::write(at, serde_json::to_vec(journal).unwrap()).unwrap();
        let kept: Vec<TempPath> = parts.into_iter().map(|part| part.staged).collect();
        if done > 0 {
            journal.entries.iter().for_each(|entry| entry.keep_old(folder.path()).unwrap());
        }
        for (staged, name) in kept.iter().zip(["a", "b", "c"]).take(done.max(1) - 1) {
            fs::rename(staged, folder.path().join(name)).unwrap();
        }
        // The system gives the lock up; nothing is removed.
        for staged in kept {
            let _ = staged.keep();
        }
        set.claims.into_iter().for_each(Claim::lose);
        assert!(names(folder.path()).iter().any(|name| name.ends_with(".journal")));
        settle(folder.path());
        let old = ["a", "b"].map(|name| (name.to_owned(), "old".to_owned()));
        assert_eq!(contents(folder.path()), old, "after {done} changes");
    }
}

#[test]
fn files_of_a_lost_process_are_cleared_and_those_of_a_living_one_are_not() {
    let folder = tempfile::tempdir().unwrap();
    let (other, theirs) = (folder.path().join("other"), folder.path().join("theirs"));
    let living = FileSet::of_files(&[&theirs], false).unwrap();
    let part = living.part(&theirs).unwrap();
    let lost = FileSet::of_files(&[&other], false).unwrap();
    let _ = lost.part(&other).unwrap().staged.keep();
    lost.claims.into_iter().for_each(Claim::lose);
    fs::write(folder.path().join(".pulsewright-a1b2c3.partial"), "of an earlier version").unwrap();
    assert_eq!(names(folder.path()).len(), 5);
    settle(folder.path());
    assert_eq!(names(folder.path()).len(), 2, "the living one's lock and part");
    write_whole(&folder.path().join("mine"), b"mine", false).unwrap();
    living.publish(vec![part.finish().unwrap()], &[]).unwrap();
    assert_eq!(names(folder.path()), ["mine", "theirs"]);
}

#[test]
fn one_process_at_a_time_writes_a_name_and_others_learn_which() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a");
    let first = FileSet::of_files(&[&path], false).unwrap();
    let message = FileSet::of_files(&[&path], false).unwrap_err().to_string();
    assert!(message.contains(&format!("is being written by process {}", std::process::id())), "{message}");
    drop(first);
    write_whole(&path, b"", false).unwrap();
}

#[test]
fn taken_names_are_refused_before_work() {
    let folder = tempfile::tempdir().unwrap();
    let there = folder.path().join("there");
    fs::write(&there, "").unwrap();
    assert!(matches!(check_free([there.as_path()], false), Err(FileError::Exists(_))));
    assert!(check_free([there.as_path()], true).is_ok());
    assert!(matches!(check_free([folder.path()], true), Err(FileError::Io(..))));
    assert!(check_free([folder.path().join("free").as_path()], false).is_ok());
    let long = folder.path().join("x".repeat(300));
    assert!(check_free([long.as_path()], false).unwrap_err().to_string().ends_with("the name is too long"));
}

#[test]
fn an_input_is_not_written_whatever_it_is_called() {
    let folder = tempfile::tempdir().unwrap();
    let (input, link) = (folder.path().join("input"), folder.path().join("link"));
    fs::write(&input, "").unwrap();
    fs::hard_link(&input, &link).unwrap();
    let free = folder.path().join("free");
    for output in [&input, &link, &folder.path().join("../").join(folder.path().file_name().unwrap()).join("input")] {
        assert!(matches!(refuse_inputs([output.as_path()], [input.as_path()]), Err(FileError::Input(_))), "{output:?}");
    }
    assert!(refuse_inputs([free.as_path()], [input.as_path(), Path::new("-")]).is_ok());
}

#[cfg(unix)]
#[test]
fn a_replaced_file_keeps_its_mode_and_a_link_its_place() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a");
    write_whole(&path, b"one", false).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
    write_whole(&path, b"two", true).unwrap();
    assert_eq!(fs::metadata(&path).unwrap().mode() & 0o777, 0o640);
    let link = folder.path().join("link");
    std::os::unix::fs::symlink(&path, &link).unwrap();
    write_whole(&link, b"three", true).unwrap();
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    assert_eq!(fs::read_to_string(&path).unwrap(), "three");
}

#[test]
fn a_folder_that_is_not_there_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("none/out.wav");
    let message = write_whole(&path, b"", false).unwrap_err().to_string();
    assert!(message.contains("none/out.wav") && message.contains("folder does not exist"), "{message}");
}

#[test]
fn a_journal_that_was_changed_is_not_followed() {
    let above = tempfile::tempdir().unwrap();
    let folder = above.path().join("set");
    fs::create_dir(&folder).unwrap();
    fs::write(above.path().join("precious"), "precious").unwrap();
    let claim = Claim::new(&folder.join("out")).unwrap();
    let mark = name(&claim.hidden(""));
    let (at, lock) = (claim.hidden(".journal"), claim.hidden(".lock"));
    claim.lose();
    let own = |end: &str| Some(format!("{mark}{end}").into());
    let entry = |name: &str, staged, backup| NameChange { name: name.into(), staged, backup, sha256: None };
    let deep = OsStr::new("../precious").to_owned();
    for (entry, sound) in [
        (entry("../precious", own("-0.partial"), None), false),
        (entry("a/b", own("-0.partial"), None), false),
        (entry("..", None, None), false),
        (entry("", None, None), false),
        (entry("out", Some(deep.clone()), None), false),
        (entry("out", None, Some(deep)), false),
        (entry("out", Some("other".into()), None), false),
        (entry("out", own("-0.partial"), own("-1.old")), true),
    ] {
        let text = serde_json::to_string(&Journal { entries: vec![entry] }).unwrap();
        for (text, sound) in
            [(text.clone(), sound), (text.replacen("{", "{\"entries\":[],", 1), false), (text + "x", false)]
        {
            fs::write(&at, &text).unwrap();
            fs::write(&lock, "").unwrap();
            match (Claim::new(&folder.join("out")), sound) {
                (Ok(claim), true) => drop(claim),
                (Err(error), false) => {
                    assert!(error.to_string().contains(".journal is not as it was written"), "{error}");
                    assert_eq!(fs::read_to_string(&at).unwrap(), text);
                    fs::remove_file(&at).unwrap();
                }
                (claimed, _) => panic!("{text}: {claimed:?}"),
            }
            assert_eq!(names(above.path()), ["precious", "set"]);
        }
    }
}

fn name(path: &Path) -> String {
    path.file_name().unwrap().to_str().unwrap().to_owned()
}
