//! A short number that stands for a text or for bytes.
//!
//! FNV-1a, 64 bits (IETF draft-eastlake-fnv): the same on every machine and in every version of Rust, so that it may be
//! stored and compared later; the standard library's hash promises neither. It tells honest inputs apart and is no
//! defence against forged ones.
//!
//! ```
//! // A test vector of the draft, appendix C.
//! assert_eq!(runtrue::fingerprint::fnv_1a(b"foobar"), 0x8594_4171_f739_67e8);
//! ```

use std::io::{self, Read};

/// Bytes that are read at a time.
const PIECE_BYTES: usize = 1 << 18;
/// Start value of the hash (draft-eastlake-fnv, section 5).
const OFFSET_BASIS: u64 = 0xcbf2_9ce4_8422_2325;
/// Its multiplier.
const PRIME: u64 = 0x0100_0000_01b3;

/// The hash of `bytes`.
pub fn fnv_1a(bytes: &[u8]) -> u64 {
    go_on(OFFSET_BASIS, bytes)
}

/// The hash of all bytes of `reader`, read piece by piece as long as it `is_wanted`.
///
/// # Errors
/// If it cannot be read, or is no longer wanted.
pub fn fnv_1a_of_reader(mut reader: impl Read, is_wanted: impl Fn() -> bool) -> io::Result<u64> {
    let mut piece = vec![0; PIECE_BYTES];
    let mut hash = OFFSET_BASIS;
    loop {
        match reader.read(&mut piece) {
            Ok(0) => return Ok(hash),
            Ok(_) if !is_wanted() => return Err(io::ErrorKind::Interrupted.into()),
            Ok(count) => hash = go_on(hash, &piece[..count]),
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
}

fn go_on(hash: u64, bytes: &[u8]) -> u64 {
    bytes.iter().fold(hash, |hash, byte| (hash ^ u64::from(*byte)).wrapping_mul(PRIME))
}

/// The hash of `text` as 16 hexadecimal digits: two different texts share one in about one case of 10¹⁹.
pub fn fingerprint(text: &str) -> String {
    format!("{:016x}", fnv_1a(text.as_bytes()))
}
