#![no_main]

#[path = "../bodies/job_folder.rs"]
mod body;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    body::job_folder(bytes);
});
