#![no_main]

#[path = "../../bodies/mod.rs"]
mod bodies;

libfuzzer_sys::fuzz_target!(|data: &str| bodies::sheet(data));
