//! What is wrong with a file: where, what, and how to mend it; as data and as text with the place underlined.

use super::suggest::nearest;
use crate::explain::{Explain, Status};
use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use serde::Serialize;
use std::fmt;
use std::io;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Beyond this many the rest are only counted: nobody reads further, and a file of garbage has thousands.
const SHOWN_AT_MOST: usize = 100;

/// One mistake in a file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Diagnostic {
    /// Bytes of the offending text in the file.
    pub span: Range<usize>,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// The offending text itself.
    pub text: String,
    /// What is wrong, one sentence without a full stop.
    pub message: String,
    /// How to mend it.
    pub help: String,
}

/// Every mistake of one file, in the order of its lines.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FileErrors {
    /// The file, as the user named it.
    pub file: String,
    /// The mistakes; never empty.
    pub errors: Vec<Diagnostic>,
    #[serde(skip)]
    text: String,
}

impl FileErrors {
    /// The mistakes `errors` of the file `file` that holds `text`.
    pub(crate) fn new(file: &str, text: &str, mut errors: Vec<Diagnostic>) -> Self {
        errors.sort_by_key(|e| (e.span.start, e.span.end));
        Self { file: file.to_owned(), errors, text: text.to_owned() }
    }

    /// All mistakes with their lines underlined, and how to mend each; `styled` adds colours.
    pub fn render(&self, styled: bool) -> String {
        self.blocks(styled, true)
    }

    /// All mistakes with their lines underlined, of a file that is nobody's to mend.
    pub fn render_without_help(&self, styled: bool) -> String {
        self.blocks(styled, false)
    }

    fn blocks(&self, styled: bool, help: bool) -> String {
        let renderer = if styled { Renderer::styled().hyperlink(false) } else { Renderer::plain() };
        let mut blocks: Vec<String> =
            self.errors.iter().take(SHOWN_AT_MOST).map(|e| self.block(&renderer, e, help)).collect();
        if let Some(more) = self.errors.len().checked_sub(SHOWN_AT_MOST).filter(|n| *n > 0) {
            blocks.push(format!("and {more} more; mend these first"));
        }
        blocks.join("\n\n")
    }

    fn block(&self, renderer: &Renderer, error: &Diagnostic, help: bool) -> String {
        let snippet = Snippet::source(self.text.as_str())
            .path(self.file.as_str())
            .annotation(AnnotationKind::Primary.span(error.span.clone()));
        let group = Level::ERROR.primary_title(error.message.as_str()).element(snippet);
        let advice = help.then(|| Level::HELP.message(error.help.as_str()));
        renderer.render(&[group.elements(advice)])
    }
}

impl fmt::Display for FileErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.errors.as_slice() {
            [] => write!(f, "{} cannot be read", self.file),
            [first, rest @ ..] => {
                write!(f, "{}:{}:{}: {}", self.file, first.line, first.column, first.message)?;
                match rest.len() {
                    0 => Ok(()),
                    1 => write!(f, " (and 1 more error)"),
                    n => write!(f, " (and {n} more errors)"),
                }
            }
        }
    }
}

impl std::error::Error for FileErrors {}

impl Explain for FileErrors {
    fn hint(&self) -> Option<String> {
        self.errors.first().map(|e| e.help.clone())
    }

    fn report(&self, styled: bool) -> Option<String> {
        Some(self.render(styled))
    }
}

/// Why a file did not become a type.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    /// There is no such file.
    #[error("there is no file {}", .path.display())]
    Missing {
        /// The file.
        path: PathBuf,
        /// What was probably meant.
        near: Option<PathBuf>,
    },
    /// It is a folder.
    #[error("{} is a folder, and a file is wanted", .0.display())]
    Folder(PathBuf),
    /// The disk did not hand it over.
    #[error("{} cannot be read: {source}", .path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// It was read, and has mistakes.
    #[error(transparent)]
    Wrong(#[from] FileErrors),
}

impl Explain for LoadError {
    fn status(&self) -> Status {
        match self {
            LoadError::Missing { .. } | LoadError::Folder(_) | LoadError::Wrong(_) => Status::BadInput,
            LoadError::Unreadable { .. } => Status::Device,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            LoadError::Missing { near: Some(near), .. } => Some(format!("did you mean {}?", near.display())),
            LoadError::Missing { path, .. } if path.ends_with("vehicle.toml") => Some(
                "hingeline new LAYOUT NAME writes a starter: NAME/vehicle.toml and NAME/rig.toml".to_owned(),
            ),
            LoadError::Missing { .. } => Some("check the name and the folder you are in".to_owned()),
            LoadError::Folder(_) => Some("name the file in it".to_owned()),
            LoadError::Unreadable { .. } => None,
            LoadError::Wrong(errors) => errors.hint(),
        }
    }

    fn report(&self, styled: bool) -> Option<String> {
        match self {
            LoadError::Wrong(errors) => errors.report(styled),
            _ => None,
        }
    }
}

/// The text of the file at `path`.
///
/// # Errors
/// If there is none, if it cannot be read, or if it is not UTF-8; then the first bad byte is shown in its line.
pub fn read_text(path: &Path) -> Result<String, LoadError> {
    let bytes = std::fs::read(path).map_err(|source| match source.kind() {
        io::ErrorKind::NotFound => LoadError::Missing { path: path.to_owned(), near: near(path) },
        io::ErrorKind::IsADirectory => LoadError::Folder(path.to_owned()),
        _ => LoadError::Unreadable { path: path.to_owned(), source },
    })?;
    match String::from_utf8(bytes) {
        Ok(text) => Ok(text),
        Err(error) => {
            let good = error.utf8_error().valid_up_to();
            let text = String::from_utf8_lossy(error.as_bytes()).into_owned();
            let width = char::REPLACEMENT_CHARACTER.len_utf8();
            let diagnostic = locate(
                &text,
                good..good + width,
                "these bytes are not UTF-8 text".to_owned(),
                "save the file as UTF-8 in your editor".to_owned(),
            );
            Err(FileErrors::new(&path.display().to_string(), &text, vec![diagnostic]).into())
        }
    }
}

/// The path that was probably meant where there is none: its first part that is not there, as its folder has it.
fn near(path: &Path) -> Option<PathBuf> {
    let there = path.ancestors().skip(1).find(|folder| folder.as_os_str().is_empty() || folder.is_dir())?;
    let missing =
        path.strip_prefix(there).ok()?.components().next()?.as_os_str().to_string_lossy().into_owned();
    let folder = if there.as_os_str().is_empty() { Path::new(".") } else { there };
    let names: Vec<String> = std::fs::read_dir(folder)
        .ok()?
        .flatten()
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .filter(|name| !name.starts_with('.') && *name != missing)
        .collect();
    let named = there.join(nearest(&missing, names.iter().map(String::as_str))?);
    let whole = path.strip_prefix(there.join(&missing)).map(|rest| named.join(rest)).ok();
    Some(whole.filter(|whole| whole.is_file()).unwrap_or(named))
}

/// A diagnostic at `span` of `text`, with its line and column.
pub(crate) fn locate(text: &str, span: Range<usize>, message: String, help: String) -> Diagnostic {
    let start = text.floor_char_boundary(span.start.min(text.len()));
    let end = text.ceil_char_boundary(span.end.clamp(start, text.len()));
    let before = text.get(..start).unwrap_or_default();
    let line_start = before.rfind('\n').map_or(0, |i| i + 1);
    let line = before.bytes().filter(|b| *b == b'\n').count() + 1;
    let column = before.get(line_start..).unwrap_or_default().chars().count() + 1;
    let offending = text.get(start..end).unwrap_or_default().to_owned();
    Diagnostic { span: start..end, line, column, text: offending, message, help }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_lines_and_characters() {
        let text = "é = 1\nzwei = ü\n";
        let at = text.find('ü').unwrap();
        let d = locate(text, at..at + 2, String::new(), String::new());
        assert_eq!((d.line, d.column, d.text.as_str()), (2, 8, "ü"));
        // Half a character and beyond the end are pulled to whole characters within the text.
        let d = locate(text, at + 1..usize::MAX, String::new(), String::new());
        assert_eq!((d.line, d.column, d.text.as_str()), (2, 8, "ü\n"));
    }

    #[test]
    fn a_flood_is_counted_not_shown() {
        let text: String = (0..SHOWN_AT_MOST + 7).map(|i| format!("k{i} = 1\n")).collect();
        let errors = (0..SHOWN_AT_MOST + 7).map(|_| locate(&text, 0..2, "wrong".into(), "mend it".into()));
        let rendered = FileErrors::new("f.toml", &text, errors.collect()).render(false);
        assert_eq!(rendered.matches("error: wrong").count(), SHOWN_AT_MOST);
        assert!(rendered.ends_with("and 7 more; mend these first"));
    }

    #[test]
    fn colour_only_where_asked() {
        let errors = FileErrors::new("f", "a = 1", vec![locate("a = 1", 0..1, "m".into(), "h".into())]);
        assert!(errors.render(true).contains('\u{1b}') && !errors.render(false).contains('\u{1b}'));
    }

    #[test]
    fn files_that_cannot_be_read_say_why() {
        let dir = tempfile::tempdir().unwrap();
        let error = read_text(&dir.path().join("vehicle.toml")).unwrap_err();
        assert!(matches!(error, LoadError::Missing { .. }) && error.status() == Status::BadInput);
        assert!(error.hint().unwrap().contains("hingeline new"));
        std::fs::create_dir(dir.path().join("Bramble")).unwrap();
        std::fs::write(dir.path().join("Bramble/vehicle.toml"), "").unwrap();
        for (typed, meant) in [("Brambel", "Bramble"), ("bramble/vehicle.toml", "Bramble/vehicle.toml")] {
            let hint = read_text(&dir.path().join(typed)).unwrap_err().hint().unwrap();
            assert_eq!(hint, format!("did you mean {}?", dir.path().join(meant).display()));
        }
        let error = read_text(dir.path()).unwrap_err();
        assert!(matches!(error, LoadError::Folder(_)) && error.status() == Status::BadInput, "{error}");
        let path = dir.path().join("latin.toml");
        std::fs::write(&path, b"format = 1\nname = \"M\xfcller\"\n").unwrap();
        let LoadError::Wrong(errors) = read_text(&path).unwrap_err() else {
            panic!("bytes were taken for text")
        };
        assert_eq!((errors.errors[0].line, errors.errors[0].column), (2, 10));
        assert!(errors.render(false).contains("UTF-8"));
    }
}
