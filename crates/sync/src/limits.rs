//! The bounds of every message, defined once for checks, messages and tests.

/// Version of the messages that this code speaks.
pub const VERSION: u32 = 1;
/// Bytes of one message as JSON.
pub const MOST_MESSAGE_BYTES: usize = 8_000_000;
/// Entries of one push or one page.
pub const MOST_ENTRIES: usize = 500;
/// Bytes of the entries of one push or one page; at least one entry goes, whatever its size.
pub const MOST_ENTRIES_BYTES: usize = 2_000_000;
/// Bytes of one piece of a blob.
pub const MOST_PIECE_BYTES: usize = 1_000_000;
/// Bytes of one blob: the largest scan the record takes.
pub const MOST_BLOB_BYTES: u64 = 16_000_000_000;
/// Blobs of one offer.
pub const MOST_OFFERED: usize = 1_000;
/// Logs of one job: as many devices as an event may have seen, and the job log.
pub const MOST_LOGS: usize = ledger::event::MOST_SEEN + 1;
/// Hashes of one proof: a log of 2^40 entries needs at most 41.
pub const MOST_PROOF: usize = 64;
/// Blobs that may be on their way to the site record at once.
pub const MOST_PARTS: usize = 1_000;
/// Pushes of one device that are kept as evidence of a forked log.
pub const MOST_EVIDENCE: usize = 16;
/// Letters of a reason given by a person.
pub const MOST_WHY: usize = 1_000;
/// Questions a device remembers to have asked, so that their answers measure its clock.
pub const MOST_ASKED: usize = 64;
/// Times lie between 1970 and the last millisecond of the year 9999, the end of RFC 3339.
pub const MOST_TIME_MS: i64 = 253_402_300_799_999;

/// As many of the entries as one message takes; at least one when there is one.
pub fn fit(entries: &mut Vec<Vec<u8>>) {
    let mut bytes = 0;
    let fits = entries.iter().take(MOST_ENTRIES).take_while(|entry| {
        bytes += entry.len();
        bytes <= MOST_ENTRIES_BYTES
    });
    let count = fits.count().max(1);
    entries.truncate(count);
}
