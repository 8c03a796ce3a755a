//! A number as people write it in a table.

/// The number a cell holds, or what keeps it from being one.
///
/// A decimal point or a decimal comma; a plus or minus, also the typographic minus. Refused: both signs in one number, a
/// space inside, anything that is not finite, and in a table divided by commas `"1,234"`, which may be either. Units and
/// fractions are the caller's.
///
/// ```
/// use intake::csv::number;
/// assert_eq!(number("12,5", b';'), Ok(12.5));
/// assert!(number("1.234,5", b';').is_err());
/// ```
pub fn number(cell: &str, delimiter: u8) -> Result<f64, String> {
    let cell = cell.trim();
    let plain = cell.replace('\u{2212}', "-");
    if plain.is_empty() {
        return Err("empty".into());
    }
    if plain.contains(',') && plain.contains('.') || plain.matches(',').count() > 1 || plain.matches('.').count() > 1 {
        return Err("a number with both point and comma, or several; write it without thousands separators".into());
    }
    if delimiter == b','
        && let Some((whole, fraction)) = plain.split_once(',')
        && fraction.len() == 3
        && (1..=3).contains(&whole.trim_start_matches(['-', '+']).len())
    {
        return Err(format!("may be {} or {}; write it without the comma", plain.replace(',', ""), plain.replace(',', ".")));
    }
    let point = plain.replace(',', ".");
    let digits = point.bytes().any(|b| b.is_ascii_digit());
    if !digits || !point.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'+' | b'e' | b'E')) {
        let spaced = digits && point.chars().any(char::is_whitespace);
        return Err(if spaced { "a number with a space inside".into() } else { "not a number".into() });
    }
    match point.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        Ok(_) => Err("a number too large".into()),
        Err(_) => Err("not a number".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::number;

    #[test]
    fn numbers_as_people_write_them() {
        for (cell, delimiter, expected) in [
            ("12.5", b',', Ok(12.5)),
            (" 12,5 ", b';', Ok(12.5)),
            ("12,5", b',', Ok(12.5)),
            ("-0,5", b';', Ok(-0.5)),
            ("\u{2212}3", b',', Ok(-3.0)),
            ("+3", b',', Ok(3.0)),
            ("1,234", b';', Ok(1.234)),
            ("1e3", b',', Ok(1000.0)),
            (".5", b',', Ok(0.5)),
            ("1,234", b',', Err("may be 1234 or 1.234; write it without the comma")),
            ("1.234,5", b';', Err("a number with both point and comma, or several; write it without thousands separators")),
            ("1 234", b';', Err("a number with a space inside")),
            ("NaN", b';', Err("not a number")),
            ("inf", b';', Err("not a number")),
            ("1e999", b';', Err("a number too large")),
            ("12 mm", b';', Err("a number with a space inside")),
            ("e", b';', Err("not a number")),
            ("--1", b';', Err("not a number")),
            ("", b';', Err("empty")),
        ] {
            assert_eq!(number(cell, delimiter), expected.map_err(String::from), "{cell}");
        }
    }
}
