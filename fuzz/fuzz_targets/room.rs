#![no_main]

#[path = "../bodies/room.rs"]
mod body;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    body::room(bytes);
});
