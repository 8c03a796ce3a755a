//! The unfolded room with the film of one membrane: what was read where, what each kind of place came to, and, with enough
//! readings, the film between them.

mod bands;
mod dots;
mod given;
mod mosaic;
mod strata;

pub use given::{FilmDot, FilmGrid, FilmOnRoom, FilmStratum, FilmUm, Stands};

use crate::net::{self, Flat};
use crate::sheet::{Block, Head};
use crate::svg::Svg;
use crate::{Scene, ink, plan, text};
use bands::Bands;
use dots::Dots;

const ABOUT: &str = "The room laid flat, floor in the middle and walls folded out, to scale. Each reading of the film is drawn at \
                     its place: a full dot where it reaches the limit, a ring where it is below, a cross where it was not counted, \
                     a square at a cut-out. Letters stand for the kinds of place judged together, listed with their mean and its \
                     interval.";

/// The unfolded room with the readings of one membrane's film, its strata by verdict, and the map where there is one.
pub fn film(scene: &Scene, film: &FilmOnRoom) -> String {
    let flat = Flat::of(scene);
    let head = Head { name: film.id, what: &format!("Film thickness: {}", film.words), about: ABOUT, rest: "see the assessment" };
    let dots = Dots::of(film);
    let bands = Bands::of(&flat.net, film);
    flat.sheet(&head, scene, &blocks(scene, film, &dots, bands.as_ref()), patterns, |sheet| {
        let Flat { room, net } = &flat;
        let lines = match &bands {
            Some(bands) => bands.draw(sheet),
            None => {
                strata::areas(sheet, net, film);
                Vec::new()
            }
        };
        net::faces(sheet, net);
        let openings = net::holes(sheet, room, net);
        net::ties(sheet, room, net);
        net::floor(sheet, room);
        strata::lines(sheet, net, film, bands.is_some());
        plan::things(sheet, room);
        let drawn = dots.draw(sheet, net);
        strata::letters(sheet, net, film);
        dots.names(sheet, &drawn, bands.is_some());
        bands::names(sheet, &lines);
        net::dimensions(sheet, room, net);
        net::names(sheet, room, net, &openings);
        plan::thing_names(sheet, room, net::NAMES_MM);
    })
}

fn blocks(scene: &Scene, film: &FilmOnRoom, dots: &Dots, bands: Option<&Bands>) -> Vec<Block> {
    let mut blocks = Vec::new();
    blocks.push(Block::Text(match film.asked {
        "" => "Nothing is asked of this film.".into(),
        asked => asked.to_owned(),
    }));
    if let Some(limit) = film.limit_um {
        blocks.push(Block::Text(format!("The limit for each reading: {}", um(limit))));
    }
    if !film.strata.is_empty() {
        blocks.push(Block::Heading("Mean film, in brackets where it lies to 95 %".into()));
        blocks.extend(strata::blocks(film));
    }
    blocks.push(Block::Heading("Readings".into()));
    blocks.extend(dots.legend());
    if let Some(bands) = bands {
        blocks.push(Block::Heading("Between the readings".into()));
        blocks.extend(bands.legend());
    }
    blocks.extend(film.notes.iter().chain(scene.notes).map(|note| Block::Text(note.clone())));
    blocks
}

fn patterns(svg: &mut Svg) {
    ink::define_marks(svg);
    bands::define_hatching(svg);
}

/// "450 µm", with the sign for a thousandth.
fn um(value: f64) -> String {
    format!("{} \u{b5}m", text::decimal(value, 0))
}
