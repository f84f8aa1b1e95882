//! An archive that would unpack to far more than it is ends with an error and little memory. The only test of its program:
//! what is held at most is counted for the whole of it.
#![cfg(target_os = "linux")]

mod packing;

use std::fs;
use std::io::{Cursor, Write};
use std::path::Path;
use std::process::Command;

use packing::archive;
use runtrue::packed::archive::{Archive, ArchiveError, MOST_FILES};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// An archive of so many bytes as are all zero: a thousandth of its size on the drive.
fn bomb(files: usize, bytes_each: usize) -> Vec<u8> {
    let zeros = vec![0; 1 << 20];
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for n in 0..files {
        zip.start_file(format!("t{n}.csv"), SimpleFileOptions::default()).unwrap();
        (0..bytes_each / zeros.len()).for_each(|_| zip.write_all(&zeros).unwrap());
    }
    zip.finish().unwrap().into_inner()
}

/// Most memory that this process has held, bytes.
fn most_memory() -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap() << 10
}

#[test]
fn more_than_a_weekend_is_refused_before_it_is_unpacked() {
    let open = |bytes: &[u8]| Archive::open(Cursor::new(bytes)).map(|_| ()).unwrap_err();
    let (many, large) = (bomb(MOST_FILES + 1, 0), bomb(3, 100 << 20));
    let before = most_memory();
    assert!(matches!(open(&many), ArchiveError::TooManyFiles));
    assert!(matches!(open(&large), ArchiveError::TooLarge));
    // One that says to be small and is not: both places of its size are written over.
    let mut liar = bomb(1, 100 << 20);
    let size = (100u32 << 20).to_le_bytes();
    let places: Vec<usize> = liar.windows(4).enumerate().filter(|(_, w)| *w == size).map(|(at, _)| at).collect();
    assert!(!places.is_empty());
    places.into_iter().for_each(|at| liar[at..at + 4].copy_from_slice(&1000u32.to_le_bytes()));
    let mut opened = Archive::open(Cursor::new(liar.as_slice())).unwrap();
    assert!(matches!(opened.read(Path::new("t0.csv")), Err(ArchiveError::Damaged)));
    assert!(most_memory() - before < 32 << 20, "{} MB", (most_memory() - before) >> 20);
    // And one whose directory promises what is not there.
    let mut promised = archive(&[("t1.csv", b"time,rpm\n0,1\n")]);
    let end = promised.len() - 22;
    promised[end + 8..end + 12].copy_from_slice(&[0xff; 4]);
    assert!(matches!(open(&promised), ArchiveError::TooManyFiles | ArchiveError::Damaged));
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bomb.zip");
    fs::write(&path, &large).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_runtrue")).arg("review").arg(&path).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(output.status.code(), Some(1));
    assert!(said.contains("has more than 256 MB hint: unpack it yourself"), "{said}");
}
