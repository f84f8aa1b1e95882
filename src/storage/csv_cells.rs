//! CSV (RFC 4180): the cells of a record batch; in a table, numbers without the tails that binary sums leave.

use arrow::array::{Array, ArrayRef, Float64Array, RecordBatch, StringArray, UInt32Array};

/// Significant digits of a number that needs more in full: more than any answer has.
const DIGITS: usize = 10;

/// A table as the bytes of a CSV file: names, then rows; a cell without a value is empty.
///
/// # Errors
/// The writer's reason, in words.
pub fn batch_as_csv(batch: &RecordBatch) -> Result<Vec<u8>, String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(batch.schema().fields().iter().map(|f| f.name())).map_err(|e| e.to_string())?;
    for row in 0..batch.num_rows() {
        let cells = batch.columns().iter().map(|column| cell(column, row, short));
        writer.write_record(cells).map_err(|e| e.to_string())?;
    }
    writer.into_inner().map_err(|e| e.to_string())
}

/// The text of a cell, a number `as_text`; empty without a value.
pub(super) fn cell(column: &ArrayRef, row: usize, as_text: fn(f64) -> String) -> String {
    let any = column.as_any();
    if column.is_null(row) {
        String::new()
    } else if let Some(numbers) = any.downcast_ref::<Float64Array>() {
        Some(numbers.value(row)).filter(|v| !v.is_nan()).map_or_else(String::new, as_text)
    } else if let Some(counts) = any.downcast_ref::<UInt32Array>() {
        counts.value(row).to_string()
    } else {
        any.downcast_ref::<StringArray>().map_or_else(String::new, |texts| texts.value(row).to_owned())
    }
}

/// A number as short as it reads back to the same value, or in ten significant digits where that is longer.
fn short(value: f64) -> String {
    let full = value.to_string();
    if full.bytes().filter(u8::is_ascii_digit).count() <= DIGITS {
        return full;
    }
    format!("{value:.*e}", DIGITS - 1).parse::<f64>().map_or(full, |rounded| rounded.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case(0.040_000_000_000_873_115, "0.04")]
    #[case(0.1 + 0.2, "0.3")]
    #[case(86_399.123_456, "86399.12346")]
    #[case(-273.15, "-273.15")]
    #[case(1.0 / 3.0, "0.3333333333")]
    fn numbers_have_no_binary_tails(#[case] value: f64, #[case] text: &str) {
        assert_eq!(short(value), text);
    }
}
