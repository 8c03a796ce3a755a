//! A fall as people write it: "1:80", "1 in 80", "1.25 %", "12.5 mm/m", "1/4 in 12", "0.0125".

use crate::{Bounds, Problem};

/// A fall as rise over run. Steeper than 1:1 is a slip (a run and rise swapped, a per cent sign forgotten).
pub const FALL: Bounds = Bounds { min: 0.0, max: 1.0, unit: "rise over run" };

/// What would be right, in every message.
const RIGHT: &str = "write a fall as 1:80, 1 in 80, 1.25 %, 12.5 mm/m or 0.0125";

/// A fall as rise over run (1:80 is 0.0125).
///
/// Reads `1:80`, `1 in 80`, `1.25 %`, `12.5 mm/m` and a bare ratio; numbers may have a decimal comma or be a fraction
/// (`1/4:12`, the quarter inch in twelve). Level is `0` or `0 %`. Refuses an angle ("180°": a trade article prints the
/// band 1:80 to 1:35 of BS 5385-3:2024 as "180° and 135°"), a run of zero, a negative or non-finite number, and anything
/// steeper than 1:1.
///
/// ```
/// assert_eq!(measure::ratio::parse("1:80"), Ok(0.0125));
/// assert_eq!(measure::ratio::parse("1,25 %"), Ok(0.0125));
/// assert!(measure::ratio::parse("180°").is_err());
/// ```
#[expect(clippy::result_large_err, reason = "a problem is built once, when the input is wrong")]
pub fn parse(text: &str) -> Result<f64, Problem> {
    let wrong = |what: &str| Problem::at("", what, RIGHT).value(format!("\"{text}\""));
    let text = text.trim();
    if text.is_empty() {
        return Err(wrong("a fall is missing"));
    }
    if text.contains(['°', 'º', '˚', '′', '″']) || text.to_ascii_lowercase().contains("deg") {
        return Err(wrong("an angle is not a fall"));
    }
    let ratio = if let Some((rise, run)) = rise_and_run(text) {
        let (Some(rise), Some(run)) = (number(rise), number(run)) else { return Err(wrong("not a fall")) };
        if rise < 0.0 || run < 0.0 {
            return Err(wrong("a fall is not negative"));
        }
        if run == 0.0 {
            return Err(wrong("a fall over a run of zero means nothing"));
        }
        if rise == 0.0 {
            return Err(wrong("a fall with a rise of zero is level; write 0 if that is meant"));
        }
        rise / run
    } else {
        let (digits, scale) = per_something(text);
        number(digits).ok_or_else(|| wrong("not a fall"))? / scale
    };
    if ratio < 0.0 {
        return Err(wrong("a fall is not negative"));
    }
    if !FALL.contains(ratio) {
        return Err(wrong("steeper than 1:1, which no floor is"));
    }
    Ok(ratio)
}

/// The two sides of `1:80` or `1 in 80`.
fn rise_and_run(text: &str) -> Option<(&str, &str)> {
    text.split_once(':').or_else(|| text.split_once(" in "))
}

/// The digits of a ratio, and how many of their unit make 1: 100 for per cent, 1000 for mm/m.
fn per_something(text: &str) -> (&str, f64) {
    if let Some(digits) = text.strip_suffix('%') {
        (digits, 100.0)
    } else if let Some(digits) = text.strip_suffix("mm/m") {
        (digits, 1000.0)
    } else {
        (text, 1.0)
    }
}

/// A plain decimal, point or comma, or a fraction of two; only digits, sign and separator, so "inf" and "1e9" are none.
fn number(text: &str) -> Option<f64> {
    let text = text.trim();
    if let Some((over, under)) = text.split_once('/') {
        let (over, under) = (number(over)?, number(under)?);
        return (under != 0.0).then(|| over / under);
    }
    let plain = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+');
    if text.len() > 32 || !text.chars().all(plain) {
        return None;
    }
    text.replace(',', ".").parse::<f64>().ok().filter(|x| x.is_finite())
}

/// A fall in the words of the trade: "1:80 (1.25 %)"; level is "level".
pub fn words(ratio: f64) -> String {
    if ratio == 0.0 {
        return "level".into();
    }
    if !ratio.is_finite() {
        return "no fall".into();
    }
    let back = if ratio < 0.0 { "back-fall " } else { "" };
    let run = 1.0 / ratio.abs();
    let run = if run < 20.0 { trimmed(run, 1) } else { trimmed(run, 0) };
    format!("{back}1:{run} ({} %)", trimmed(ratio.abs() * 100.0, 2))
}

/// With at most so many decimals, no trailing zeros.
fn trimmed(x: f64, decimals: usize) -> String {
    let text = format!("{x:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').into() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fall_is_read_as_people_write_it() {
        let table = [
            ("1:80", 1.0 / 80.0),
            (" 1 : 80 ", 1.0 / 80.0),
            ("1 in 80", 1.0 / 80.0),
            ("1.25 %", 0.0125),
            ("1,25%", 0.0125),
            ("12.5 mm/m", 0.0125),
            ("0.0125", 0.0125),
            ("0,0125", 0.0125),
            ("1/80", 1.0 / 80.0),
            ("1/4:12", 1.0 / 48.0),
            ("1/4 in 12", 1.0 / 48.0),
            ("2:100", 0.02),
            ("1:66.7", 1.0 / 66.7),
            ("0", 0.0),
            ("0 %", 0.0),
            ("100 %", 1.0),
        ];
        for (text, expected) in table {
            let got = parse(text).unwrap_or_else(|problem| panic!("{text}: {problem}"));
            assert!((got - expected).abs() <= 1e-15, "{text} gives {got}");
        }
    }

    /// The band 1:80 to 1:35 of BS 5385-3:2024 as a trade article (architectsdatafile.co.uk, tanking a wet room) misprints
    /// it is refused, and so is every other slip.
    #[test]
    fn what_is_not_a_fall_is_refused_with_what_would_be_right() {
        let table = [
            "",
            "  ",
            "180°",
            "135°",
            "1 deg",
            "0.7°",
            "1:0",
            "0:80",
            "-1:80",
            "1:-80",
            "-1.25 %",
            "-0.0125",
            "80",
            "1:0.5",
            "80:1",
            "1.25",
            "101 %",
            "NaN",
            "inf",
            "1e-2",
            "1:inf",
            "1:",
            ":80",
            "1::80",
            "1:80:2",
            "steep",
            "1 in",
            "in 80",
            "1/0",
            "1/0:12",
            "1.2.3 %",
            "1:8O",
            "٣ %",
            "1 in 80 in 2",
        ];
        for text in table {
            let problem = parse(text).expect_err(text);
            assert!(problem.right.contains("1:80"), "{text}");
        }
        assert!(parse("180°").unwrap_err().what.contains("angle"));
        assert!(parse("1:0").unwrap_err().what.contains("zero"));
        assert!(parse("-1:80").unwrap_err().what.contains("negative"));
    }

    #[test]
    fn a_fall_is_said_in_both_ways() {
        let table = [
            (0.0125, "1:80 (1.25 %)"),
            (1.0 / 48.0, "1:48 (2.08 %)"),
            (0.04, "1:25 (4 %)"),
            (0.08, "1:12.5 (8 %)"),
            (0.0, "level"),
            (-0.005, "back-fall 1:200 (0.5 %)"),
        ];
        for (ratio, expected) in table {
            assert_eq!(words(ratio), expected);
        }
    }

    proptest::proptest! {
        #[test]
        fn reading_never_panics(text in "\\PC{0,12}") {
            let _ = parse(&text);
        }

        #[test]
        fn one_to_n_and_per_cent_agree(n in 1u32..2000) {
            let one_to = parse(&format!("1:{n}")).unwrap();
            let per_cent = parse(&format!("{} %", 100.0 / f64::from(n))).unwrap();
            proptest::prop_assert!((one_to - per_cent).abs() < 1e-12);
        }
    }
}
