//! Kinds of place that were judged together: their verdict on the room, their letter, their line in the list.

use super::{FilmOnRoom, FilmStratum, um};
use crate::ink::{self, FINE_MM, GREY, WHITE};
use crate::net::{OnPage, on_page};
use crate::page::Rect;
use crate::sheet::{Block, Sheet, TEXT_MM};
use crate::signs::{pill, sign};
use crate::svg::{At, Paint};
use crate::{contour, details, text};
use room::unfold::Unfolded;

/// A letter is not said again nearer than this.
const SAME_LETTER_MM: f64 = 45.0;
/// Letters of one stratum, at most.
const LETTERS: usize = 12;
/// A letter this near to its place needs no tie.
const TIE_MM: f64 = 1.6;

/// Height of a letter's pill in the list, where lines stand close.
const LISTED_MM: f64 = 4.2;

/// A, B ... Z, AA.
pub fn letter(i: usize) -> String {
    let one = char::from(b'A' + (i % 26) as u8);
    if i < 26 { one.to_string() } else { format!("{}{one}", letter(i / 26 - 1)) }
}

/// The list: sign, letter, mean and interval.
pub fn blocks(film: &FilmOnRoom) -> Vec<Block> {
    let block = |(i, stratum): (usize, &FilmStratum)| {
        let (mark, letter) = (stratum.mark, letter(i));
        let sample = Box::new(move |svg: &mut crate::svg::Svg, rect: Rect| {
            let y = rect.middle()[1];
            sign(svg, mark, [rect.lo[0] + 2.4, y], 3.6);
            let middle = [rect.lo[0] + 8.0, y];
            pill(svg, mark, &letter, Rect::about(middle, [pill_size(&letter)[0], LISTED_MM]), TEXT_MM);
        });
        Block::Key { sample, width_mm: 12.0, number: None, words: words(stratum) }
    };
    film.strata.iter().enumerate().map(block).collect()
}

/// Smaller than this a probability of a coat missing is not worth a word.
const LEAST_PROB: f64 = 0.05;

fn words(stratum: &FilmStratum) -> String {
    let mut words = format!("{}: ", stratum.words);
    match stratum.mean_um.filter(|mean| mean.iter().all(|v| v.is_finite())) {
        Some([mean, lo, hi]) => words += &format!("{} ({} to {})", um(mean), text::decimal(lo, 0), text::decimal(hi, 0)),
        None => return format!("{}: {}: no reading", stratum.words, stratum.mark.words()),
    }
    words += &format!(", {}", stratum.mark.words());
    if let Some(prob) = stratum.prob_one_coat_short.filter(|p| *p >= LEAST_PROB) {
        words += &format!("; a coat missing: {}", per_cent(prob));
    }
    words
}

/// Never rounded to certainty.
fn per_cent(prob: f64) -> String {
    match prob {
        p if p > 0.995 => "over 99 %".into(),
        p => format!("{} %", text::decimal(100.0 * p, 0)),
    }
}

fn pill_size(letter: &str) -> [f64; 2] {
    [(text::width_mm(letter, TEXT_MM, true) + 2.2).max(4.6), 4.6]
}

fn places<'a>(sheet: &Sheet, net: &Unfolded, film: &'a FilmOnRoom) -> Vec<(usize, &'a FilmStratum<'a>, &'a str, OnPage)> {
    let mut all: Vec<_> = film
        .strata
        .iter()
        .enumerate()
        .flat_map(|(i, stratum)| stratum.details.iter().map(move |detail| (i, stratum, *detail)))
        .filter_map(|(i, stratum, detail)| Some((i, stratum, detail.name.as_str(), on_page(sheet, net, detail)?)))
        .collect();
    // The worst comes last, so that nothing lies on it.
    all.sort_by_key(|(_, stratum, ..)| stratum.mark);
    all
}

/// Areas by verdict.
pub fn areas(sheet: &mut Sheet, net: &Unfolded, film: &FilmOnRoom) {
    for (_, stratum, name, place) in places(sheet, net, film) {
        let OnPage::Areas(rings) = place else { continue };
        let fill = sheet.svg.pattern_fill(ink::pattern(stratum.mark));
        sheet.svg.named(&format!("{name}: {}", stratum.mark.words()), |svg| {
            svg.rings(&rings, Paint::fill(WHITE));
            svg.rings(&rings, Paint::line(ink::of(stratum.mark), FINE_MM).filled(&fill));
        });
    }
}

/// Runs and points by verdict; over a map the edges of the areas too.
pub fn lines(sheet: &mut Sheet, net: &Unfolded, film: &FilmOnRoom, on_map: bool) {
    for (_, stratum, name, place) in places(sheet, net, film) {
        let title = format!("{name}: {}", stratum.mark.words());
        match place {
            OnPage::Line(line) => {
                sheet.svg.named(&title, |svg| ink::run(stratum.mark).into_iter().for_each(|paint| svg.polyline(&line, paint)));
                sheet.places.spare_line(&line, 1.4);
            }
            OnPage::Areas(rings) if on_map => {
                sheet.svg.named(&title, |svg| svg.rings(&rings, Paint::line(GREY, FINE_MM).dashed("2 1")));
            }
            OnPage::Point(at) => {
                sheet.svg.named(&title, |svg| sign(svg, stratum.mark, at, 3.0));
                sheet.places.take(Rect::about(at, [3.0, 3.0]));
            }
            OnPage::Areas(_) => {}
        }
    }
}

/// The letter of each stratum at its places, the worst first.
pub fn letters(sheet: &mut Sheet, net: &Unfolded, film: &FilmOnRoom) {
    let mut said: Vec<(usize, At)> = Vec::new();
    let mut pills = Vec::new();
    for (i, stratum, _, place) in places(sheet, net, film).into_iter().rev() {
        let Some((at, clear)) = details::anchor(&place) else { continue };
        let near = said.iter().any(|(j, other)| *j == i && contour::distance(*other, at, at) < SAME_LETTER_MM);
        if near || said.iter().filter(|(j, _)| *j == i).count() >= LETTERS {
            continue;
        }
        let words = letter(i);
        if let Some(rect) = sheet.places.near(at, pill_size(&words), clear, 30.0) {
            said.push((i, at));
            pills.push((at, stratum.mark, words, rect));
        }
    }
    for (at, _, _, rect) in &pills {
        sheet.tie(*at, rect, TIE_MM);
    }
    for (_, mark, words, rect) in &pills {
        pill(&mut sheet.svg, *mark, words, *rect, TEXT_MM);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_go_on_after_z() {
        assert_eq!([0, 25, 26, 51, 52, 27 * 26].map(letter), ["A", "Z", "AA", "AZ", "BA", "AAA"]);
    }

    #[test]
    fn places_that_nobody_read_are_not_shown() {
        let unread =
            FilmStratum { words: "recess faces", details: &[], mean_um: None, mark: crate::Mark::NotShown, prob_one_coat_short: None };
        assert_eq!(words(&unread), "recess faces: not shown: no reading");
    }

    #[test]
    fn a_probability_is_never_certain() {
        assert_eq!([0.05, 0.934, 0.999, 1.0].map(per_cent), ["5 %", "93 %", "over 99 %", "over 99 %"]);
    }
}
