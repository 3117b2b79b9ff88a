//! The names of the files that a capture leaves: one stem that nobody uses.
//!
//! No equation: a rule. `UNIT-response`, else `response` (or `impedance`), in a folder; taken names are counted past. A name that was
//! given is used as it is or refused.

use super::capture::CaptureError;
use crate::files::{self, CaptureKind, FileError};
use std::path::{Path, PathBuf};

/// The files of one capture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Names {
    pub(super) wav: PathBuf,
    /// The recording while it is written.
    pub(super) part: PathBuf,
    pub(super) toml: PathBuf,
    /// The description while the recording is not whole.
    pub(super) toml_part: PathBuf,
    pub(super) excitation_wav: PathBuf,
    pub(super) excitation_toml: PathBuf,
    pub(super) truth: PathBuf,
}

impl Names {
    /// Names for a capture of `unit` in `out`, none of which exists; the folder does.
    ///
    /// Whoever writes there must still refuse to overwrite.
    pub(super) fn free(out: &Path, kind: CaptureKind, unit: Option<&str>) -> Result<Self, CaptureError> {
        is_free(out)?;
        if is_name(out) {
            make_folder(out.parent().unwrap_or(Path::new("")))?;
            return Ok(Self::of(out.to_owned()));
        }
        make_folder(out)?;
        let stem = stem(kind, unit);
        let numbered = |number: u64| if number == 1 { stem.clone() } else { format!("{stem}-{number}") };
        let mut all = (1u64..).map(|number| Self::of(out.join(format!("{}.wav", numbered(number)))));
        let free = all.find(|names| names.taken().is_none());
        free.ok_or_else(|| CaptureError::Out { path: out.into() })
    }

    fn of(wav: PathBuf) -> Self {
        let toml = wav.with_extension("toml");
        Self {
            part: files::part_of(&wav),
            toml_part: files::part_of(&toml),
            toml,
            excitation_wav: wav.with_extension("excitation.wav"),
            excitation_toml: wav.with_extension("excitation.toml"),
            truth: wav.with_extension("truth.json"),
            wav,
        }
    }

    fn taken(&self) -> Option<&Path> {
        let recording = [&self.wav, &self.part, &self.toml, &self.toml_part];
        let all = recording.into_iter().chain([&self.excitation_wav, &self.excitation_toml, &self.truth]);
        all.into_iter().find(|path| path.symlink_metadata().is_ok()).map(PathBuf::as_path)
    }
}

/// The name that the files of a capture have in common, from that of its recording: `NAME.wav` or, while it is not whole, `NAME.wav.part`.
pub(super) fn stem_of(recording: &Path) -> PathBuf {
    let is_part = recording.extension().is_some_and(|ending| ending == "part");
    let wav = if is_part { recording.with_extension("") } else { recording.to_owned() };
    wav.with_extension("")
}

/// A file of the capture by its ending.
pub(super) fn beside(recording: &Path, ending: &str) -> PathBuf {
    // Not `with_extension`: the stem may have a dot of its own.
    let mut name = stem_of(recording).into_os_string();
    name.push(".");
    name.push(ending);
    name.into()
}

/// Whether `out` is meant as a file's name, not as a folder.
fn is_name(out: &Path) -> bool {
    out.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("wav")) && !out.is_dir()
}

/// Whether a capture can go to `out`: a name that nothing has, or what is, or can become, a folder.
pub(super) fn is_free(out: &Path) -> Result<(), CaptureError> {
    if !is_name(out) {
        return if out.is_file() { Err(CaptureError::Out { path: out.into() }) } else { Ok(()) };
    }
    match Names::of(out.to_owned()).taken() {
        Some(path) => Err(FileError::Exists { path: path.to_owned() }.into()),
        None => Ok(()),
    }
}

fn make_folder(folder: &Path) -> Result<(), FileError> {
    if folder.as_os_str().is_empty() {
        return Ok(());
    }
    std::fs::create_dir_all(folder).map_err(|source| FileError::Io {
        path: folder.into(),
        doing: "make the folder",
        source,
    })
}

/// Letters, digits, `-` and `_` of the unit's name; everything else might mean something to a disk, and becomes one `-`.
fn stem(kind: CaptureKind, unit: Option<&str>) -> String {
    let kind = match kind {
        CaptureKind::Response => "response",
        CaptureKind::Impedance => "impedance",
    };
    let is_plain = |letter: char| letter.is_alphanumeric() || matches!(letter, '-' | '_');
    let plain = unit.unwrap_or_default().chars().map(|letter| if is_plain(letter) { letter } else { '-' });
    let unit: String = plain.collect();
    let words: Vec<&str> = unit.split('-').filter(|word| !word.is_empty()).collect();
    words.into_iter().chain([kind]).collect::<Vec<_>>().join("-")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_names_its_files_whatever_it_is_called() {
        let stem = |unit| stem(CaptureKind::Response, unit);
        assert_eq!(stem(None), "response");
        assert_eq!(super::stem(CaptureKind::Impedance, Some("mid 1")), "mid-1-impedance");
        assert_eq!(stem(Some("rear-left")), "rear-left-response");
        assert_eq!(stem(Some("../../etc/ä b")), "etc-ä-b-response");
        assert_eq!(stem(Some("/..")), "response");
        assert_eq!(stem(Some("mid / \"ü\" .. 2")), "mid-ü-2-response");
    }

    #[test]
    fn whole_or_not_a_recording_has_the_same_files_beside_it() {
        for recording in ["a/left 1.5.wav", "a/left 1.5.wav.part"] {
            assert_eq!(beside(Path::new(recording), "toml"), Path::new("a/left 1.5.toml"));
            assert_eq!(beside(Path::new(recording), "excitation.wav"), Path::new("a/left 1.5.excitation.wav"));
        }
    }

    #[test]
    fn any_file_of_a_capture_makes_its_name_taken() {
        let folder = tempfile::tempdir().unwrap();
        let name = || {
            Names::free(folder.path(), CaptureKind::Response, Some("a")).unwrap().wav.file_name().unwrap().to_owned()
        };
        for (number, file) in
            ["wav", "wav.part", "toml", "toml.part", "excitation.wav", "excitation.toml", "truth.json"]
                .into_iter()
                .enumerate()
        {
            let stem = if number == 0 { "a-response".to_owned() } else { format!("a-response-{}", number + 1) };
            assert_eq!(name(), format!("{stem}.wav").as_str());
            std::fs::write(folder.path().join(format!("{stem}.{file}")), "").unwrap();
            let given = Names::free(&folder.path().join(format!("{stem}.wav")), CaptureKind::Response, None);
            assert!(matches!(given, Err(CaptureError::File(FileError::Exists { .. }))), "{given:?}");
        }
    }
}
