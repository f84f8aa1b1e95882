//! A text cut at line ends into pieces that can be read apart.

/// Length of a piece, bytes: much less, and the work of starting one shows; a log of a run is one or two.
const LENGTH: usize = 1 << 19;

/// Some lines of a text.
pub struct Piece<'a> {
    /// The lines, their ends included.
    pub text: &'a [u8],
    /// Line of the first.
    pub line: u64,
    /// How many.
    pub lines: usize,
}

/// The pieces of `text`, whose first line is `line`.
pub fn pieces(text: &[u8], mut line: u64) -> Vec<Piece<'_>> {
    let mut pieces = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        let from = LENGTH.min(rest.len());
        let end = rest[from..].iter().position(|&b| b == b'\n').map_or(rest.len(), |at| from + at + 1);
        let (text, left) = rest.split_at(end);
        let lines = line_ends(text);
        pieces.push(Piece { text, line, lines });
        line += lines as u64;
        rest = left;
    }
    pieces
}

/// Where a record of a reader of `text` starts, its byte and its line, the first being 1. The reader's own place is before the line ends that it passes
/// over first: behind CR LF it is the LF of the line before.
pub fn place(record: &csv::ByteRecord, text: &[u8]) -> (usize, u64) {
    let (mut at, mut line) = record.position().map_or((0, 1), |p| (p.byte() as usize, p.line()));
    while let Some(end @ (b'\r' | b'\n')) = text.get(at) {
        line += u64::from(*end == b'\n');
        at += 1;
    }
    (at, line)
}

/// Line ends in `text`.
pub fn line_ends(text: &[u8]) -> usize {
    text.iter().filter(|&&b| b == b'\n').count()
}
