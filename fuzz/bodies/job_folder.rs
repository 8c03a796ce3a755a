/// A job folder from its bytes to a job in which every name resolves; whether it is one. Its files stand one below the other,
/// each under a line `=== name`.
pub fn job_folder(bytes: &[u8]) -> bool {
    match job::Job::read(&files(bytes)) {
        Err(problems) => {
            assert!(!problems.to_string().is_empty(), "a refusal says why");
            false
        }
        Ok(job) => {
            for reading in &job.film {
                assert!(job.register.iter().any(|detail| detail.id == reading.detail), "{reading:?}");
                let numbers = [reading.lo_um, reading.hi_um, reading.value_um, reading.u_um];
                assert!(numbers.into_iter().flatten().all(|x| x.is_finite() && x >= 0.0), "{reading:?}");
                assert!(numbers.iter().take(3).any(Option::is_some), "a reading reads something: {reading:?}");
            }
            for used in &job.coats.used {
                assert!(used.amount().is_some(), "an amount is given one way: {used:?}");
            }
            true
        }
    }
}

fn files(bytes: &[u8]) -> job::Files {
    let mut files = job::Files::new();
    let mut open: Option<String> = None;
    for line in bytes.split_inclusive(|b| *b == b'\n') {
        if let Some(name) = line.strip_prefix(b"=== ") {
            let name = String::from_utf8_lossy(name).trim().to_owned();
            files.insert(name.clone(), Vec::new());
            open = Some(name);
        } else if let Some(file) = open.as_ref().and_then(|name| files.get_mut(name)) {
            file.extend_from_slice(line);
        }
    }
    files
}
