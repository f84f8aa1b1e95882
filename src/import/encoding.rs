//! Bytes to text: which character encoding a log was written in.
//!
//! Order: the user's word, a byte-order mark, the stride of NUL bytes (UTF-16), strict UTF-8, then
//! the legacy encodings, judged by how many of our own header words and units each one yields, with
//! `chardetng` as the last resort (alone it takes a Windows-1252 `µs` for Big5).

use std::borrow::Cow;

use encoding_rs::{BIG5, Encoding, GB18030, SHIFT_JIS, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::names;

/// Bytes at the head of a file that decide on its encoding.
const HEAD: usize = 1 << 16;
/// Bytes decoded at a time.
const STEP: usize = 1 << 18;

/// Decoded text and how it was decoded.
pub struct Decoded<'a> {
    /// The text without a byte-order mark.
    pub text: Cow<'a, str>,
    /// WHATWG name of the encoding.
    pub name: &'static str,
    /// Whether some bytes had no meaning in the encoding and became U+FFFD.
    pub damaged: bool,
}

/// Decodes `bytes`; `stated` is an encoding label of the WHATWG standard that the user gave.
pub fn decode<'a>(bytes: &'a [u8], stated: Option<&'static Encoding>) -> Decoded<'a> {
    let encoding = stated.unwrap_or_else(|| detect(bytes));
    if encoding == UTF_8 {
        let (text, used, damaged) = encoding.decode(bytes);
        return Decoded { text, name: used.name(), damaged };
    }
    // Step by step: at once the library makes room for three times the bytes.
    let mut decoder = encoding.new_decoder();
    let (mut text, mut damaged) = (String::with_capacity(bytes.len() + bytes.len() / 16), false);
    let steps = bytes.chunks(STEP).count();
    for (at, step) in bytes.chunks(STEP).enumerate() {
        text.reserve(decoder.max_utf8_buffer_length(step.len()).unwrap_or(3 * step.len()));
        damaged |= decoder.decode_to_string(step, &mut text, at + 1 == steps).2;
    }
    Decoded { text: text.into(), name: decoder.encoding().name(), damaged }
}

fn detect(bytes: &[u8]) -> &'static Encoding {
    if let Some((encoding, _)) = Encoding::for_bom(bytes) {
        return encoding;
    }
    let head = &bytes[..bytes.len().min(HEAD)];
    if let Some(encoding) = utf16_by_stride(head) {
        return encoding;
    }
    if is_utf8(bytes) { UTF_8 } else { legacy(bytes) }
}

/// A file may be cut in the middle of its last character.
fn is_utf8(bytes: &[u8]) -> bool {
    match std::str::from_utf8(bytes) {
        Ok(_) => true,
        Err(e) => e.error_len().is_none() && e.valid_up_to() + 4 > bytes.len() && e.valid_up_to() > 0,
    }
}

/// Digits, delimiters and line ends of a UTF-16 log leave a NUL in every second byte.
fn utf16_by_stride(head: &[u8]) -> Option<&'static Encoding> {
    let share = |parity: usize| {
        let half: Vec<u8> = head.iter().copied().skip(parity).step_by(2).collect();
        half.iter().filter(|&&b| b == 0).count() as f64 / half.len().max(1) as f64
    };
    let (even, odd) = (share(0), share(1));
    // Half of a log's characters at least are digits and delimiters, whatever its language.
    match () {
        () if odd > 0.4 && even < 0.1 => Some(UTF_16LE),
        () if even > 0.4 && odd < 0.1 => Some(UTF_16BE),
        () => None,
    }
}

fn legacy(bytes: &[u8]) -> &'static Encoding {
    // Text stands at the head (preamble, header, units) and at the tail (summary lines).
    let head = &bytes[..bytes.len().min(HEAD)];
    let known = |encoding: &'static Encoding| {
        let (text, _, damaged) = encoding.decode(head);
        if damaged && bytes.len() <= HEAD { 0 } else { names::familiar(&text) }
    };
    let candidates = [WINDOWS_1252, SHIFT_JIS, GB18030, BIG5];
    let best = candidates.into_iter().rev().max_by_key(|&e| known(e)).filter(|&e| known(e) > 0);
    best.unwrap_or_else(|| {
        if is_western(bytes) {
            return WINDOWS_1252;
        }
        let mut detector = chardetng::EncodingDetector::new(chardetng::Iso2022JpDetection::Deny);
        detector.feed(bytes, true);
        let guess = detector.guess(None, chardetng::Utf8Detection::Deny);
        if guess == encoding_rs::GBK { GB18030 } else { guess }
    })
}

/// Whether every byte beyond ASCII is a letter of the western languages or a sign of units, at most
/// two in a row: two-byte encodings come in longer rows.
fn is_western(bytes: &[u8]) -> bool {
    let mut row = 0;
    bytes.iter().all(|&b| {
        row = if b < 0x80 { 0 } else { row + 1 };
        row <= 2
            && (!(0x80..0xC0).contains(&b)
                || matches!(b, 0xB0 | 0xB1 | 0xB2 | 0xB3 | 0xB5 | 0xA0 | 0xAB | 0xBB | 0x80 | 0x96))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case("Zeit [µs];Temp [°C]\n1;2\n", WINDOWS_1252)]
    #[case("Régime;Tension\n1;2\n", WINDOWS_1252)]
    #[case("時間,回転数,電圧\n1,2,3\n", SHIFT_JIS)]
    #[case("时间,转速,电压\n1,2,3\n", GB18030)]
    fn legacy_encodings_are_told_by_their_words(#[case] text: &str, #[case] encoding: &'static Encoding) {
        let (bytes, _, _) = encoding.encode(text);
        let decoded = decode(&bytes, None);
        assert_eq!((decoded.text.as_ref(), decoded.name), (text, encoding.name().replace("GBK", "gb18030").as_str()));
    }

    #[test]
    fn utf16_without_a_mark_is_told_by_its_nul_bytes() {
        let text = "time,rpm\n0.05,1200\n0.10,1300\n";
        let le: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let be: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        assert_eq!(decode(&le, None).text, text);
        assert_eq!(decode(&be, None).text, text);
    }
}
