#![no_main]

#[path = "../bodies/levels.rs"]
mod body;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    body::levels(bytes);
});
