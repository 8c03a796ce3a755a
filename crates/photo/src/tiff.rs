//! The entries of an EXIF block, which is laid out as a TIFF file (Exif 3.0, 4.6.2), and a new block from some of them.

/// An EXIF block.
#[derive(Clone, Copy)]
pub(crate) struct Tiff<'a> {
    bytes: &'a [u8],
    big: bool,
}

/// One field of it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Entry<'a> {
    pub tag: u16,
    /// 1 byte, 2 text, 3 short, 4 long, 5 rational, 7 undefined, ...
    pub kind: u16,
    pub count: u32,
    /// As it stands there, in the block's order of bytes.
    pub value: &'a [u8],
}

/// Bytes of one value of each kind; 129 is text in UTF-8.
fn width(kind: u16) -> Option<usize> {
    Some(match kind {
        1 | 2 | 6 | 7 | 129 => 1,
        3 | 8 => 2,
        4 | 9 | 11 => 4,
        5 | 10 | 12 => 8,
        _ => return None,
    })
}

impl<'a> Tiff<'a> {
    /// If it begins as one.
    pub fn of(bytes: &'a [u8]) -> Option<Self> {
        match bytes.get(..4)? {
            b"MM\0*" => Some(Self { bytes, big: true }),
            b"II*\0" => Some(Self { bytes, big: false }),
            _ => None,
        }
    }

    fn short(&self, bytes: &[u8]) -> Option<u16> {
        let bytes = bytes.get(..2)?.try_into().ok()?;
        Some(if self.big { u16::from_be_bytes(bytes) } else { u16::from_le_bytes(bytes) })
    }

    fn long(&self, bytes: &[u8]) -> Option<u32> {
        let bytes = bytes.get(..4)?.try_into().ok()?;
        Some(if self.big { u32::from_be_bytes(bytes) } else { u32::from_le_bytes(bytes) })
    }

    /// Where the first directory stands.
    pub fn first(&self) -> Option<u32> {
        self.long(self.bytes.get(4..)?)
    }

    /// The entries of a directory that can be read.
    pub fn entries(self, at: u32) -> impl Iterator<Item = Entry<'a>> {
        let at = at as usize;
        let count = self.bytes.get(at..).and_then(|bytes| self.short(bytes)).unwrap_or_default();
        (0..usize::from(count))
            .map_while(move |i| self.bytes.get(at + 2 + 12 * i..at + 14 + 12 * i))
            .filter_map(move |entry| self.entry(entry))
    }

    fn entry(&self, entry: &'a [u8]) -> Option<Entry<'a>> {
        let (tag, kind, count) = (self.short(entry)?, self.short(&entry[2..])?, self.long(&entry[4..])?);
        let bytes = width(kind)?.checked_mul(count as usize)?;
        let value = match bytes {
            0..=4 => entry.get(8..8 + bytes)?,
            _ => {
                let at = self.long(&entry[8..])? as usize;
                self.bytes.get(at..at.checked_add(bytes)?)?
            }
        };
        Some(Entry { tag, kind, count, value })
    }

    /// A directory's entry of this tag; of several the first.
    pub fn find(self, at: u32, tag: u16) -> Option<Entry<'a>> {
        self.entries(at).find(|entry| entry.tag == tag)
    }

    /// A whole number.
    pub fn number(&self, entry: Entry) -> Option<u32> {
        match entry.kind {
            1 => entry.value.first().copied().map(u32::from),
            3 => self.short(entry.value).map(u32::from),
            4 => self.long(entry.value),
            _ => None,
        }
    }

    /// Fractions; one over nothing is none.
    pub fn rationals(&self, entry: Entry) -> Option<Vec<f64>> {
        if entry.kind != 5 {
            return None;
        }
        let fraction = |bytes: &[u8]| Some((self.long(bytes)?, self.long(&bytes[4..])?)).filter(|(_, under)| *under > 0);
        entry.value.chunks_exact(8).take(3).map(|bytes| fraction(bytes).map(|(over, under)| f64::from(over) / f64::from(under))).collect()
    }

    /// A block with these entries and no others: those of the picture, and those of its taking. None when there are none.
    pub fn only(&self, picture: &[Entry], taking: &[Entry]) -> Vec<u8> {
        const TAKING: u16 = 0x8769;
        if picture.is_empty() && taking.is_empty() {
            return Vec::new();
        }
        let mut out = Vec::from(if self.big { *b"MM\0*" } else { *b"II*\0" });
        out.extend(self.write(8));
        let pointer = (!taking.is_empty()).then_some(TAKING);
        let at = self.directory(&mut out, picture, pointer);
        if let Some(at) = at {
            let here = self.write(out.len() as u32);
            out[at..at + 4].copy_from_slice(&here);
            self.directory(&mut out, taking, None);
        }
        out
    }

    /// Writes a directory and its values; where the value of the pointer stands, if it has one.
    fn directory(&self, out: &mut Vec<u8>, entries: &[Entry], pointer: Option<u16>) -> Option<usize> {
        let short = |n: u16| if self.big { n.to_be_bytes() } else { n.to_le_bytes() };
        let count = entries.len() + usize::from(pointer.is_some());
        let mut values_at = out.len() + 2 + 12 * count + 4;
        let mut values: Vec<u8> = Vec::new();
        out.extend(short(count as u16));
        for entry in entries {
            out.extend([short(entry.tag), short(entry.kind)].concat());
            out.extend(self.write(entry.count));
            if entry.value.len() <= 4 {
                out.extend(entry.value.iter().copied().chain([0; 4]).take(4));
            } else {
                out.extend(self.write(values_at as u32));
                let padding = entry.value.len() % 2;
                values.extend(entry.value);
                values.extend(&[0][..padding]);
                values_at += entry.value.len() + padding;
            }
        }
        let at = pointer.map(|tag| {
            out.extend([short(tag), short(4)].concat());
            out.extend(self.write(1));
            out.extend([0; 4]);
            out.len() - 4
        });
        out.extend([0; 4]);
        out.extend(values);
        at
    }

    fn write(&self, n: u32) -> [u8; 4] {
        if self.big { n.to_be_bytes() } else { n.to_le_bytes() }
    }
}
