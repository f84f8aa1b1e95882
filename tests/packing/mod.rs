//! Archives and workbooks made for tests.
#![allow(dead_code)]

use std::io::{Cursor, Write};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

/// An archive with these files.
pub fn archive(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        zip.start_file(*name, SimpleFileOptions::default().compression_method(CompressionMethod::Deflated)).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

/// A cell of a worksheet as a workbook writes it.
pub enum Cell {
    /// A number, in the style with this index.
    Number(f64, u8),
    /// Text.
    Text(String),
    /// Nothing.
    Blank,
}

/// Index of the style for plain numbers.
pub const PLAIN: u8 = 0;
/// Index of the style for a date with its time.
pub const MOMENT: u8 = 1;
/// Index of the style for a time of day.
pub const CLOCK: u8 = 2;

/// Letters of a column, from 0.
fn letters(column: usize) -> String {
    let last = char::from(b'A' + (column % 26) as u8).to_string();
    if column < 26 { last } else { letters(column / 26 - 1) + &last }
}

fn worksheet(rows: &[Vec<Cell>]) -> String {
    let mut xml = String::from(
        r#"<?xml version="1.0" encoding="UTF-8"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>"#,
    );
    for (row, cells) in rows.iter().enumerate() {
        xml += &format!("<row r=\"{}\">", row + 1);
        for (column, cell) in cells.iter().enumerate() {
            let place = format!("{}{}", letters(column), row + 1);
            xml += &match cell {
                Cell::Number(number, style) => format!("<c r=\"{place}\" s=\"{style}\"><v>{number}</v></c>"),
                Cell::Text(text) => {
                    let text = text.replace('&', "&amp;").replace('<', "&lt;");
                    format!("<c r=\"{place}\" t=\"inlineStr\"><is><t>{text}</t></is></c>")
                }
                Cell::Blank => String::new(),
            };
        }
        xml += "</row>";
    }
    xml + "</sheetData></worksheet>"
}

/// The parts of a workbook with these worksheets.
pub fn parts(worksheets: &[(&str, Vec<Vec<Cell>>)]) -> Vec<(String, String)> {
    const HEAD: &str = r#"<?xml version="1.0" encoding="UTF-8"?>"#;
    let main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
    let relations = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    let package = "http://schemas.openxmlformats.org/package/2006";
    let numbered = || (1..=worksheets.len()).zip(worksheets);
    let list: String =
        numbered().map(|(n, (name, _))| format!("<sheet name=\"{name}\" sheetId=\"{n}\" r:id=\"rId{n}\"/>")).collect();
    let links: String = numbered()
        .map(|(n, _)| {
            format!("<Relationship Id=\"rId{n}\" Type=\"{relations}/worksheet\" Target=\"worksheets/sheet{n}.xml\"/>")
        })
        .collect();
    let styles = format!(
        "{HEAD}<styleSheet xmlns=\"{main}\"><cellXfs count=\"3\"><xf numFmtId=\"0\"/><xf numFmtId=\"22\"/><xf numFmtId=\"21\"/></cellXfs></styleSheet>"
    );
    let mut parts = vec![
        (
            "[Content_Types].xml".to_owned(),
            format!(
                "{HEAD}<Types xmlns=\"{package}/content-types\"><Default Extension=\"xml\" ContentType=\"application/xml\"/></Types>"
            ),
        ),
        (
            "_rels/.rels".to_owned(),
            format!(
                "{HEAD}<Relationships xmlns=\"{package}/relationships\"><Relationship Id=\"rId1\" Type=\"{relations}/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>"
            ),
        ),
        (
            "xl/workbook.xml".to_owned(),
            format!("{HEAD}<workbook xmlns=\"{main}\" xmlns:r=\"{relations}\"><sheets>{list}</sheets></workbook>"),
        ),
        (
            "xl/_rels/workbook.xml.rels".to_owned(),
            format!(
                "{HEAD}<Relationships xmlns=\"{package}/relationships\">{links}<Relationship Id=\"rId99\" Type=\"{relations}/styles\" Target=\"styles.xml\"/></Relationships>"
            ),
        ),
        ("xl/styles.xml".to_owned(), styles),
    ];
    parts.extend(numbered().map(|(n, (_, rows))| (format!("xl/worksheets/sheet{n}.xml"), worksheet(rows))));
    parts
}

/// A workbook with these worksheets.
pub fn workbook(worksheets: &[(&str, Vec<Vec<Cell>>)]) -> Vec<u8> {
    let parts = parts(worksheets);
    let files: Vec<(&str, &[u8])> = parts.iter().map(|(name, xml)| (name.as_str(), xml.as_bytes())).collect();
    archive(&files)
}

/// The rows of a small log: time, revs, volts and amperes, from `row` on.
pub fn log_rows(first: Cell, rows: usize, time: impl Fn(usize) -> Cell) -> Vec<Vec<Cell>> {
    let text = |words: &str| Cell::Text(words.to_owned());
    let mut all = vec![vec![first, text("RPM"), text("Voltage [V]"), text("Current [A]")]];
    all.extend((0..rows).map(|n| {
        vec![
            time(n),
            Cell::Number((n % 40 * 700) as f64, PLAIN),
            Cell::Number(8.4 - n as f64 * 1e-3, PLAIN),
            Cell::Number(2.5 + (n % 7) as f64, PLAIN),
        ]
    }));
    all
}
