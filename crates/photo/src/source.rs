//! A file as it is walked through.

use measure::{Problem, Problems};
use std::io::{BufRead, BufReader, Error, ErrorKind, Read, Seek, SeekFrom, Write, copy};

/// Why a copy was not made.
#[derive(Debug)]
pub enum Fault {
    /// The file is not what it should be, or of a kind from which nothing can be taken.
    Wrong(Problems),
    /// It could not be read, or its copy not written.
    Io(Error),
}

impl From<Error> for Fault {
    fn from(error: Error) -> Self {
        // Everything is measured against the length first, so this is a file that became shorter meanwhile.
        if error.kind() == ErrorKind::UnexpectedEof { ends_early() } else { Self::Io(error) }
    }
}

/// The file is damaged.
pub(crate) fn wrong(what: impl Into<String>, right: impl Into<String>) -> Fault {
    Fault::Wrong(Problem::at("", what, right).into())
}

fn ends_early() -> Fault {
    wrong("the file ends early", "a whole file")
}

/// A reader that knows where it stands and how long the file is.
pub(crate) struct Source<R> {
    from: BufReader<R>,
    /// Bytes before here.
    pub at: u64,
    /// Bytes of the file.
    pub length: u64,
}

impl<R: Read + Seek> Source<R> {
    /// From the beginning.
    pub fn new(mut from: R) -> Result<Self, Error> {
        let length = from.seek(SeekFrom::End(0))?;
        from.seek(SeekFrom::Start(0))?;
        Ok(Self { from: BufReader::new(from), at: 0, length })
    }

    /// Bytes still to come.
    pub fn left(&self) -> u64 {
        self.length - self.at
    }

    /// The next bytes; the caller bounds how many.
    pub fn bytes(&mut self, count: usize) -> Result<Vec<u8>, Fault> {
        if count as u64 > self.left() {
            return Err(ends_early());
        }
        let mut bytes = vec![0; count];
        self.from.read_exact(&mut bytes)?;
        self.at += count as u64;
        Ok(bytes)
    }

    /// The next `N` bytes.
    pub fn array<const N: usize>(&mut self) -> Result<[u8; N], Fault> {
        if N as u64 > self.left() {
            return Err(ends_early());
        }
        let mut bytes = [0; N];
        self.from.read_exact(&mut bytes)?;
        self.at += N as u64;
        Ok(bytes)
    }

    /// Stands there next.
    pub fn go(&mut self, to: u64) -> Result<(), Fault> {
        if to > self.length {
            return Err(ends_early());
        }
        self.from.seek_relative(to as i64 - self.at as i64)?;
        self.at = to;
        Ok(())
    }

    /// Over so many bytes.
    pub fn skip(&mut self, count: u64) -> Result<(), Fault> {
        self.go(self.at.saturating_add(count))
    }

    /// Goes to the next JPEG marker that ends coded picture data: not a stuffed zero, not a restart (ISO/IEC 10918-1, B.1.1).
    pub fn find_marker(&mut self) -> Result<(), Fault> {
        let mut after_ff = false;
        loop {
            let seen = self.from.fill_buf()?;
            let count = seen.len();
            if count == 0 {
                return Err(ends_early());
            }
            let mut found = None;
            for (i, byte) in seen.iter().enumerate() {
                if after_ff && !matches!(byte, 0 | 0xd0..=0xd7 | 0xff) {
                    found = Some(i + 1);
                    break;
                }
                after_ff = *byte == 0xff;
            }
            let used = found.unwrap_or(count);
            self.from.consume(used);
            self.at += used as u64;
            if found.is_some() {
                return self.go(self.at - 2);
            }
        }
    }

    /// Copies bytes of the file.
    pub fn copy(&mut self, from: u64, count: u64, to: &mut dyn Write) -> Result<(), Fault> {
        self.go(from)?;
        let copied = copy(&mut (&mut self.from).take(count), to)?;
        self.at += copied;
        if copied == count { Ok(()) } else { Err(ends_early()) }
    }
}
