//! A disk of a few megabytes for one test, in memory.
//!
//! Mounting needs rights: the test starts itself once more in a namespace of its own, in which it may (`unshare`, no privileges needed
//! where the system allows user namespaces; else as root). Where neither works the test fails and says so: it is never skipped.
#![allow(dead_code, missing_docs)] // each test file uses its part
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

use std::path::{Path, PathBuf};
use std::process::Command;

/// Tells the test that it is in its namespace.
const INSIDE: &str = "BOXWRIGHT_TEST_MAY_MOUNT";

/// Runs the body of the test called `name` where it may mount.
pub fn where_it_may_mount(name: &str, body: impl FnOnce()) {
    if std::env::var_os(INSIDE).is_some() {
        return body();
    }
    let own = std::env::current_exe().unwrap();
    let mut said = Vec::new();
    for ways in [&["-r", "-m"][..], &["-m"][..]] {
        let can = Command::new("unshare").args(ways).args(["sh", "-c", "mount -t tmpfs none /mnt"]).output();
        match can {
            Ok(output) if output.status.success() => {
                let mut test = Command::new("unshare");
                test.args(ways).arg(&own).args(["--exact", name, "--nocapture"]).env(INSIDE, "1");
                let output = test.output().unwrap();
                let text = [output.stdout, output.stderr].map(|text| String::from_utf8_lossy(&text).into_owned());
                assert!(output.status.success() && text[0].contains("1 passed"), "{}\n{}", text[0], text[1]);
                return;
            }
            Ok(output) => said.push(String::from_utf8_lossy(&output.stderr).into_owned()),
            Err(error) => said.push(error.to_string()),
        }
    }
    panic!(
        "this test needs a small disk and can mount none, neither in a user namespace nor as root: {said:?}; allow user namespaces \
         (kernel.unprivileged_userns_clone, or --cap-add SYS_ADMIN --security-opt seccomp=unconfined for a container)"
    );
}

/// A mounted disk; it ends with the test's namespace.
pub struct SmallDisk {
    folder: tempfile::TempDir,
}

/// What a file takes at least.
pub const PAGE_BYTES: u64 = 4096;

impl SmallDisk {
    pub fn new(megabytes: u64) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let size = format!("size={megabytes}m");
        let done = Command::new("mount").args(["-t", "tmpfs", "-o", &size, "none"]).arg(folder.path()).status();
        assert!(done.unwrap().success(), "can't mount");
        Self { folder }
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    pub fn ballast(&self) -> PathBuf {
        self.path().join("ballast")
    }

    /// Fills the disk until so many bytes are left.
    pub fn fill_up_to(&self, left_bytes: u64) {
        let free = boxwright::files::free_bytes(self.path()).unwrap();
        std::fs::write(self.ballast(), vec![1; free.saturating_sub(left_bytes) as usize]).unwrap();
    }

    pub fn make_room(&self) {
        std::fs::remove_file(self.ballast()).unwrap();
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(self.path()).status();
    }
}
