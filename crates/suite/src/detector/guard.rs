//! A watcher that outlives a run which is killed, and ends the detectors that the run can no longer end.

use std::io::Write;
use std::process::{Child, ChildStdin};
use std::sync::{Mutex, PoisonError};

/// Script of the watcher: `+ GROUP` and `- GROUP` on standard input keep its list; the end of its input is the end of the run.
#[cfg(unix)]
const WATCH: &str = r#"trap '' HUP INT TERM
groups=' '
while read -r change group; do
    case $change in
    +) groups="$groups$group " ;;
    -) groups="${groups%% "$group" *} ${groups#* "$group" }" ;;
    esac
done
for group in $groups; do kill -s KILL -- "-$group"; done"#;

/// The watcher of a run. Where it can't be started, a killed run leaves its detectors behind; so does a run that is killed in the
/// instant between the start of a detector and the message about it: a group has no number before its process has begun.
pub struct DetectorGuard {
    watcher: Mutex<Option<(Child, ChildStdin)>>,
}

impl DetectorGuard {
    /// Starts to watch over this process.
    pub fn start() -> DetectorGuard {
        DetectorGuard { watcher: Mutex::new(watcher()) }
    }

    /// Adds a process group that has begun.
    pub(super) fn add(&self, group: u32) {
        self.send('+', group);
    }

    /// Removes a process group that has ended.
    pub(super) fn remove(&self, group: u32) {
        self.send('-', group);
    }

    fn send(&self, change: char, group: u32) {
        if let Some((_, stdin)) = &mut *self.watcher.lock().unwrap_or_else(PoisonError::into_inner) {
            // Without its watcher a run goes on as well.
            let _ = stdin.write_all(format!("{change} {group}\n").as_bytes());
        }
    }
}

impl Drop for DetectorGuard {
    fn drop(&mut self) {
        let watcher = self.watcher.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some((mut child, stdin)) = watcher {
            drop(stdin);
            // It has nothing left to end.
            let _ = child.wait();
        }
    }
}

#[cfg(unix)]
fn watcher() -> Option<(Child, ChildStdin)> {
    use std::os::unix::process::CommandExt;
    use std::process::{Command, Stdio};
    let mut command = Command::new("/bin/sh");
    command.args(["-c", WATCH]).stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::null());
    // A group of its own: a signal to the run's group does not end the watcher.
    let mut child = command.process_group(0).spawn().ok()?;
    let stdin = child.stdin.take()?;
    Some((child, stdin))
}

/// Other systems have no process groups to end.
#[cfg(not(unix))]
fn watcher() -> Option<(Child, ChildStdin)> {
    None
}
