/// A computation's name on the first line, its input after it; whether it gives a result.
pub fn compute(bytes: &[u8]) -> bool {
    let end = bytes.iter().position(|b| *b == b'\n').unwrap_or(bytes.len());
    let (name, input) = bytes.split_at(end);
    let name = String::from_utf8_lossy(name);
    match engine::registry::run(name.trim(), input.get(1..).unwrap_or_default()) {
        Err(problems) => {
            assert!(!problems.to_string().is_empty(), "a refusal says why");
            false
        }
        Ok(output) => {
            let output: serde_json::Value = serde_json::from_slice(&output).expect("a computation writes JSON");
            assert!(output.is_object(), "a result has named fields");
            true
        }
    }
}
