//! How wide a text is, where it breaks, and how it stands in XML.

/// Advance widths of the printable ASCII characters in thousandths of the size: DejaVu Sans 2.37, read from its `hmtx` table.
/// It is the widest of the usual sans-serif families, so that a text that fits here fits in any of them.
const WIDTHS: [u16; 95] = [
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636, 636, 636, 636, 636, 636, 636, 636, 337,
    337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632, 575, 775, 752, 295, 295, 656, 557, 863, 748, 787, 603, 787, 695, 635, 611, 732,
    684, 989, 685, 611, 685, 390, 337, 390, 838, 500, 500, 613, 635, 550, 635, 615, 352, 635, 634, 278, 278, 579, 278, 974, 634, 612, 635,
    635, 411, 521, 392, 634, 592, 818, 592, 592, 525, 636, 337, 636, 838,
];
/// Bold letters of that family are on average 1.12 times as wide; single ones up to 1.26.
const BOLD: f64 = 1.15;

/// Width of a line of text.
pub fn width_mm(text: &str, size_mm: f64, bold: bool) -> f64 {
    let thousandths: f64 = text.chars().map(advance).sum();
    thousandths / 1000.0 * size_mm * if bold { BOLD } else { 1.0 }
}

fn advance(c: char) -> f64 {
    match c {
        ' '..='~' => f64::from(WIDTHS[c as usize - 32]),
        '\u{300}'..='\u{36f}' => 0.0,
        c if (c as u32) < 0x1100 => 800.0,
        '\u{2010}'..='\u{2027}' => 1000.0,
        '\u{2212}' => 838.0,
        _ => 1100.0,
    }
}

/// The text in lines no wider than asked, at most so many; what does not fit ends in an ellipsis.
pub fn wrapped(text: &str, size_mm: f64, bold: bool, width: f64, most: usize) -> Vec<String> {
    let fits = |line: &str| width_mm(line, size_mm, bold) <= width;
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let joined = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if fits(&joined) {
            line = joined;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for c in word.chars() {
            if !line.is_empty() && !fits(&format!("{line}{c}")) {
                lines.push(std::mem::take(&mut line));
            }
            line.push(c);
        }
        if lines.len() > most {
            break;
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            *last = shortened(&format!("{last} \u{2026}"), size_mm, bold, width);
        }
    }
    lines
}

/// The text cut to a width, an ellipsis at its end where it was cut.
pub fn shortened(text: &str, size_mm: f64, bold: bool, width: f64) -> String {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if width_mm(&text, size_mm, bold) <= width {
        return text;
    }
    let mut kept = String::new();
    for c in text.trim_end_matches('\u{2026}').chars() {
        if width_mm(&format!("{kept}{c}\u{2026}"), size_mm, bold) > width {
            break;
        }
        kept.push(c);
    }
    format!("{}\u{2026}", kept.trim_end())
}

/// The text as XML takes it: markup escaped, characters XML 1.0 (2.2) does not allow replaced.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\t' | '\n' | '\r' => out.push(' '),
            '\u{0}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            // Marks that would turn the reading direction of what follows.
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => {}
            c => out.push(c),
        }
    }
    out
}

/// With so many decimals and a true minus sign.
pub fn decimal(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().any(|c| c.is_ascii_digit() && c != '0') => format!("\u{2212}{digits}"),
        Some(digits) => digits.into(),
        None => text,
    }
}

/// With three figures at most, for litres and the like: 0.04, 1.7, 38, 410.
pub fn figures(value: f64) -> String {
    let size = value.abs();
    if size >= 9.95 {
        decimal(value, 0)
    } else if size >= 0.095 {
        decimal(value, 1)
    } else {
        decimal(value, 2)
    }
}

/// A fall as 1:n, and nothing else; level ground is "level".
pub fn one_to(fall: f64) -> String {
    if !fall.is_finite() || fall.abs() < 1e-4 {
        return "level".into();
    }
    let run = 1.0 / fall.abs();
    if run < 20.0 { format!("1:{}", decimal(run, 1).trim_end_matches(".0")) } else { format!("1:{run:.0}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_names_are_wrapped_and_then_cut() {
        let lines = wrapped("a very long name of a wall that nobody would print on one line", 3.0, false, 30.0, 3);
        assert_eq!(lines.len(), 3);
        assert!(lines.iter().all(|line| width_mm(line, 3.0, false) <= 30.0), "{lines:?}");
        assert!(lines[2].ends_with('\u{2026}'));
        let word = wrapped(&"x".repeat(500), 3.0, false, 30.0, 2);
        assert_eq!(word.len(), 2);
        assert!(wrapped("", 3.0, false, 30.0, 2).is_empty());
    }

    #[test]
    fn markup_in_a_name_stays_text() {
        assert_eq!(escaped("<b>&\"x\"\u{0}\n"), "&lt;b&gt;&amp;&quot;x&quot;\u{fffd} ");
    }

    #[test]
    fn numbers_read_as_on_paper() {
        assert_eq!(decimal(-17.25, 1), "\u{2212}17.2");
        assert_eq!(decimal(-0.01, 1), "0.0");
        assert_eq!(["0.04", "0.4", "3.8", "10", "410"], [0.04, 0.4, 3.8, 9.96, 410.2].map(figures).each_ref().map(String::as_str));
        assert_eq!(["1:80", "1:12.5", "level", "1:12"], [0.0125, 0.08, 0.0, 1.0 / 12.0].map(one_to).each_ref().map(String::as_str));
    }
}
