//! A JSON document to a checked value.

mod check;
mod mend;
mod parse;
mod shape;

pub use mend::{Mended, mended};

use measure::{Problem, Problems};
use schemars::JsonSchema;
use serde::de::DeserializeOwned;

/// The document as a `T`, or everything that keeps it from being one.
///
/// The text is parsed with strict grammar (one slip ends it, with line and column); then the whole of it is held against
/// the schema of `T` and every misfit gathered: missing and unknown fields, wrong kinds, numbers out of bounds, unknown
/// words, lists too short or too long. Only a document that fits is handed to serde; what serde still refuses becomes one
/// problem with its place. Refused outright: a field twice in one object, nesting over 64, numbers that are not finite,
/// anything after the document, and sizes over [`measure::bounds::DOCUMENT_BYTES`]. `file` is the name for the messages.
///
/// ```
/// #[derive(serde::Deserialize, schemars::JsonSchema)]
/// #[serde(deny_unknown_fields)]
/// struct Wall {
///     #[schemars(range(min = 100.0, max = 20000.0))]
///     height_mm: f64,
/// }
/// let problems = intake::json::read::<Wall>("wall.json", br#"{"height_cm": 240}"#).err().unwrap();
/// assert_eq!(problems.to_string(), "wall.json:1: height_cm = 240: unknown unit in the field name; give it in millimetres as height_mm");
/// ```
pub fn read<T: DeserializeOwned + JsonSchema>(file: &str, bytes: &[u8]) -> Result<T, Problems> {
    Form::of::<T>().read(file, bytes)
}

/// The form of one kind of document, made once to read many.
#[derive(Debug)]
pub struct Form(shape::Shapes);

impl Form {
    /// The form of what may be handed in as a `T`.
    pub fn of<T: JsonSchema>() -> Self {
        Self::of_schema(&crate::schema::of::<T>())
    }

    /// The form a JSON Schema describes, as far as [`read`] checks it.
    pub fn of_schema(schema: &serde_json::Value) -> Self {
        Self(shape::Shapes::of(schema))
    }

    /// As [`read`], against this form.
    pub fn read<T: DeserializeOwned>(&self, file: &str, bytes: &[u8]) -> Result<T, Problems> {
        let text = crate::text::view(file, bytes)?;
        let node = parse::parse(&text).map_err(|slip| Problems::from(slip.problem(&text).file(file)))?;
        check::check(&text, &node, &self.0).map_err(|problems| problems.in_file(file))?;
        serde_json::from_str(&text).map_err(|error| refused(&text, &node, &error).in_file(file))
    }
}

/// What serde refuses in a document that fits the schema.
fn refused(text: &str, node: &parse::Node<'_>, error: &serde_json::Error) -> Problems {
    let mut what = error.to_string();
    if let Some(end) = what.rfind(" at line ") {
        what.truncate(end);
    }
    let problem = if error.line() == 0 {
        Problem::at("", what, "")
    } else {
        let line_start: usize = text.split_inclusive('\n').take(error.line() - 1).map(str::len).sum();
        // The column serde names is the byte it stopped at; the value refused began before it.
        let at = (line_start + error.column()).saturating_sub(2);
        Problem::at(check::path_at(node, at), what, "").line(error.line() as u64)
    };
    problem.into()
}
