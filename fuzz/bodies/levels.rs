/// A level file from its bytes to heights; whether it gives any.
pub fn levels(bytes: &[u8]) -> bool {
    match job::levels::read("levels.csv", bytes, &job::levels::Options::default()) {
        Err(problems) => {
            assert!(!problems.to_string().is_empty(), "a refusal says why");
            false
        }
        Ok(survey) => {
            assert!(!survey.readings.is_empty(), "a survey without a level is a problem");
            for level in &survey.readings {
                let numbers = [level.x_mm, level.y_mm, level.z_mm, level.u_mm];
                assert!(numbers.iter().all(|x| x.is_finite()) && level.u_mm >= 0.0, "{level:?}");
            }
            for suspect in &survey.suspects {
                assert!(survey.readings.iter().any(|level| level.line == suspect.line), "a suspect is never dropped");
            }
            true
        }
    }
}
