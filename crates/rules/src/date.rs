//! Dates as `YYYY-MM-DD`, which sort as text.

use measure::Problem;

/// Whether the text is a day of the calendar, written `YYYY-MM-DD`.
pub(crate) fn is_date(text: &str) -> bool {
    let bytes = text.as_bytes();
    if bytes.len() != 10 || bytes[4] != b'-' || bytes[7] != b'-' {
        return false;
    }
    let digits = |range: std::ops::Range<usize>| -> Option<u32> {
        bytes[range].iter().try_fold(0, |n, b| b.is_ascii_digit().then(|| n * 10 + u32::from(b - b'0')))
    };
    let (Some(year), Some(month), Some(day)) = (digits(0..4), digits(5..7), digits(8..10)) else { return false };
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let days = match month {
        2 if leap => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        _ => return false,
    };
    (1..=days).contains(&day)
}

/// The problem with a date, if there is one.
pub(crate) fn wrong(field: impl Into<String>, text: &str) -> Option<Problem> {
    (!is_date(text)).then(|| Problem::at(field, "not a date", "write a day as 2024-03-01 (year, month, day)").value(format!("\"{text}\"")))
}

/// Whether a day lies between two, either of which may be left out.
pub(crate) fn between(day: &str, from: Option<&str>, to: Option<&str>) -> bool {
    from.is_none_or(|from| day >= from) && to.is_none_or(|to| day <= to)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_days_of_the_calendar_are_dates() {
        for good in ["2024-03-01", "2024-02-29", "2000-02-29", "1999-12-31"] {
            assert!(is_date(good), "{good}");
        }
        for bad in [
            "",
            "2023-02-29",
            "1900-02-29",
            "2024-13-01",
            "2024-00-10",
            "2024-04-31",
            "2024-1-1",
            "01.03.2024",
            "2024-03-01T00:00",
            "২০২৪-০৩",
        ] {
            assert!(!is_date(bad), "{bad}");
        }
    }
}
