#![no_main]

#[path = "../bodies/compute.rs"]
mod body;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    body::compute(bytes);
});
