//! The folder that results go into: what they would replace, how it is made, how a document gets there.
//!
//! No equation: names and files. A result replaces an earlier result, never what it comes from.

use crate::files::{self, FileError, WrittenFile};
use crate::math::of_each;
use crate::report::{Picture, ReportError};
use serde::Serialize;
use std::fs::File;
use std::path::{Path, PathBuf};

/// The first of `inputs` whose place a result of one of these `names` in `folder` would take, by whatever path it is named.
pub(super) fn overwritten<'a>(
    folder: &Path,
    names: &[&str],
    inputs: impl IntoIterator<Item = &'a Path>,
) -> Option<&'a Path> {
    let real = |path: &Path| path.canonicalize().ok();
    let results: Vec<_> = names.iter().filter_map(|name| real(&folder.join(name))).collect();
    inputs.into_iter().find(|path| real(path).is_some_and(|path| results.contains(&path)))
}

/// The right to write into a folder; who comes second waits until the first is done, so that no result is a mixture of two.
pub(super) struct Held {
    _folder: Option<File>,
}

/// Makes the folder, and those above it, where they are missing, and holds it.
pub(super) fn make_folder(folder: &Path) -> Result<Held, FileError> {
    std::fs::create_dir_all(folder).map_err(|source| FileError::Io {
        path: folder.to_owned(),
        doing: "make the folder",
        source,
    })?;
    // Not every system lets a folder be locked: there each file alone is whole.
    let locked = File::open(folder).and_then(|opened| opened.lock().map(|()| opened));
    Ok(Held { _folder: locked.ok() })
}

/// Writes a document as JSON that a person can read; replaces an earlier one at once.
pub(super) fn replace_document(path: &Path, document: &impl Serialize) -> Result<(), FileError> {
    let text = format!("{:#}\n", serde_json::to_value(document).expect("text and finite numbers"));
    files::replace(path, text.as_bytes())
}

/// The files of a result as they are written, for the document that lists them.
pub(super) struct Listing<'a> {
    folder: &'a Path,
    files: Vec<WrittenFile>,
}

impl<'a> Listing<'a> {
    /// Of a folder, nothing yet.
    pub fn new(folder: &'a Path) -> Self {
        Self { folder, files: Vec::new() }
    }

    /// The path of a file that is about to be written, listed as what it is.
    pub fn add(&mut self, name: impl AsRef<Path>, what: &str) -> PathBuf {
        let path = self.folder.join(name);
        self.files.push(WrittenFile { path: path.display().to_string(), what: what.to_owned() });
        path
    }

    /// Writes pictures, each as SVG and PNG of its name; `what` says what one shows.
    pub fn pictures<E>(&mut self, pictures: &[(&str, &str, &Picture)]) -> Result<(), E>
    where
        E: From<FileError> + From<ReportError>,
    {
        let drawn = of_each(pictures, |(_, _, picture)| Ok::<_, ReportError>((picture.svg()?, picture.png()?)));
        for ((name, what, _), drawn) in pictures.iter().zip(drawn) {
            let (svg, png) = drawn?;
            files::replace(&self.add(format!("{name}.svg"), what), svg.as_bytes())?;
            files::replace(&self.add(format!("{name}.png"), what), &png)?;
        }
        Ok(())
    }

    /// Writes a picture as SVG and PNG of one name.
    pub fn picture<E>(&mut self, name: &str, what: &str, picture: &Picture) -> Result<(), E>
    where
        E: From<FileError> + From<ReportError>,
    {
        self.pictures(&[(name, what, picture)])
    }

    /// All of them.
    pub fn files(self) -> Vec<WrittenFile> {
        self.files
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_input_is_known_by_its_place_and_not_by_how_it_is_written() {
        let folder = tempfile::tempdir().unwrap();
        let inside = folder.path().join("results");
        let _held = make_folder(&inside).unwrap();
        let (input, other) = (inside.join("z.csv"), inside.join("other.csv"));
        std::fs::write(&input, "1").unwrap();
        std::fs::write(&other, "2").unwrap();
        let roundabout = inside.join("..").join("results").join("z.csv");
        let hit = |names: &[&str], input: &Path| overwritten(&inside, names, [other.as_path(), input]).is_some();
        assert!(hit(&["z.csv"], &input) && hit(&["a.csv", "z.csv"], &roundabout));
        assert!(!hit(&["a.csv"], &input), "another name");
        assert_eq!(overwritten(folder.path(), &["z.csv"], [input.as_path()]), None, "another folder");
    }
}
