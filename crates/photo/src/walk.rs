//! A file taken apart into what a copy keeps and what it does not, and what stands in it on the way.

use crate::source::{Fault, Source, wrong};
use crate::{MOST_METADATA, heic, jpeg, png, webp};
use measure::Problems;
use std::io::{Error, Read, Seek};

/// How a file is put together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Container {
    Jpeg,
    Png,
    Webp,
    Heic,
}

/// A stretch of the copy.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Piece {
    /// Bytes of the file as they are.
    Same { at: u64, count: u64 },
    /// Other bytes.
    New(Vec<u8>),
}

/// What was met.
#[derive(Debug, Default)]
pub(crate) struct Walk {
    pub container: Option<Container>,
    /// The copy; its EXIF is an empty piece until it is written.
    pub pieces: Vec<Piece>,
    /// Which piece that is.
    pub exif_piece: Option<usize>,
    /// The file's first EXIF block, from its byte order on.
    pub exif: Option<Vec<u8>>,
    pub size_px: Option<(u32, u32)>,
    /// Orientation where the container itself says it.
    pub turn: Option<u8>,
    /// Nothing is wanted but facts: a walk may end where there can be none.
    pub facts_only: bool,
}

impl Piece {
    /// Bytes of the copy.
    pub fn length(&self) -> u64 {
        match self {
            Self::Same { count, .. } => *count,
            Self::New(bytes) => bytes.len() as u64,
        }
    }
}

/// Stretches of one copy; a picture of a camera has a few.
const MOST_PIECES: usize = 100_000;

impl Walk {
    /// Whether there are not too many pieces to hold.
    pub fn bounded(&self) -> Result<(), Fault> {
        if self.pieces.len() > MOST_PIECES { Err(wrong("too many segments", "a usual picture file")) } else { Ok(()) }
    }

    /// The copy has these bytes.
    pub fn keep(&mut self, from: u64, to: u64) {
        match self.pieces.last_mut() {
            Some(Piece::Same { at, count }) if *at + *count == from => *count += to - from,
            _ => self.pieces.push(Piece::Same { at: from, count: to - from }),
        }
    }

    /// Reads an EXIF block of so many bytes, as much of it as is looked at. The first counts.
    pub fn take_exif<R: Read + Seek>(&mut self, source: &mut Source<R>, count: u64) -> Result<(), Fault> {
        let end = source.at + count;
        if self.exif.is_none() {
            let bytes = source.bytes(count.min(MOST_METADATA as u64) as usize)?;
            self.exif = Some(bytes.strip_prefix(b"Exif\0\0").map(<[u8]>::to_vec).unwrap_or(bytes));
            self.exif_piece = Some(self.pieces.len());
            self.pieces.push(Piece::New(Vec::new()));
        }
        source.go(end)
    }
}

/// Walks through a file, and says what stopped it before its end.
pub(crate) fn walk(from: impl Read + Seek, facts_only: bool) -> Result<(Walk, Problems), Error> {
    let mut source = Source::new(from)?;
    walk_in(&mut source, facts_only)
}

/// The same, in a source to be read again.
pub(crate) fn walk_in<R: Read + Seek>(source: &mut Source<R>, facts_only: bool) -> Result<(Walk, Problems), Error> {
    let mut walk = Walk { facts_only, ..Walk::default() };
    match go(source, &mut walk) {
        Ok(()) => Ok((walk, Problems::new())),
        Err(Fault::Wrong(problems)) => Ok((walk, problems)),
        Err(Fault::Io(error)) => Err(error),
    }
}

fn go<R: Read + Seek>(source: &mut Source<R>, walk: &mut Walk) -> Result<(), Fault> {
    let start = source.bytes(source.length.min(12) as usize)?;
    let at = |from: usize, bytes: &[u8]| start.get(from..from + bytes.len()) == Some(bytes);
    walk.container = match () {
        () if at(0, b"\xff\xd8\xff") => Some(Container::Jpeg),
        () if at(0, png::SIGNATURE) => Some(Container::Png),
        () if at(0, b"RIFF") && at(8, b"WEBP") => Some(Container::Webp),
        () if at(4, b"ftyp") && heic::BRANDS.iter().any(|brand| at(8, brand)) => Some(Container::Heic),
        () => None,
    };
    source.go(0)?;
    match walk.container {
        Some(Container::Jpeg) => jpeg::walk(source, walk),
        Some(Container::Png) => png::walk(source, walk),
        Some(Container::Webp) => webp::walk(source, walk),
        Some(Container::Heic) => heic::walk(source, walk),
        None => Ok(()),
    }
}
