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

/// Start value of the hash (draft-eastlake-fnv, section 5).
const OFFSET_BASIS: u64 = 0xcbf2_9ce4_8422_2325;
/// Its multiplier.
const PRIME: u64 = 0x0100_0000_01b3;

/// The hash of `bytes`.
pub fn fnv_1a(bytes: &[u8]) -> u64 {
    bytes.iter().fold(OFFSET_BASIS, |hash, byte| (hash ^ u64::from(*byte)).wrapping_mul(PRIME))
}

/// The hash of `text` as 16 hexadecimal digits: two different texts share one in about one case of 10¹⁹.
pub fn fingerprint(text: &str) -> String {
    format!("{:016x}", fnv_1a(text.as_bytes()))
}
