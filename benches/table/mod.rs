//! The tables that benches print for `benches/README.md`.

/// Prints a row: what was measured, what was promised of it and what is reached.
pub fn row(what: &str, promised: &str, reached: String) {
    println!("| {what} | {promised} | {reached} |");
}

/// A share in percent.
pub fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}
