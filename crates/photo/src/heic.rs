//! HEIC (ISO/IEC 23008-12, boxes after ISO/IEC 14496-12): where the primary picture's EXIF, size and turn stand. Read only.

use crate::MOST_METADATA;
use crate::source::{Fault, Source, wrong};
use crate::walk::Walk;
use std::io::{Read, Seek};

pub(crate) const BRANDS: [&[u8]; 8] = [b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"];

/// Boxes at the top of a file that are looked at.
const MOST_BOXES: usize = 1000;
/// Stretches of one item.
const MOST_STRETCHES: u64 = 64;

pub(crate) fn walk<R: Read + Seek>(source: &mut Source<R>, walk: &mut Walk) -> Result<(), Fault> {
    for _ in 0..MOST_BOXES {
        let from = source.at;
        if source.left() < 8 {
            return Ok(());
        }
        let size = u64::from(u32::from_be_bytes(source.array()?));
        let name = source.array::<4>()?;
        let size = match size {
            0 => source.length - from,
            1 => u64::from_be_bytes(source.array()?),
            size => size,
        };
        let Some(body) = size.checked_sub(source.at - from) else {
            return Err(wrong(format!("damaged HEIC: no box at byte {from}"), "a whole file"));
        };
        if &name != b"meta" {
            source.skip(body)?;
            continue;
        }
        if body > MOST_METADATA as u64 {
            return Err(wrong(format!("{body} bytes of metadata"), format!("at most {MOST_METADATA}")));
        }
        let meta = source.bytes(body as usize)?;
        let about = About::read(&meta).ok_or_else(|| wrong("damaged HEIC: its metadata ends early", "a whole file"))?;
        (walk.size_px, walk.turn) = (about.size_px, about.turn);
        exif(source, walk, &about)?;
        // Editions of the standard disagree on which way.
        let told = || wrong("the picture is to be mirrored: its orientation is left open", "a picture that is only turned");
        return if about.mirrored { Err(told()) } else { Ok(()) };
    }
    Ok(())
}

/// Brings the EXIF item's stretches together. It begins with how far after these four bytes the block itself begins (23008-12,
/// A.2.1).
fn exif<R: Read + Seek>(source: &mut Source<R>, walk: &mut Walk, about: &About) -> Result<(), Fault> {
    let mut item = Vec::new();
    for stretch in &about.exif {
        let count = if stretch.count == 0 { u64::MAX } else { stretch.count }.min((MOST_METADATA - item.len()) as u64);
        match stretch.inside {
            Some(idat) => {
                let at = usize::try_from(stretch.at).unwrap_or(usize::MAX).min(idat.len());
                item.extend(&idat[at..at + (count as usize).min(idat.len() - at)]);
            }
            None => {
                source.go(stretch.at)?;
                let count = if stretch.count == 0 { count.min(source.left()) } else { count };
                item.extend(source.bytes(count as usize)?);
            }
        }
    }
    if let Some((skip, rest)) = item.split_first_chunk() {
        let block = usize::try_from(u32::from_be_bytes(*skip)).ok().and_then(|skip| rest.get(skip..));
        walk.exif = block.map(|block| block.strip_prefix(b"Exif\0\0").unwrap_or(block).to_vec());
    }
    Ok(())
}

/// What the metadata box says.
#[derive(Default)]
struct About<'a> {
    exif: Vec<Stretch<'a>>,
    size_px: Option<(u32, u32)>,
    turn: Option<u8>,
    mirrored: bool,
}

/// Where bytes of an item stand: in the file, or in the metadata box.
struct Stretch<'a> {
    at: u64,
    count: u64,
    inside: Option<&'a [u8]>,
}

/// Bytes read from the front.
#[derive(Clone, Copy)]
struct Cut<'a>(&'a [u8]);

impl<'a> Cut<'a> {
    fn bytes(&mut self, count: usize) -> Option<&'a [u8]> {
        let (bytes, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(bytes)
    }

    /// A number of so many bytes, 0 to 8.
    fn number(&mut self, bytes: usize) -> Option<u64> {
        Some(self.bytes(bytes)?.iter().fold(0, |n, byte| n << 8 | u64::from(*byte)))
    }

    /// Version of a full box; its flags.
    fn version(&mut self) -> Option<(u64, u64)> {
        Some((self.number(1)?, self.number(3)?))
    }

    /// The next box: its name and what is in it.
    fn next(&mut self) -> Option<(&'a [u8], Cut<'a>)> {
        let whole = self.0;
        let mut head = *self;
        let size = head.number(4)?;
        let name = head.bytes(4)?;
        let size = match size {
            0 => whole.len(),
            1 => usize::try_from(head.number(8)?).ok()?,
            size => usize::try_from(size).ok()?,
        };
        let body = whole.get(whole.len() - head.0.len()..size)?;
        self.0 = whole.get(size..)?;
        Some((name, Cut(body)))
    }

    /// The first box of this name.
    fn find(mut self, wanted: &[u8; 4]) -> Option<Cut<'a>> {
        loop {
            let (name, body) = self.next()?;
            if name == wanted {
                return Some(body);
            }
        }
    }
}

impl<'a> About<'a> {
    fn read(meta: &'a [u8]) -> Option<Self> {
        let mut meta = Cut(meta);
        meta.version()?;
        let mut about = Self::default();
        if let Some(properties) = meta.find(b"iprp") {
            about.properties(meta.find(b"pitm").and_then(primary)?, properties)?;
        }
        if let Some(item) = meta.find(b"iinf").and_then(exif_item) {
            about.exif = stretches(meta.find(b"iloc")?, item, meta.find(b"idat"))?;
        }
        Some(about)
    }

    /// Size and turn of the primary item (23008-12, 6.5.3, 6.5.10, 6.5.12; 9.3).
    fn properties(&mut self, primary: u64, properties: Cut) -> Option<()> {
        let mut container = properties.find(b"ipco")?;
        let mut all = Vec::new();
        while let Some(property) = container.next() {
            all.push(property);
        }
        self.turn = Some(1);
        for index in associated(properties.find(b"ipma")?, primary)? {
            let Some((name, mut body)) = index.checked_sub(1).and_then(|i| all.get(i).copied()) else { continue };
            match name {
                b"ispe" => {
                    body.version()?;
                    let size = (body.number(4)? as u32, body.number(4)? as u32);
                    self.size_px = Some(size).filter(|(w, h)| *w > 0 && *h > 0);
                }
                // Quarters against the clock; EXIF counts how the stored picture is turned.
                b"irot" => self.turn = Some([1, 8, 3, 6][usize::from(body.number(1)? as u8 & 3)]),
                b"imir" => self.mirrored = true,
                _ => {}
            }
        }
        self.turn = self.turn.filter(|_| !self.mirrored);
        Some(())
    }
}

fn primary(mut pitm: Cut) -> Option<u64> {
    let (version, _) = pitm.version()?;
    pitm.number(if version == 0 { 2 } else { 4 })
}

/// The properties of an item, as places in their container from 1.
fn associated(mut ipma: Cut, item: u64) -> Option<Vec<usize>> {
    let (version, flags) = ipma.version()?;
    for _ in 0..ipma.number(4)? {
        let which = ipma.number(if version < 1 { 2 } else { 4 })?;
        let width = if flags & 1 == 1 { 2 } else { 1 };
        let count = ipma.number(1)? as usize;
        let mut places = Cut(ipma.bytes(count * width)?);
        if which == item {
            let essential = 1 << (8 * width - 1);
            return (0..count).map(|_| Some((places.number(width)? & !essential) as usize)).collect();
        }
    }
    Some(Vec::new())
}

/// The number of the item that is EXIF.
fn exif_item(mut iinf: Cut) -> Option<u64> {
    let (version, _) = iinf.version()?;
    iinf.number(if version == 0 { 2 } else { 4 })?;
    loop {
        let (name, mut entry) = iinf.next()?;
        let (version, _) = entry.version()?;
        if name != b"infe" || version < 2 {
            continue;
        }
        let item = entry.number(if version == 2 { 2 } else { 4 })?;
        entry.number(2)?;
        if entry.bytes(4)? == b"Exif" {
            return Some(item);
        }
    }
}

/// Where an item's bytes stand (14496-12, 8.11.3).
fn stretches<'a>(mut iloc: Cut, item: u64, idat: Option<Cut<'a>>) -> Option<Vec<Stretch<'a>>> {
    let (version, _) = iloc.version()?;
    let widths = iloc.number(2)?;
    let width = |shift: u64| (widths >> shift & 15) as usize;
    let [at_bytes, count_bytes, base_bytes, index_bytes] = [width(12), width(8), width(4), if version == 0 { 0 } else { width(0) }];
    if [at_bytes, count_bytes, base_bytes, index_bytes].iter().any(|bytes| *bytes > 8) {
        return None;
    }
    let wide = if version < 2 { 2 } else { 4 };
    for _ in 0..iloc.number(wide)? {
        let which = iloc.number(wide)?;
        let method = if version == 0 { 0 } else { iloc.number(2)? & 15 };
        iloc.number(2)?;
        let base = iloc.number(base_bytes)?;
        let mut found = Vec::new();
        let stretches = iloc.number(2)?;
        if stretches > MOST_STRETCHES && at_bytes + count_bytes + index_bytes == 0 {
            return None;
        }
        for _ in 0..stretches {
            iloc.number(index_bytes)?;
            let at = base.saturating_add(iloc.number(at_bytes)?);
            let count = iloc.number(count_bytes)?;
            let inside = if method == 1 { Some(idat?.0) } else { None };
            if which == item {
                found.push(Stretch { at, count, inside });
            }
        }
        if which == item {
            return (method < 2 && stretches <= MOST_STRETCHES).then_some(found);
        }
    }
    Some(Vec::new())
}
