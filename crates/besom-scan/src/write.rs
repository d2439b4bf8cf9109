//! Writing so that a file is either whole or not there, and never among the scans.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use crate::error::{ErrorKind, ScanError};

/// Makes temporary names of one process differ.
static NEXT: AtomicU64 = AtomicU64::new(0);

/// Writes `bytes` to `target`: to a temporary file in the same folder first, synced to the disk, then renamed over
/// the target. The folder must exist. When anything fails the temporary file is removed and an existing target stays
/// as it was.
///
/// # Errors
/// When the folder cannot be written to or the disk is full.
pub fn write_atomically(target: &Path, bytes: &[u8]) -> Result<(), ScanError> {
    let failed = |e: io::Error| ScanError::system(target, "it cannot be written", &e);
    let name = target.file_name().ok_or_else(|| ScanError::new(ErrorKind::Target, target, "it names no file"))?;
    let mut temporary = std::ffi::OsString::from(".");
    temporary.push(name);
    temporary.push(format!(".{}-{}.part", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed)));
    let temporary = target.with_file_name(temporary);
    let written = fill(&temporary, bytes).and_then(|()| fs::rename(&temporary, target));
    if let Err(error) = written {
        // The first error is the one to report; a temporary file that was never made cannot be removed.
        let _ = fs::remove_file(&temporary);
        return Err(failed(error));
    }
    // A rename is only safe from a power cut once the folder is synced; not every system can open a folder for it.
    if let Some(folder) = target.parent().and_then(|p| File::open(p).ok()) {
        let _ = folder.sync_all();
    }
    Ok(())
}

fn fill(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = OpenOptions::new().write(true).create_new(true).open(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// Refuses a target folder that is the scans' folder or lies inside it, with links followed. The target need not
/// exist yet; `scans` may be the folder or one of its files.
///
/// # Errors
/// When the target is refused, or the scans' folder cannot be found.
pub fn check_target(scans: &Path, target: &Path) -> Result<(), ScanError> {
    let real = fs::canonicalize(scans).map_err(|e| ScanError::system(scans, "it cannot be found", &e))?;
    let folder = if real.is_dir() { real.as_path() } else { real.parent().unwrap_or(&real) };
    let resolved = resolve(target).map_err(|e| ScanError::system(target, "it cannot be used", &e))?;
    if resolved == folder {
        let reason = "it is the folder of the scans, into which nothing is ever written";
        return Err(ScanError::new(ErrorKind::Target, target, reason));
    }
    if resolved.starts_with(folder) {
        let reason = "it lies inside the folder of the scans, into which nothing is ever written";
        return Err(ScanError::new(ErrorKind::Target, target, reason));
    }
    Ok(())
}

/// The real path of something that may not exist yet: its nearest existing ancestor with links followed, then the
/// rest of its name with `..` taken away.
fn resolve(path: &Path) -> io::Result<PathBuf> {
    let absolute = std::path::absolute(path)?;
    let mut rest = Vec::new();
    let mut existing = absolute.as_path();
    loop {
        match fs::canonicalize(existing) {
            Ok(real) => {
                let mut resolved = real;
                for part in rest.iter().rev() {
                    if *part == ".." {
                        resolved.pop();
                    } else {
                        resolved.push(part);
                    }
                }
                return Ok(resolved);
            }
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                let mut parts = existing.components();
                let Some(last) = parts.next_back() else { return Err(error) };
                // A dangling link is not "nothing there": writing through it would land where it points.
                if existing.symlink_metadata().is_ok() {
                    let aim = fs::read_link(existing)?;
                    let aim = existing.parent().unwrap_or(Path::new("/")).join(aim);
                    let mut resolved = resolve(&aim)?;
                    resolved.extend(rest.iter().rev());
                    return Ok(resolved);
                }
                rest.push(last.as_os_str().to_owned());
                existing = parts.as_path();
            }
            Err(error) => return Err(error),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    #[test]
    fn writes_whole_files_and_replaces_them() {
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("a.dpx");
        write_atomically(&target, b"first").unwrap();
        write_atomically(&target, b"second").unwrap();
        assert_eq!(fs::read(&target).unwrap(), b"second");
        assert_eq!(names(folder.path()), ["a.dpx"]);
    }

    #[test]
    fn leaves_nothing_behind_when_it_fails() {
        let folder = tempfile::tempdir().unwrap();
        // A folder that is not empty stands where the file should go: the rename must fail.
        let target = folder.path().join("a.dpx");
        fs::create_dir_all(target.join("inside")).unwrap();
        let text = write_atomically(&target, b"bytes").unwrap_err().to_string();
        assert!(text.contains("a.dpx: it cannot be written"), "{text}");
        assert_eq!(names(folder.path()), ["a.dpx"]);
        assert!(write_atomically(&folder.path().join("none").join("a.dpx"), b"bytes").is_err());
        assert_eq!(names(folder.path()), ["a.dpx"]);
    }

    #[test]
    fn refuses_the_scans_folder_and_everything_inside() {
        let root = tempfile::tempdir().unwrap();
        let scans = root.path().join("scans");
        fs::create_dir_all(scans.join("old")).unwrap();
        fs::write(scans.join("a.0001.dpx"), b"").unwrap();
        for bad in ["scans", "scans/old", "scans/new/deeper", "scans/../scans", "out/../scans/x"] {
            for start in [scans.clone(), scans.join("a.0001.dpx")] {
                let text = check_target(&start, &root.path().join(bad)).unwrap_err().to_string();
                assert!(text.contains("folder of the scans"), "{bad}: {text}");
            }
        }
        for good in ["out", "scans-repaired", "out/scans", "scans/../out", "."] {
            check_target(&scans, &root.path().join(good)).unwrap();
        }
        assert!(check_target(&root.path().join("none"), root.path()).is_err());
    }

    #[cfg(unix)]
    #[test]
    fn follows_links() {
        use std::os::unix::fs::symlink;
        let root = tempfile::tempdir().unwrap();
        let scans = root.path().join("scans");
        fs::create_dir_all(&scans).unwrap();
        symlink(&scans, root.path().join("door")).unwrap();
        symlink(scans.join("not-yet"), root.path().join("dangling")).unwrap();
        symlink("scans/also-not", root.path().join("relative")).unwrap();
        for bad in ["door", "door/x", "dangling", "dangling/x", "relative"] {
            assert!(check_target(&scans, &root.path().join(bad)).is_err(), "{bad}");
            assert!(check_target(&root.path().join("door"), &root.path().join(bad)).is_err(), "{bad} by the door");
        }
    }
}
