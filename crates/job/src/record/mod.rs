//! A job folder that remembers: the events of a record folded to the folder's files.
//!
//! Whatever a person adds is an event of a [`ledger`] log. [`fold`] takes the events in any order and gives the [`State`]:
//! the files of the job folder, which [`crate::Job::read`] judges as it judges a folder, and beside them the notes, defects,
//! photographs, outcomes, conflicts and history. Nothing is overwritten: a changed value keeps its earlier ones, and values
//! whose authors had not seen each other are both kept and listed until somebody who has seen both decides.
//!
//! * [`read`] checks a payload before it becomes an event; [`KINDS`] and [`schema`] say what there is.
//! * A file starts from the last `document` handed in (or from a pattern room); fields changed, rows and entries added since
//!   that document was written go on top, in the file's own hand. A file nobody touched keeps every byte.
//! * An event of an unknown kind or a later version is kept and listed as not understood; one that is not what its kind may
//!   say is listed as refused, and reaches no file.

mod check;
mod differences;
mod edits;
mod fold;
pub mod import;
mod kinds;
pub mod like;
mod lossless;
mod name;
pub mod offers;
mod order;
mod outcomes;
pub mod payload;
mod rows;
pub mod state;
mod table;
mod upgrade;

pub use fold::{BlobBytes, fold, fold_until, fold_with, is_plain_name};
pub use kinds::{KINDS, Kind, NotRead, Read, find, read, schema};
pub use payload::Payload;
pub use state::State;
