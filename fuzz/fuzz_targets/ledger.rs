#![no_main]

#[path = "../bodies/ledger.rs"]
mod body;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    body::ledger(bytes);
});
