//! Charts as SVG for the pages, drawn with plotters: one look for all, colours that the page's style may change.

mod next;
mod run;
mod trend;

use plotters::coord::Shift;
use plotters::prelude::*;

pub use next::{heat_by_pinion, speed_by_pinion};
pub use run::{current, lap_times, pull_by_speed, ratio_by_lap, revs_over_laps, spins_by_lap, temperatures, voltage};
pub use trend::{over_season, trend};

/// Size of a chart, pixels, which is its proportions and how large its text stands on the page.
pub type Size = (u32, u32);
/// On a laptop, on a phone, and one of several side by side.
pub const WIDE: Size = (500, 250);
/// Size on a phone.
pub const NARROW: Size = (340, 230);
/// Size among others in a row.
pub const SMALL: Size = (300, 170);
/// Colours of Okabe and Ito (2008), told apart by colour-blind readers.
const BLUE: RGBColor = RGBColor(0x00, 0x72, 0xb2);
const ORANGE: RGBColor = RGBColor(0xd5, 0x5e, 0x00);
const GREEN: RGBColor = RGBColor(0x00, 0x9e, 0x73);
/// Stand-ins that the page's style replaces, so that charts follow its light and dark.
const INK: RGBColor = RGBColor(0x10, 0x10, 0x11);
const SOFT: RGBColor = RGBColor(0x60, 0x60, 0x61);
const RULE: RGBColor = RGBColor(0xd0, 0xd0, 0xd1);
/// A line of more points is thinned to the lowest and highest of each stretch of this many pixels' width.
const STRETCHES: usize = 500;

type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;
type Drawn = Result<(), Box<dyn std::error::Error>>;

/// Axes of a chart.
struct Axes<'a> {
    x: (f64, f64),
    y: (f64, f64),
    x_name: &'a str,
    y_name: &'a str,
    /// Room for direct labels at the right, pixels.
    right: u32,
    y_digits: usize,
    size: Size,
}

impl Axes<'_> {
    /// Room at the right: less of it on a narrow chart.
    fn right(&self) -> u32 {
        if self.size.0 < WIDE.0 { self.right * 4 / 5 } else { self.right }
    }
}

fn svg(size: Size, draw: impl FnOnce(&Area) -> Drawn) -> String {
    let mut text = String::new();
    let drawn = {
        let area = SVGBackend::with_string(&mut text, size).into_drawing_area();
        draw(&area).and_then(|()| area.present().map_err(Into::into))
    };
    if drawn.is_err() {
        return String::new();
    }
    // Sized by the page, coloured by its style.
    let text = text.replacen(&format!("width=\"{}\" height=\"{}\" ", size.0, size.1), "", 1);
    text.replace("#101011", "var(--ink)").replace("#606061", "var(--soft)").replace("#D0D0D1", "var(--rule)")
}

/// A frame with light rules and units on both axes; the y axis' name stands above it.
fn frame<'a, 'b>(
    area: &'a Area<'b>,
    axes: &Axes,
) -> Result<
    ChartContext<
        'a,
        SVGBackend<'b>,
        Cartesian2d<plotters::coord::types::RangedCoordf64, plotters::coord::types::RangedCoordf64>,
    >,
    Box<dyn std::error::Error>,
> {
    let mut chart = ChartBuilder::on(area)
        .margin_top(26)
        .margin_right(axes.right())
        .margin_left(4)
        .x_label_area_size(38)
        .y_label_area_size(46)
        .build_cartesian_2d(axes.x.0..axes.x.1, axes.y.0..axes.y.1)?;
    let digits = axes.y_digits;
    chart
        .configure_mesh()
        .disable_x_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(RULE)
        .axis_style(SOFT)
        .x_desc(axes.x_name)
        .x_labels(if axes.size.0 < WIDE.0 { 5 } else { 8 })
        .y_labels(if axes.size.1 < NARROW.1 { 4 } else { 6 })
        .x_label_formatter(&|v| format!("{v:.0}"))
        .y_label_formatter(&|v| format!("{v:.digits$}"))
        .label_style(("sans-serif", 13).into_font().color(&SOFT))
        .axis_desc_style(("sans-serif", 13).into_font().color(&SOFT))
        .draw()?;
    area.draw(&Text::new(axes.y_name.to_owned(), (4, 6), ("sans-serif", 13).into_font().color(&SOFT)))?;
    Ok(chart)
}

/// Direct label at the right end of a line.
fn label(area: &Area, text: &str, y: f64, axes: &Axes, colour: &RGBColor) -> Drawn {
    let (top, bottom) = (26.0, f64::from(axes.size.1) - 38.0);
    let at = bottom - (y - axes.y.0) / (axes.y.1 - axes.y.0) * (bottom - top);
    let x = (axes.size.0 - axes.right()) as i32 + 6;
    area.draw(&Text::new(text.to_owned(), (x, (at - 7.0) as i32), ("sans-serif", 13).into_font().color(colour)))?;
    Ok(())
}

/// Labels apart by at least a line's height, in order of their heights.
fn apart(mut labels: Vec<(String, f64, RGBColor)>, axes: &Axes) -> Vec<(String, f64, RGBColor)> {
    let least = (axes.y.1 - axes.y.0) * 16.0 / (f64::from(axes.size.1) - 64.0);
    labels.sort_by(|a, b| a.1.total_cmp(&b.1));
    for at in 1..labels.len() {
        labels[at].1 = labels[at].1.max(labels[at - 1].1 + least);
    }
    labels
}

/// The lowest and highest value of each stretch, so that no peak is lost.
fn thinned(time: &[f64], values: &[f64]) -> Vec<(f64, f64)> {
    let rows: Vec<(f64, f64)> = time.iter().copied().zip(values.iter().copied()).filter(|r| r.1.is_finite()).collect();
    if rows.len() <= 2 * STRETCHES {
        return rows;
    }
    let by = |a: &&(f64, f64), b: &&(f64, f64)| a.1.total_cmp(&b.1);
    let mut out = Vec::new();
    for stretch in rows.chunks(rows.len().div_ceil(STRETCHES)) {
        let (Some(&low), Some(&high)) = (stretch.iter().min_by(by), stretch.iter().max_by(by)) else { continue };
        out.extend(if low.0 < high.0 { [low, high] } else { [high, low] });
    }
    out
}

/// The lowest and the highest of `values`; infinities the wrong way round where there are none.
fn range(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
}

fn padded(low: f64, high: f64, share: f64) -> (f64, f64) {
    let pad = ((high - low) * share).max(1e-9);
    (low - pad, high + pad)
}
