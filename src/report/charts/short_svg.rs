//! The same drawing in fewer characters: what is a default or the same for all of a chart's parts is left out, and a
//! line goes on by steps in place of points (SVG 2, 9.3.4).

/// The attributes that say what holds without them, or what the root or the page's style says for all.
const NEEDLESS: [&str; 4] =
    [r#" opacity="1""#, r#" stroke-width="1""#, r#" font-family="sans-serif""#, r#" font-size="10.483870967741936""#];
/// Size of all text, once: 13 pixels as the library counts them.
const TEXT_SIZE: &str = r#"font-size="10.48" "#;

/// An SVG of plotters, shorter.
pub fn shortened(svg: &str) -> String {
    let mut short = String::with_capacity(svg.len());
    for line in svg.lines() {
        let line = NEEDLESS.iter().fold(line.to_owned(), |line, needless| line.replace(needless, ""));
        match as_path(&line) {
            Some(path) => short += &path,
            None => short += &line,
        }
    }
    short.replacen("<svg ", &format!("<svg {TEXT_SIZE}"), 1)
}

/// A line or an area of whole pixels as a path; `None` for any other element.
fn as_path(element: &str) -> Option<String> {
    let (rest, closes) = match element.strip_prefix("<polyline ") {
        Some(rest) => (rest, ""),
        None => (element.strip_prefix("<polygon ")?, "z"),
    };
    let (attributes, points) = rest.split_once("points=\"")?;
    let points = points.strip_suffix("\"/>")?;
    let points: Option<Vec<(i32, i32)>> = points.split_whitespace().map(point).collect();
    let points = points?;
    let (first, rest) = points.split_first()?;
    let mut path = format!("M{} {}", first.0, first.1);
    let mut before = *first;
    for (n, point) in rest.iter().enumerate() {
        let (x, y) = (point.0 - before.0, point.1 - before.1);
        // A minus separates by itself.
        let space = |value: i32| if value < 0 { "" } else { " " };
        let start = if n == 0 { "l" } else { space(x) };
        path += &format!("{start}{x}{}{y}", space(y));
        before = *point;
    }
    Some(format!("<path {attributes}d=\"{path}{closes}\"/>"))
}

fn point(text: &str) -> Option<(i32, i32)> {
    let (x, y) = text.split_once(',')?;
    Some((x.parse().ok()?, y.parse().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_goes_on_by_steps_and_an_area_is_closed() {
        let line = r#"<polyline fill="none" opacity="1" stroke="red" stroke-width="1" points="50,26 53,20 50,20 "/>"#;
        assert_eq!(shortened(line), r#"<path fill="none" stroke="red" d="M50 26l3-6-3 0"/>"#);
        let area = r#"<polygon opacity="0.18" fill="blue" points="0,0 4,0 4,4 "/>"#;
        assert_eq!(shortened(area), r#"<path opacity="0.18" fill="blue" d="M0 0l4 0 0 4z"/>"#);
    }

    #[test]
    fn text_and_what_differs_stay() {
        let svg = "<svg viewBox=\"0 0 9 9\">\n<text x=\"1\" opacity=\"1\" font-size=\"20\">\n0.5 A\n</text>\n<line \
                   stroke-width=\"2\" x1=\"0\"/>\n</svg>";
        let short = "<svg font-size=\"10.48\" viewBox=\"0 0 9 9\"><text x=\"1\" font-size=\"20\">0.5 A</text><line \
                     stroke-width=\"2\" x1=\"0\"/></svg>";
        assert_eq!(shortened(svg), short);
    }
}
