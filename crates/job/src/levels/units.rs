//! Lengths as people write them: millimetres to feet and inches, with fractions.

use intake::csv::number;

/// A unit of length a column or file may declare.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unit {
    Mm,
    Cm,
    M,
    Inch,
    /// Whole numbers count sixteenths of an inch.
    Sixteenth,
    Foot,
}

const INCH_MM: f64 = 25.4;

impl Unit {
    /// Words for messages.
    pub const KNOWN: &str = "mm, cm, m, in, 1/16 in or ft";

    /// From what stands in a heading or a `# unit:` line.
    pub fn named(text: &str) -> Option<Self> {
        let plain: String = text.trim().to_lowercase().chars().filter(|c| !c.is_whitespace()).collect();
        Some(match plain.as_str() {
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => Self::Mm,
            "cm" | "centimetre" | "centimetres" | "centimeter" | "centimeters" => Self::Cm,
            "m" | "metre" | "metres" | "meter" | "meters" => Self::M,
            "in" | "inch" | "inches" | "\"" => Self::Inch,
            "1/16in" | "1/16\"" | "in/16" | "sixteenth" | "sixteenths" | "16ths" => Self::Sixteenth,
            "ft" | "foot" | "feet" | "'" | "ft-in" | "ftin" => Self::Foot,
            _ => return None,
        })
    }

    pub fn in_mm(self) -> f64 {
        match self {
            Self::Mm => 1.0,
            Self::Cm => 10.0,
            Self::M => 1000.0,
            Self::Inch => INCH_MM,
            Self::Sixteenth => INCH_MM / 16.0,
            Self::Foot => 12.0 * INCH_MM,
        }
    }

    fn is_imperial(self) -> bool {
        matches!(self, Self::Inch | Self::Sixteenth | Self::Foot)
    }
}

/// A length with what its writing tells.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Length {
    pub mm: f64,
    /// Smallest step its writing can express.
    pub step_mm: f64,
    /// The digits as written and what the last of them is worth, where it is a plain decimal number.
    pub digits: Option<Digits>,
}

/// `1055,0` in a column of millimetres: 10550 tenths of 1 mm.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Digits {
    pub negative: bool,
    pub digits: Vec<u8>,
    pub decimals: usize,
    pub unit_mm: f64,
}

impl Digits {
    pub fn mm(&self) -> f64 {
        let text: String = self.digits.iter().map(|d| (b'0' + d) as char).collect();
        let whole: f64 = text.parse().unwrap_or(f64::NAN);
        let sign = if self.negative { -1.0 } else { 1.0 };
        sign * whole / measure::math::pow(10.0, self.decimals as f64) * self.unit_mm
    }

    /// What the last digit is worth.
    fn step_mm(&self) -> f64 {
        self.unit_mm / measure::math::pow(10.0, self.decimals as f64)
    }
}

/// The length a cell holds: a number in the column's unit, a number with its own unit (`1.055 m`), inches with a fraction
/// (`3 5/16`, `3-5/16"`), feet and inches (`5' 3 1/2"`). What is wrong with it otherwise.
pub(super) fn length(cell: &str, unit: Unit, delimiter: u8) -> Result<Length, String> {
    let text = plain(cell);
    if let Some((feet, inches)) = text.split_once('\'').or_else(|| text.split_once("ft")) {
        return feet_and_inches(feet.trim(), inches, delimiter);
    }
    for (ending, own) in [
        ("mm", Unit::Mm),
        ("cm", Unit::Cm),
        ("inches", Unit::Inch),
        ("inch", Unit::Inch),
        ("in", Unit::Inch),
        ("\"", Unit::Inch),
        ("m", Unit::M),
    ] {
        if let Some(rest) = text.strip_suffix(ending) {
            return plain_or_fraction(rest.trim(), own, delimiter);
        }
    }
    plain_or_fraction(&text, unit, delimiter)
}

/// One spelling for minus signs, quotes, fractions and spaces.
fn plain(cell: &str) -> String {
    let mut text = String::new();
    for c in cell.trim().to_lowercase().chars() {
        match c {
            '\u{2212}' | '–' => text.push('-'),
            '′' | '’' | '‘' => text.push('\''),
            '″' | '”' | '“' => text.push('"'),
            '\u{a0}' | '\u{202f}' | '\u{2009}' => text.push(' '),
            '⁄' => text.push('/'),
            '½' => text.push_str(" 1/2"),
            '¼' => text.push_str(" 1/4"),
            '¾' => text.push_str(" 3/4"),
            '⅛' => text.push_str(" 1/8"),
            '⅜' => text.push_str(" 3/8"),
            '⅝' => text.push_str(" 5/8"),
            '⅞' => text.push_str(" 7/8"),
            c => text.push(c),
        }
    }
    text.replace("''", "\"").trim().to_string()
}

fn plain_or_fraction(text: &str, unit: Unit, delimiter: u8) -> Result<Length, String> {
    if text.contains('/') {
        if !unit.is_imperial() {
            return Err("a fraction in a metric column".into());
        }
        return fraction(text);
    }
    let value = number(text, delimiter)?;
    let digits = digits(text, unit.in_mm());
    let step_mm = digits.as_ref().map_or(unit.in_mm(), Digits::step_mm);
    Ok(Length { mm: value * unit.in_mm(), step_mm, digits })
}

/// The digits of a plain decimal number; none where it has a power of ten or too many of them.
fn digits(text: &str, unit_mm: f64) -> Option<Digits> {
    let unsigned = text.trim_start_matches(['-', '+']);
    let decimals = unsigned.find(['.', ',']).map_or(0, |at| unsigned.len() - at - 1);
    let digits: Vec<u8> = unsigned.bytes().filter(|b| !matches!(b, b'.' | b',')).map(|b| b.wrapping_sub(b'0')).collect();
    let sound = digits.iter().all(|d| *d <= 9) && (1..=12).contains(&digits.len());
    sound.then(|| Digits { negative: text.starts_with('-'), digits, decimals, unit_mm })
}

/// `3 5/16`, `3-5/16` or `5/16`, in inches.
fn fraction(text: &str) -> Result<Length, String> {
    let negative = text.starts_with('-');
    let unsigned = text.trim_start_matches(['-', '+']).trim();
    let (whole, part) = match unsigned.rsplit_once([' ', '-']) {
        Some((whole, part)) => (whole.trim().trim_end_matches('-').trim(), part),
        None => ("0", unsigned),
    };
    let count = |text: &str| text.trim().parse::<u32>().map(f64::from);
    let (Some((above, below)), Ok(whole)) = (part.split_once('/'), count(whole)) else {
        return Err("not a length such as 3 5/16".into());
    };
    match (count(above), count(below)) {
        (Ok(above), Ok(below)) if [2.0, 4.0, 8.0, 16.0, 32.0, 64.0].contains(&below) && above < below => {
            let inches = whole + above / below;
            Ok(Length { mm: if negative { -inches } else { inches } * INCH_MM, step_mm: INCH_MM / below, digits: None })
        }
        _ => Err("not a fraction of an inch such as 5/16".into()),
    }
}

fn feet_and_inches(feet: &str, inches: &str, delimiter: u8) -> Result<Length, String> {
    let negative = feet.starts_with('-');
    let feet = number(feet.trim_start_matches('-'), delimiter)?;
    let inches = inches.trim().trim_start_matches('-').trim();
    let inches = inches.trim_end_matches('"').trim_end_matches("inches").trim_end_matches("inch").trim_end_matches("in").trim();
    let rest = if inches.is_empty() {
        Length { mm: 0.0, step_mm: INCH_MM, digits: None }
    } else {
        plain_or_fraction(inches, Unit::Inch, delimiter)?
    };
    if !(0.0..12.0 * INCH_MM).contains(&rest.mm) {
        return Err("twelve or more inches beside feet".into());
    }
    let mm = feet * 12.0 * INCH_MM + rest.mm;
    Ok(Length { mm: if negative { -mm } else { mm }, step_mm: rest.step_mm, digits: None })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_as_people_write_them() {
        for (cell, unit, mm) in [
            ("1055", Unit::Mm, 1055.0),
            ("1055,5", Unit::Mm, 1055.5),
            ("105.55", Unit::Cm, 1055.5),
            ("1,0555", Unit::M, 1055.5),
            ("1.0555 m", Unit::Mm, 1055.5),
            ("-12 mm", Unit::M, -12.0),
            ("3 5/16", Unit::Inch, 84.1375),
            ("3-5/16\"", Unit::Mm, 84.1375),
            ("5/16", Unit::Inch, 7.9375),
            ("-3 5/16", Unit::Inch, -84.1375),
            ("3⅝", Unit::Inch, 92.075),
            ("3.5", Unit::Inch, 88.9),
            ("53", Unit::Sixteenth, 84.1375),
            ("3 5/16", Unit::Sixteenth, 84.1375),
            ("5' 3 1/2\"", Unit::Mm, 1612.9),
            ("5′-3½″", Unit::Mm, 1612.9),
            ("5 ft 3 in", Unit::Mm, 1600.2),
            ("5'", Unit::Mm, 1524.0),
            ("-1' 6\"", Unit::Mm, -457.2),
            ("5.5", Unit::Foot, 1676.4),
        ] {
            let found = length(cell, unit, b';').unwrap_or_else(|what| panic!("{cell}: {what}"));
            assert!((found.mm - mm).abs() < 1e-9, "{cell}: {} for {mm}", found.mm);
        }
    }

    #[test]
    fn what_is_no_length_is_refused() {
        for (cell, unit) in [
            ("3 5/16", Unit::Mm),
            ("3 17/16", Unit::Inch),
            ("3 5/12", Unit::Inch),
            ("5' 13\"", Unit::Mm),
            ("", Unit::Mm),
            ("/", Unit::Inch),
            ("1/", Unit::Inch),
            ("a/b", Unit::Inch),
            ("'", Unit::Mm),
            ("\"", Unit::Mm),
            ("mm", Unit::Mm),
            ("nan", Unit::Mm),
            ("inf", Unit::Mm),
            ("1e999", Unit::M),
            ("4294967296/2", Unit::Inch),
        ] {
            assert!(length(cell, unit, b';').is_err(), "{cell}: {:?}", length(cell, unit, b';'));
        }
    }

    #[test]
    fn the_step_of_a_writing_is_its_last_digit() {
        for (cell, unit, step) in
            [("1055", Unit::Mm, 1.0), ("1055,0", Unit::Mm, 0.1), ("1.055", Unit::M, 1.0), ("3 5/16", Unit::Inch, 25.4 / 16.0)]
        {
            assert!((length(cell, unit, b';').unwrap().step_mm - step).abs() < 1e-12, "{cell}");
        }
    }
}
