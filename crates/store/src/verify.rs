//! Checks a whole record, wherever it lies.

use crate::files::{Files, StoreFiles};
use crate::{Error, Result, Store};
use ledger::verify::{Anchor, Report, Verifier};
use measure::Problem;

/// What of the record is sound and what is damaged; `anchors` are heads kept outside it. A file that can't be read is damage
/// of that file, and the others are checked all the same.
pub fn verify(files: &mut dyn Files, anchors: Vec<Anchor>) -> Result<Report> {
    let mut verifier = Verifier::new();
    let mut unreadable = Vec::new();
    for (name, _) in files.names()? {
        let mut is_empty = true;
        let read = files.read(&name, &mut |piece| {
            is_empty = false;
            verifier.feed(&name, piece);
            Ok(())
        });
        match read {
            Ok(()) if is_empty => {
                verifier.feed(&name, b"");
            }
            Ok(()) => {}
            Err(error) => unreadable.push(Problem::at("", error.to_string(), "").file(&name)),
        }
    }
    anchors.into_iter().for_each(|anchor| verifier.anchor(anchor));
    let mut report = verifier.finish();
    report.files.extend(unreadable);
    Ok(report)
}

/// The same for a job of a store, with the tables that stand beside the record.
pub fn verify_store(store: &dyn Store, job: &str, anchors: Vec<Anchor>) -> Result<Report> {
    let mut files = StoreFiles::of(store, job, "")?;
    let mut report = verify(&mut files, anchors)?;
    for log in files.logs() {
        let of_tree = report.log(&log.log).and_then(|found| found.head.as_ref());
        if of_tree.is_some_and(|head| head.size == log.size && head.root != log.root) {
            report.files.push(Problem::at("", format!("the stored root of log {} is not the one it signed", log.log), ""));
        }
    }
    match store.faults(job) {
        Ok(faults) => report.files.extend(faults.into_iter().map(|fault| Problem::at("", fault, ""))),
        Err(error @ Error::Damaged { .. }) => report.files.push(Problem::at("", error.to_string(), "")),
        Err(error) => return Err(error),
    }
    Ok(report)
}
