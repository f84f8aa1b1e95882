//! CSV (RFC 4180): the cells of a record batch, numbers without the tails that binary sums leave.

use arrow::array::{Array, ArrayRef, Float64Array, RecordBatch, StringArray, UInt32Array};

/// Significant digits of a number that needs more in full: far more than any recorder or answer has.
const DIGITS: usize = 12;

/// A table as the bytes of a CSV file: names, then rows; a cell without a value is empty.
///
/// # Errors
/// The writer's reason, in words.
pub fn batch_as_csv(batch: &RecordBatch) -> Result<Vec<u8>, String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(batch.schema().fields().iter().map(|f| f.name())).map_err(|e| e.to_string())?;
    for row in 0..batch.num_rows() {
        writer.write_record(batch.columns().iter().map(|column| cell(column, row))).map_err(|e| e.to_string())?;
    }
    writer.into_inner().map_err(|e| e.to_string())
}

/// The text of a cell; empty without a value.
pub(super) fn cell(column: &ArrayRef, row: usize) -> String {
    let any = column.as_any();
    if column.is_null(row) {
        String::new()
    } else if let Some(numbers) = any.downcast_ref::<Float64Array>() {
        number(numbers.value(row))
    } else if let Some(counts) = any.downcast_ref::<UInt32Array>() {
        counts.value(row).to_string()
    } else {
        any.downcast_ref::<StringArray>().map_or_else(String::new, |texts| texts.value(row).to_owned())
    }
}

/// A number as short as it reads back to the same value, or in twelve significant digits where that is longer.
fn number(value: f64) -> String {
    if value.is_nan() {
        return String::new();
    }
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
    #[case(86_399.123_456, "86399.123456")]
    #[case(-273.15, "-273.15")]
    #[case(1.0 / 3.0, "0.333333333333")]
    #[case(f64::NAN, "")]
    fn numbers_have_no_binary_tails(#[case] value: f64, #[case] text: &str) {
        assert_eq!(number(value), text);
    }
}
