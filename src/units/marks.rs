//! Quantities in a text that is not yet in anybody's units.
//!
//! A sentence is made once, where the review knows what it says; who reads it, and in which units, is known at the edge.
//! So a quantity stands in the text as a mark that holds all its readings, each finished: as stored, metric, US. Marks
//! are delimited by noncharacters, which Unicode keeps for the inside of a program (The Unicode Standard, 23.7): none
//! may leave it. They go out through [`in_notation`] (JSON, tables, terminal) and [`as_html`] (pages), and nowhere else;
//! text of a user's that has these characters is escaped by `notice::printable`.

use super::Units;
use super::measure::Notation;

const OPEN: char = '\u{fdd0}';
const NEXT: char = '\u{fdd1}';
const CLOSE: char = '\u{fdd2}';

/// The notations that a mark holds, in their order.
const ALL: [Notation; 3] = [Notation::Stored, Notation::For(Units::Metric), Notation::For(Units::Us)];

/// What `say` makes of a quantity in each notation, as a mark; plain text where it is the same in all of them.
pub fn said(say: impl Fn(Notation) -> String) -> String {
    let [stored, metric, us] = ALL.map(say);
    if stored == metric && metric == us { stored } else { format!("{OPEN}{stored}{NEXT}{metric}{NEXT}{us}{CLOSE}") }
}

/// A mark in a text.
struct Mark<'a> {
    /// What stands before it.
    before: &'a str,
    /// Its readings.
    readings: [&'a str; 3],
    /// What stands behind it.
    behind: &'a str,
}

impl<'a> Mark<'a> {
    /// The first whole mark of a text.
    fn first(text: &'a str) -> Option<Self> {
        let mut from = 0;
        loop {
            let open = from + text[from..].find(OPEN)?;
            let inside = &text[open + OPEN.len_utf8()..];
            let end = inside.find([OPEN, CLOSE]);
            if let Some(end) = end.filter(|end| inside[*end..].starts_with(CLOSE)) {
                let mut parts = inside[..end].split(NEXT);
                if let (Some(a), Some(b), Some(c), None) = (parts.next(), parts.next(), parts.next(), parts.next()) {
                    let behind = &inside[end + CLOSE.len_utf8()..];
                    return Some(Self { before: &text[..open], readings: [a, b, c], behind });
                }
            }
            from = open + OPEN.len_utf8();
        }
    }

    fn reading(&self, notation: Notation) -> &'a str {
        ALL.iter().zip(self.readings).find(|(own, _)| **own == notation).map_or("", |(_, text)| text)
    }
}

/// The text with its quantities in one notation.
pub fn in_notation(text: &str, notation: impl Into<Notation>) -> String {
    let notation = notation.into();
    let (mut out, mut rest) = (String::with_capacity(text.len()), text);
    while let Some(mark) = Mark::first(rest) {
        out.push_str(mark.before);
        out.push_str(mark.reading(notation));
        rest = mark.behind;
    }
    out + rest
}

/// A page with its quantities in `units`, each with its other reading beside it for the page's switch: `<span
/// data-us="174 °F">79 °C</span>`. Inside a tag, and where no element may stand, it is text alone.
pub fn as_html(page: &str, units: Units) -> String {
    let (other, name) = match units {
        Units::Metric => (Units::Us, "us"),
        Units::Us => (Units::Metric, "metric"),
    };
    let (mut html, mut rest) = (String::with_capacity(page.len()), page);
    while let Some(mark) = Mark::first(rest) {
        html.push_str(mark.before);
        let (shown, hidden) = (mark.reading(units.into()), mark.reading(other.into()));
        match element_at_end(&html).filter(|_| shown != hidden) {
            Some(element) => html += &format!("<{element} data-{name}=\"{hidden}\">{shown}</{element}>"),
            None => html.push_str(shown),
        }
        rest = mark.behind;
    }
    html + rest
}

/// The element that may hold a quantity at the end of `html`; `None` inside a tag, and in an element of text alone.
fn element_at_end(html: &str) -> Option<&'static str> {
    let open = html.rfind('<')?;
    let tag = &html[open + 1..];
    if !tag.contains('>') {
        return None;
    }
    let name = tag.split(|c: char| !(c.is_ascii_alphanumeric() || c == '/')).next().unwrap_or_default();
    match name {
        "title" | "option" | "textarea" | "script" | "style" => None,
        "text" | "tspan" | "/tspan" => Some("tspan"),
        _ => Some("span"),
    }
}

/// Whether a text still holds what only the inside of the program may.
pub fn has_marks(text: &str) -> bool {
    text.contains([OPEN, NEXT, CLOSE])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::measure::TEMPERATURE;

    fn degrees(value: f64) -> String {
        said(|n| format!("{:.0} {}", TEMPERATURE.value(value, n), TEMPERATURE.symbol(n)))
    }

    #[test]
    fn a_sentence_in_each_notation() {
        let text = format!("from {} to {}.", degrees(25.0), degrees(100.0));
        assert_eq!(in_notation(&text, Notation::Stored), "from 25 °C to 100 °C.");
        assert_eq!(in_notation(&text, Units::Metric), "from 25 °C to 100 °C.");
        assert_eq!(in_notation(&text, Units::Us), "from 77 °F to 212 °F.");
        assert_eq!(said(|_| "3 s".to_owned()), "3 s");
    }

    #[test]
    fn a_page_holds_both_and_a_tag_one() {
        let hot = degrees(100.0);
        let page =
            format!("<title>{hot}</title><p title=\"{hot}\">at {hot}</p><svg><text x=\"1\">\n{hot} {hot}</text>");
        assert_eq!(
            as_html(&page, Units::Metric),
            "<title>100 °C</title><p title=\"100 °C\">at <span data-us=\"212 °F\">100 °C</span></p><svg><text x=\"1\">\n\
             <tspan data-us=\"212 °F\">100 °C</tspan> <tspan data-us=\"212 °F\">100 °C</tspan></text>"
        );
        assert!(as_html(&page, Units::Us).contains("<span data-metric=\"100 °C\">212 °F</span>"));
    }

    #[test]
    fn a_broken_mark_is_left_alone() {
        for text in ["\u{fdd0}a\u{fdd2}", "\u{fdd0}a\u{fdd1}b", "\u{fdd2}", "\u{fdd0}\u{fdd0}"] {
            assert_eq!(in_notation(text, Units::Us), text);
        }
        let nested = format!("\u{fdd0}{}", degrees(100.0));
        assert_eq!(in_notation(&nested, Units::Us), "\u{fdd0}212 °F");
    }
}
