//! The same drawing in fewer characters: what is a default or the same for all of a chart's parts is left out, a line goes
//! on by steps in place of points (SVG 2, 9.3.4), and points that lie on the way between others are left out (Douglas and
//! Peucker 1973, Cartographica 10, 112; from memory).

/// The attributes that say what holds without them, or what the root or the page's style says for all.
const NEEDLESS: [&str; 6] = [
    r#" opacity="1""#,
    r#" stroke="none""#,
    r#" stroke-width="1""#,
    r#" text-anchor="start""#,
    r#" font-family="sans-serif""#,
    r#" font-size="10.483870967741936""#,
];
/// Where the points of a line or an area begin.
const POINTS: &str = " points=\"";
/// Size of all text, once: 13 pixels as the library counts them.
const TEXT_SIZE: &str = r#"font-size="10.48" "#;

/// A point is on the way between two others where their straight line passes within this of it, pixels: as much as it is
/// off already, its place being a whole pixel.
const ON_THE_WAY: f64 = 0.5;

/// A point of a drawing, whole pixels.
type Point = (i32, i32);

/// An SVG of plotters, shorter.
pub fn shortened(svg: &str) -> String {
    let mut short = String::with_capacity(svg.len());
    for line in svg.lines() {
        // The points of a line or an area are most of a drawing and have no attributes.
        let (attributes, points) = line.split_at(line.find(POINTS).unwrap_or(line.len()));
        let attributes = NEEDLESS.iter().fold(attributes.to_owned(), |line, needless| line.replace(needless, ""));
        match as_path(&attributes, points) {
            Some(path) => short += &path,
            None => short.extend([&attributes, points]),
        }
    }
    short.replacen("<svg ", &format!("<svg {TEXT_SIZE}"), 1)
}

/// A line or an area of whole pixels as a path, by the element up to its points and from there on; `None` for any other
/// element.
fn as_path(element: &str, points: &str) -> Option<String> {
    let (attributes, closes) = match element.strip_prefix("<polyline") {
        Some(rest) => (rest, ""),
        None => (element.strip_prefix("<polygon")?, "z"),
    };
    let points = points.strip_prefix(POINTS)?.strip_suffix("\"/>")?;
    let points: Option<Vec<Point>> = points.split_whitespace().map(point).collect();
    let points = corners(&points?);
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
    Some(format!("<path{attributes} d=\"{path}{closes}\"/>"))
}

/// The points of a line without those on the way between others.
fn corners(points: &[Point]) -> Vec<Point> {
    let Some(last) = points.len().checked_sub(1) else { return Vec::new() };
    let mut is_corner = vec![false; points.len()];
    (is_corner[0], is_corner[last]) = (true, true);
    let mut stretches = vec![(0, last)];
    while let Some((from, to)) = stretches.pop() {
        let squares = (from + 1..to).map(|n| (n, squared_distance(points[n], points[from], points[to])));
        let farthest = squares.max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((corner, _)) = farthest.filter(|(_, square)| *square > ON_THE_WAY * ON_THE_WAY) {
            is_corner[corner] = true;
            stretches.extend([(from, corner), (corner, to)]);
        }
    }
    points.iter().zip(is_corner).filter(|(_, is_corner)| *is_corner).map(|(point, _)| *point).collect()
}

/// How far a point is from the straight line between two others, pixels squared.
fn squared_distance(point: Point, from: Point, to: Point) -> f64 {
    let between = |a: Point, b: Point| (f64::from(b.0 - a.0), f64::from(b.1 - a.1));
    let ((x, y), (along_x, along_y)) = (between(from, point), between(from, to));
    let square = along_x * along_x + along_y * along_y;
    let share = if square > 0.0 { ((x * along_x + y * along_y) / square).clamp(0.0, 1.0) } else { 0.0 };
    (x - share * along_x).powi(2) + (y - share * along_y).powi(2)
}

fn point(text: &str) -> Option<Point> {
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
    fn points_on_the_way_are_left_out_and_corners_stay() {
        let stairs = [(0, 0), (1, 0), (2, 1), (3, 1), (4, 2), (9, 2), (9, 7), (9, 9), (9, 7)];
        assert_eq!(corners(&stairs), [(0, 0), (4, 2), (9, 2), (9, 9), (9, 7)]);
        assert_eq!(corners(&[(3, 3), (3, 3)]), [(3, 3), (3, 3)]);
        // There and back again: the way out is not between its ends.
        assert_eq!(corners(&[(0, 0), (5, 1), (0, 0)]), [(0, 0), (5, 1), (0, 0)]);
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
