//! On which line of the sheet's text each value is: a mistake is told beside the field of its line.

use toml_edit::{Document, Item, TableLike};

use super::form_names::pointer;

/// A value of the sheet and the line that its key is on.
pub struct FieldLine {
    /// Name of its field.
    pub name: String,
    /// Its line, from 1.
    pub line: u64,
}

/// The lines of all values in `text`; none where it cannot be read.
pub fn field_lines(text: &str) -> Vec<FieldLine> {
    let Ok(document) = Document::parse(text) else { return Vec::new() };
    let mut found = Lines { text, all: Vec::new() };
    found.look_into(document.as_table(), &mut Vec::new());
    found.all
}

struct Lines<'t> {
    text: &'t str,
    all: Vec<FieldLine>,
}

impl Lines<'_> {
    fn look_into(&mut self, table: &dyn TableLike, path: &mut Vec<String>) {
        for (key, item) in table.iter() {
            path.push(key.to_owned());
            if let Some(inner) = item.as_table_like() {
                self.look_into(inner, path);
            } else if let Item::ArrayOfTables(runs) = item {
                for (number, run) in runs.iter().enumerate() {
                    path.push(number.to_string());
                    self.look_into(run, path);
                    path.pop();
                }
            } else if let Some(runs) = item.as_array().filter(|_| path.len() == 1) {
                for (number, run) in runs.iter().enumerate() {
                    path.push(number.to_string());
                    run.as_inline_table().iter().for_each(|run| self.look_into(*run, path));
                    path.pop();
                }
            } else if let Some(span) = table.get_key_value(key).and_then(|(key, _)| key.span()) {
                let line = self.text[..span.start].matches('\n').count() as u64 + 1;
                let parts: Vec<&str> = path.iter().map(String::as_str).collect();
                self.all.push(FieldLine { name: pointer(&parts), line });
            }
            path.pop();
        }
    }
}
