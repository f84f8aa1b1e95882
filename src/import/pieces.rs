//! A text cut at line ends into pieces that can be read apart.

/// Length of a piece: much less, and the work of starting one shows; the log of a run is one or two.
const PIECE_BYTES: usize = 1 << 19;

/// Some lines of a text.
pub struct Piece<'a> {
    /// The lines, their ends included.
    pub text: &'a [u8],
    /// Line of the first in the file, from 1.
    pub first_line: u64,
    /// How many line ends it has.
    pub line_ends: usize,
    /// Whether the file ends with it.
    pub ends_file: bool,
}

impl<'a> Piece<'a> {
    /// The end of a file, from `first_line` on.
    pub fn last(text: &'a [u8], first_line: u64) -> Self {
        Self { text, first_line, line_ends: line_ends(text), ends_file: true }
    }

    /// Line of what comes after it.
    pub fn next_line(&self) -> u64 {
        self.first_line + self.line_ends as u64
    }
}

/// The pieces of `text`, whose first line is `first_line` and after which the file goes on.
pub fn pieces(text: &[u8], first_line: u64) -> Vec<Piece<'_>> {
    let mut pieces: Vec<Piece> = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        let least = PIECE_BYTES.min(rest.len());
        let end = memchr::memchr(b'\n', &rest[least..]).map_or(rest.len(), |more| least + more + 1);
        let (text, left) = rest.split_at(end);
        let first_line = pieces.last().map_or(first_line, Piece::next_line);
        pieces.push(Piece { text, first_line, line_ends: line_ends(text), ends_file: false });
        rest = left;
    }
    pieces
}

/// Where a row starts.
pub struct Place {
    /// Byte in the text.
    pub byte: usize,
    /// Line in the text, from 1.
    pub line: u64,
}

/// Where a record of a reader of `text` starts. The reader's own place is before the line ends that it passes over
/// first: behind CR LF it is the LF of the line before.
pub fn place(record: &csv::ByteRecord, text: &[u8]) -> Place {
    let (mut byte, mut line) = record.position().map_or((0, 1), |p| (p.byte() as usize, p.line()));
    while let Some(end @ (b'\r' | b'\n')) = text.get(byte) {
        line += u64::from(*end == b'\n');
        byte += 1;
    }
    Place { byte, line }
}

/// Line ends in `text`.
pub fn line_ends(text: &[u8]) -> usize {
    memchr::memchr_iter(b'\n', text).count()
}
