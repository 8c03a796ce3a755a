//! The known word somebody probably meant.

/// Units as they end field and column names, with the word for people, longest first where one ends another.
const UNITS: [(&str, &str); 40] = [
    ("l_per_day", "litres a day"),
    ("mm_per_m", "millimetres in a metre"),
    ("l_day", "litres a day"),
    ("ml_h", "millilitres an hour"),
    ("l_min", "litres a minute"),
    ("l_s", "litres a second"),
    ("gpm", "gallons a minute"),
    ("percent", "per cent"),
    ("ratio", "rise over run"),
    ("share", "a share from 0 to 1"),
    ("minutes", "minutes"),
    ("hours", "hours"),
    ("days", "days"),
    ("degc", "degrees Celsius"),
    ("degf", "degrees Fahrenheit"),
    ("deg", "degrees"),
    ("mm2", "square millimetres"),
    ("cm2", "square centimetres"),
    ("m2", "square metres"),
    ("m3", "cubic metres"),
    ("mm", "millimetres"),
    ("cm", "centimetres"),
    ("um", "micrometres"),
    ("mil", "thousandths of an inch"),
    ("inch", "inches"),
    ("in", "inches"),
    ("ft", "feet"),
    ("kpa", "kilopascals"),
    ("hpa", "hectopascals"),
    ("pa", "pascals"),
    ("kg", "kilograms"),
    ("min", "minutes"),
    ("m", "metres"),
    ("l", "litres"),
    ("g", "grams"),
    ("h", "hours"),
    ("s", "seconds"),
    ("c", "degrees Celsius"),
    ("f", "degrees Fahrenheit"),
    ("k", "kelvins"),
];

/// A name without its unit, and the word for that unit: `height_mm` is (`height`, millimetres).
///
/// ```
/// assert_eq!(intake::words::stem_and_unit("height_mm"), ("height", Some("millimetres")));
/// assert_eq!(intake::words::stem_and_unit("walls"), ("walls", None));
/// ```
pub fn stem_and_unit(name: &str) -> (&str, Option<&'static str>) {
    for (unit, word) in UNITS {
        if let Some(stem) = name.strip_suffix(unit).and_then(|rest| rest.strip_suffix('_'))
            && !stem.is_empty()
        {
            return (stem, Some(word));
        }
    }
    (name, None)
}

/// How many letters must be put in, left out, changed or swapped with their neighbour to make one word of the other.
fn distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut before = vec![0; b.len() + 1];
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for i in 1..=a.len() {
        let mut next = vec![i; b.len() + 1];
        for j in 1..=b.len() {
            let changed = row[j - 1] + usize::from(a[i - 1] != b[j - 1]);
            next[j] = changed.min(row[j] + 1).min(next[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                next[j] = next[j].min(before[j - 2] + 1);
            }
        }
        before = row;
        row = next;
    }
    row[b.len()]
}

/// Longest word worth comparing: a longer one is no slip of the finger.
const LONGEST: usize = 64;

/// The known word closest to `word`, when it is close enough to be a slip: up to a third of its letters. Case, spaces,
/// hyphens and underscores do not count.
///
/// ```
/// assert_eq!(intake::words::nearest("shwer", ["dry", "shower", "splash"]), Some("shower"));
/// assert_eq!(intake::words::nearest("kitchen", ["dry", "shower", "splash"]), None);
/// ```
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    if word.len() > LONGEST {
        return None;
    }
    let plain = |s: &str| s.chars().filter(|c| !matches!(c, ' ' | '-' | '_')).flat_map(char::to_lowercase).collect::<String>();
    let word = plain(word);
    let most = (word.chars().count() / 3).max(1);
    known
        .into_iter()
        .filter(|k| k.len() <= LONGEST)
        .map(|k| (distance(&word, &plain(k)), k))
        .filter(|(d, _)| *d <= most)
        .min_by_key(|(d, _)| *d)
        .map(|(_, k)| k)
}

/// "a", "a or b", "a, b or c".
pub fn listed<S: AsRef<str>>(words: &[S]) -> String {
    match words {
        [] => String::new(),
        [one] => one.as_ref().into(),
        [first @ .., last] => format!("{} or {}", first.iter().map(AsRef::as_ref).collect::<Vec<_>>().join(", "), last.as_ref()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_of_the_finger_are_recognised() {
        for (typed, meant) in
            [("outlne_mm", "outline_mm"), ("Outline-MM", "outline_mm"), ("heigth_mm", "height_mm"), ("uotlets", "outlets")]
        {
            assert_eq!(nearest(typed, ["outline_mm", "height_mm", "outlets"]), Some(meant), "{typed}");
        }
        assert_eq!(nearest("colour", ["outline_mm", "height_mm"]), None);
        assert_eq!(nearest(&"x".repeat(100_000), ["outline_mm"]), None);
    }

    #[test]
    fn units_are_taken_from_the_end_of_a_name() {
        for (name, stem, unit) in [
            ("flow_l_min", "flow", Some("litres a minute")),
            ("area_m2", "area", Some("square metres")),
            ("margin_k", "margin", Some("kelvins")),
            ("_mm", "_mm", None),
            ("mm", "mm", None),
        ] {
            assert_eq!(stem_and_unit(name), (stem, unit));
        }
    }
}
