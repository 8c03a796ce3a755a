//! A file that comes in pieces, cut into its lines.

/// What stands between two line breaks.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Line<'a> {
    /// With a line break after it.
    Ended(&'a [u8]),
    /// The last one, without.
    Open(&'a [u8]),
}

/// Cuts a stream into lines and never holds more of one than a line may have.
#[derive(Clone, Debug, Default)]
pub(super) struct Lines {
    held: Vec<u8>,
}

/// One byte more than the longest line that can be sound: enough to know that it is not.
const HOLD: usize = crate::event::MOST_BYTES + 1;

impl Lines {
    /// Hands on every line the piece ends.
    pub fn feed(&mut self, mut piece: &[u8], mut each: impl FnMut(Line<'_>)) {
        while let Some(end) = piece.iter().position(|byte| *byte == b'\n') {
            let (line, rest) = piece.split_at(end);
            if self.held.is_empty() {
                each(Line::Ended(line));
            } else {
                self.hold(line);
                each(Line::Ended(&self.held));
                self.held.clear();
            }
            piece = &rest[1..];
        }
        self.hold(piece);
    }

    /// Hands on what stands after the last line break, if anything.
    pub fn finish(&mut self, mut each: impl FnMut(Line<'_>)) {
        if !self.held.is_empty() {
            each(Line::Open(&self.held));
            self.held.clear();
        }
    }

    fn hold(&mut self, piece: &[u8]) {
        let room = HOLD.saturating_sub(self.held.len());
        self.held.extend_from_slice(&piece[..piece.len().min(room)]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_come_out_whole_however_the_pieces_are_cut() {
        let text = b"one\n\ntwo and more\nthree";
        for size in 1..text.len() {
            let (mut lines, mut ended, mut open) = (Lines::default(), Vec::new(), Vec::new());
            let mut each = |line: Line<'_>| match line {
                Line::Ended(line) => ended.push(line.to_vec()),
                Line::Open(line) => open.push(line.to_vec()),
            };
            text.chunks(size).for_each(|piece| lines.feed(piece, &mut each));
            lines.finish(&mut each);
            assert_eq!((ended, open), (vec![b"one".to_vec(), vec![], b"two and more".to_vec()], vec![b"three".to_vec()]), "by {size}");
        }
    }

    #[test]
    fn a_line_without_end_fills_no_memory() {
        let mut lines = Lines::default();
        for _ in 0..100 {
            lines.feed(&[b'x'; 100_000], |_| panic!("no line ended"));
        }
        assert_eq!(lines.held.len(), HOLD);
    }
}
