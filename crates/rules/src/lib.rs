//! Rule packs as data, and which of their rules apply.
//!
//! A *pack* is a folder of JSON under `packs/`: editions, rules, worked cases. No limit, clause or class name stands in this
//! crate; a new place is a new folder. All of `packs/` is built in.
//!
//! 1. [`Packs::embedded`] gives every pack; [`Packs::with`] adds the project's own.
//! 2. [`Packs::applicable`] picks by the job's [`Frame`] (basis date, place, building class ...) the rules that hold, with
//!    what could not be decided; [`Applicable::fitting`] picks among them by detail, zone and [`Facts`].
//! 3. [`Rule::judge`] and [`Rule::judge_reading`] give the verdict of a measured value, [`Rule::seen`] of a look.
//!
//! Three things never happen silently: an unknown fact never picks a rule, a rule nobody verified never decides, and a
//! height is never compared with a limit that counts from elsewhere.
//!
//! ```
//! use measure::{Decision, Grade, Measured, Verdict};
//! let packs = rules::Packs::embedded();
//! let frame = rules::Frame { basis_date: Some("2024-03-01".into()), country: Some("AU".into()), building_class: Some("1a".into()), ..Default::default() };
//! let applicable = packs.applicable(&frame);
//! let fall = applicable.rule("au/fall-to-waste").unwrap();
//! let judgement = fall.judge(Measured::new(0.0151, 0.0008).unwrap(), 12, Grade::Measured, Decision::default());
//! assert_eq!(judgement.verdict, Verdict::Conforms);
//! assert!(judgement.source.starts_with("NCC 2022, HP 10.2.12"));
//! ```

mod cases;
mod classes;
mod date;
mod datum;
mod facts;
pub mod format;
mod load;
mod one_of;
mod packs;
mod rule;
mod select;
mod words;

pub use cases::check_cases;
pub use classes::ClassOf;
pub use datum::{Step, to_datum};
pub use facts::{Fact, Facts, fact};
pub use format::{Confidence, Quantity, Status, VerifiedBy};
pub use one_of::{Route, one_of};
pub use packs::{Pack, Packs};
pub use rule::{Asked, Fit, Reading, Rule, Standing};
pub use select::{Applicable, Frame, PackUsed, Undecided};
pub use words::Vocabulary;

/// The published schemas of the pack files, by file: `pack`, `rules`, `quantities`, `words`.
pub fn schemas() -> [(&'static str, schemars::Schema); 4] {
    [
        ("pack", schemars::schema_for!(format::PackFile)),
        ("rules", schemars::schema_for!(format::RulesFile)),
        ("quantities", schemars::schema_for!(format::QuantitiesFile)),
        ("words", schemars::schema_for!(format::WordsFile)),
    ]
}
