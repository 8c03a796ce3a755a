//! A small SVG writer. Text is escaped, every number has at most two decimals, the same input gives the same bytes.
//!
//! Coordinates are millimetres of the page, y down. Everything is written as attributes rather than style sheets, so that a
//! drawing set into a web page or a PDF neither takes nor gives style.

use crate::page::Rect;
use crate::text;
use std::fmt::Write;

/// A place on the page: millimetres from its upper left corner.
pub type At = [f64; 2];

/// Type families, narrow to wide; the last word leaves it to the machine.
const FAMILY: &str = "Atkinson Hyperlegible, Arial, Helvetica, DejaVu Sans, sans-serif";
/// No page is this long; a number beyond it is a slip.
const FAR_MM: f64 = 1e4;

/// How a shape is filled and stroked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Paint<'a> {
    fill: &'a str,
    stroke: &'a str,
    width_mm: f64,
    dash: &'a str,
    round: bool,
}

impl<'a> Paint<'a> {
    /// Filled, without a line.
    pub const fn fill(fill: &'a str) -> Self {
        Self { fill, stroke: "none", width_mm: 0.0, dash: "", round: false }
    }

    /// A line, nothing filled.
    pub const fn line(stroke: &'a str, width_mm: f64) -> Self {
        Self { fill: "none", stroke, width_mm, dash: "", round: false }
    }

    /// Filled as well.
    pub const fn filled(mut self, fill: &'a str) -> Self {
        self.fill = fill;
        self
    }

    /// With a broken line: lengths of dash and gap in millimetres.
    pub const fn dashed(mut self, dash: &'a str) -> Self {
        self.dash = dash;
        self
    }

    /// With round ends and corners.
    pub const fn round(mut self) -> Self {
        self.round = true;
        self
    }

    fn write(&self, out: &mut String) {
        attribute(out, "fill", self.fill);
        if self.stroke != "none" {
            attribute(out, "stroke", self.stroke);
            attribute(out, "stroke-width", &number(self.width_mm));
            if !self.dash.is_empty() {
                attribute(out, "stroke-dasharray", self.dash);
            }
            if self.round {
                attribute(out, "stroke-linecap", "round");
                attribute(out, "stroke-linejoin", "round");
            }
        }
    }
}

/// Where a text stands on its line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Begins there.
    Start,
    /// Has its middle there.
    Middle,
    /// Ends there.
    End,
}

/// One line of text; its capitals are centred on the height of `at`.
#[derive(Clone, Copy, Debug)]
pub struct Text<'a> {
    text: &'a str,
    at: At,
    size_mm: f64,
    anchor: Anchor,
    bold: bool,
    ink: &'a str,
    turned_deg: f64,
}

impl<'a> Text<'a> {
    /// A line of text beginning at a place.
    pub fn new(text: &'a str, at: At, size_mm: f64) -> Self {
        Self { text, at, size_mm, anchor: Anchor::Start, bold: false, ink: crate::ink::BLACK, turned_deg: 0.0 }
    }

    /// Standing otherwise.
    pub fn anchor(mut self, anchor: Anchor) -> Self {
        self.anchor = anchor;
        self
    }

    /// In bold.
    pub fn bold(mut self) -> Self {
        self.bold = true;
        self
    }

    /// In this ink.
    pub fn ink(mut self, ink: &'a str) -> Self {
        self.ink = ink;
        self
    }

    /// Turned about its place, clockwise as seen.
    pub fn turned(mut self, degrees: f64) -> Self {
        self.turned_deg = degrees;
        self
    }
}

/// A drawing being written.
pub struct Svg {
    out: String,
    name: String,
}

impl Svg {
    /// An empty page. `name` is the root of every id in it.
    pub fn page(name: &str, [width, height]: [f64; 2], title: &str, description: &str) -> Self {
        let name = text::escaped(name);
        let mut svg = Self { out: String::new(), name: name.clone() };
        let (w, h) = (number(width), number(height));
        let _ = writeln!(
            svg.out,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\" \
             style=\"max-width:100%;height:auto\" role=\"img\" aria-labelledby=\"{name}-title {name}-about\" font-family=\"{FAMILY}\">"
        );
        let _ = writeln!(svg.out, "<title id=\"{name}-title\">{}</title>", text::escaped(title));
        let _ = writeln!(svg.out, "<desc id=\"{name}-about\">{}</desc>", text::escaped(description));
        svg.rect(Rect::new([0.0, 0.0], [width, height]), 0.0, Paint::fill("#ffffff"));
        svg
    }

    /// The whole document.
    pub fn finish(mut self) -> String {
        self.out.push_str("</svg>\n");
        self.out
    }

    /// An id that no other drawing has.
    pub fn id(&self, of: &str) -> String {
        format!("{}-{of}", self.name)
    }

    /// A fill by the id of a pattern.
    pub fn pattern_fill(&self, of: &str) -> String {
        format!("url(#{})", self.id(of))
    }

    /// A pattern of parallel lines or dots on a square tile, turned.
    pub fn pattern(&mut self, of: &str, tile_mm: f64, turned_deg: f64, draw: impl FnOnce(&mut Self)) {
        let (id, tile) = (self.id(of), number(tile_mm));
        let turned = number(turned_deg);
        let _ = write!(
            self.out,
            "<pattern id=\"{id}\" width=\"{tile}\" height=\"{tile}\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate({turned})\">"
        );
        draw(self);
        self.out.push_str("</pattern>\n");
    }

    /// Draws only inside some rings (even-odd).
    pub fn clipped(&mut self, of: &str, rings: &[Vec<At>], draw: impl FnOnce(&mut Self)) {
        let id = self.id(of);
        let _ = writeln!(self.out, "<clipPath id=\"{id}\"><path clip-rule=\"evenodd\" d=\"{}\"/></clipPath>", path(rings, true));
        let _ = writeln!(self.out, "<g clip-path=\"url(#{id})\">");
        draw(self);
        self.out.push_str("</g>\n");
    }

    /// A group with a name that shows when pointed at.
    pub fn named(&mut self, name: &str, draw: impl FnOnce(&mut Self)) {
        let _ = write!(self.out, "<g><title>{}</title>", text::escaped(name));
        draw(self);
        self.out.push_str("</g>\n");
    }

    /// A straight line.
    pub fn line(&mut self, from: At, to: At, paint: Paint) {
        self.polyline(&[from, to], paint);
    }

    /// An open line.
    pub fn polyline(&mut self, points: &[At], paint: Paint) {
        self.path(&path(&[points.to_vec()], false), paint);
    }

    /// Several open lines as one element.
    pub fn polylines(&mut self, lines: &[Vec<At>], paint: Paint) {
        self.path(&path(lines, false), paint);
    }

    /// Closed rings, holes by the even-odd rule.
    pub fn rings(&mut self, rings: &[Vec<At>], paint: Paint) {
        self.path(&path(rings, true), paint);
    }

    /// A path in SVG's own words; built with [`number`] only.
    pub fn path(&mut self, d: &str, paint: Paint) {
        if d.is_empty() {
            return;
        }
        self.out.push_str("<path");
        attribute(&mut self.out, "d", d);
        if paint.fill != "none" {
            attribute(&mut self.out, "fill-rule", "evenodd");
        }
        paint.write(&mut self.out);
        self.out.push_str("/>\n");
    }

    /// A circle.
    pub fn circle(&mut self, centre: At, radius_mm: f64, paint: Paint) {
        if !(drawable(&centre) && radius_mm.is_finite() && radius_mm > 0.0) {
            return;
        }
        let _ = write!(self.out, "<circle cx=\"{}\" cy=\"{}\" r=\"{}\"", number(centre[0]), number(centre[1]), number(radius_mm));
        paint.write(&mut self.out);
        self.out.push_str("/>\n");
    }

    /// A rectangle, its corners rounded.
    pub fn rect(&mut self, rect: Rect, radius_mm: f64, paint: Paint) {
        if !(drawable(&rect.lo) && drawable(&rect.hi)) {
            return;
        }
        let [w, h] = rect.size();
        let _ = write!(
            self.out,
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"",
            number(rect.lo[0]),
            number(rect.lo[1]),
            number(w.max(0.0)),
            number(h.max(0.0))
        );
        if radius_mm > 0.0 {
            attribute(&mut self.out, "rx", &number(radius_mm));
        }
        paint.write(&mut self.out);
        self.out.push_str("/>\n");
    }

    /// One line of text.
    pub fn text(&mut self, text: Text) {
        if !drawable(&text.at) || text.text.is_empty() {
            return;
        }
        // Capitals are about 0.72 of the size high in all these families.
        let baseline = text.at[1] + if text.turned_deg == 0.0 { 0.36 * text.size_mm } else { 0.0 };
        let _ = write!(self.out, "<text x=\"{}\" y=\"{}\"", number(text.at[0]), number(baseline));
        attribute(&mut self.out, "font-size", &number(text.size_mm));
        match text.anchor {
            Anchor::Start => {}
            Anchor::Middle => attribute(&mut self.out, "text-anchor", "middle"),
            Anchor::End => attribute(&mut self.out, "text-anchor", "end"),
        }
        if text.bold {
            attribute(&mut self.out, "font-weight", "bold");
        }
        if text.turned_deg != 0.0 {
            attribute(&mut self.out, "dy", &number(0.36 * text.size_mm));
            let turn = format!("rotate({} {} {})", number(text.turned_deg), number(text.at[0]), number(text.at[1]));
            attribute(&mut self.out, "transform", &turn);
        }
        attribute(&mut self.out, "fill", text.ink);
        self.out.push('>');
        self.out.push_str(&text::escaped(text.text));
        self.out.push_str("</text>\n");
    }
}

fn attribute(out: &mut String, name: &str, value: &str) {
    let _ = write!(out, " {name}=\"{}\"", text::escaped(value));
}

fn drawable(p: &At) -> bool {
    p.iter().all(|v| v.is_finite() && v.abs() <= FAR_MM)
}

/// Lines as SVG path data. A line with a place that is no place on a page is left out whole, and so is one without length.
fn path(lines: &[Vec<At>], closed: bool) -> String {
    let mut d = String::new();
    for line in lines.iter().filter(|line| line.len() > 1 && line.iter().all(drawable)) {
        let mut last = None;
        for (i, [x, y]) in line.iter().enumerate() {
            let place = (number(*x), number(*y));
            if last.as_ref() == Some(&place) && !(i == 1 && line.len() == 2) {
                continue;
            }
            let _ = write!(d, "{}{} {}", if i == 0 { 'M' } else { 'L' }, place.0, place.1);
            last = Some(place);
        }
        if closed {
            d.push('Z');
        }
    }
    d
}

/// A number with at most two decimals, which is 0.01 mm on paper; never a minus zero, never an exponent.
pub fn number(value: f64) -> String {
    if !value.is_finite() {
        return "0".into();
    }
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".into() } else { text.into() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_never_minus_zero() {
        let table =
            [(0.0, "0"), (-0.001, "0"), (1.0, "1"), (-2.5, "-2.5"), (1.005, "1"), (12.345678, "12.35"), (f64::NAN, "0"), (1e-9, "0")];
        for (value, expected) in table {
            assert_eq!(number(value), expected, "{value}");
        }
    }

    #[test]
    fn what_is_no_place_on_a_page_is_left_out() {
        let mut svg = Svg::page("t", [10.0, 10.0], "t", "d");
        let before = svg.out.len();
        svg.line([0.0, 0.0], [f64::NAN, 1.0], Paint::line("#000000", 1.0));
        svg.circle([f64::INFINITY, 0.0], 1.0, Paint::fill("#000000"));
        svg.rect(Rect::new([0.0, 0.0], [1e9, 1.0]), 0.0, Paint::fill("#000000"));
        svg.text(Text::new("far", [0.0, f64::NEG_INFINITY], 3.0));
        assert_eq!(svg.out.len(), before);
    }
}
