//! What all charts share: sizes, colours, the frame with its axes, labels and levels.

use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;

use super::short_svg::shortened;
use crate::units::Measure;
use crate::wording::tick;

/// Width and height of a chart in pixels: its proportions, and how large its text is on the page.
pub type Size = (u32, u32);
/// On a laptop.
pub const WIDE: Size = (500, 250);
/// On a phone.
pub const NARROW: Size = (340, 230);
/// One of two side by side.
pub const BESIDE: Size = (340, 200);
/// Among others in a row.
pub const SMALL: Size = (300, 170);
/// Colours of Okabe and Ito (2008), told apart by colour-blind readers.
pub const BLUE: RGBColor = RGBColor(0x00, 0x72, 0xb2);
/// Limits, wheelspin and the motor's heat.
pub const ORANGE: RGBColor = RGBColor(0xd5, 0x5e, 0x00);
/// Current and the controller's heat.
pub const GREEN: RGBColor = RGBColor(0x00, 0x9e, 0x73);
/// The pack's voltage: a dark stand-in for their yellow, which is not seen on white; dark pages show the yellow.
pub const YELLOW: RGBColor = RGBColor(0x9a, 0x6b, 0x00);
/// Stand-ins that the page's style replaces, so that charts follow its light and dark.
pub const INK: RGBColor = RGBColor(0x10, 0x10, 0x11);
/// Text and lines of the second order.
pub const SOFT: RGBColor = RGBColor(0x60, 0x60, 0x61);
/// Light rules.
const RULE: RGBColor = RGBColor(0xd0, 0xd0, 0xd1);
/// A line of more points is thinned to the lowest and highest of each stretch of this many pixels' width.
const STRETCHES: usize = 500;

/// Room above the plot, for the name of the y axis, and below it, for the x axis; pixels.
const ABOVE: u32 = 26;
const BELOW: u32 = 38;
/// Height of a line of text, pixels.
const LINE: f64 = 16.0;
/// Size of the text, pixels.
const TEXT: u32 = 13;

/// The sheet that a chart is drawn on.
pub type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;
/// A chart with its axes.
pub type Chart<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;
/// Done, or why plotters could not draw.
pub type Drawn = Result<(), Box<dyn std::error::Error>>;

/// Of an axis that has one unit for every reader, or none.
pub const ONE_UNIT: Measure = Measure::plain("");

/// Axes of a chart.
pub struct Axes<'a> {
    /// Lowest and highest x.
    pub x: (f64, f64),
    /// Bottom and top y.
    pub y: (f64, f64),
    /// Name of the x axis with its unit.
    pub x_name: &'a str,
    /// Name of the y axis with its unit.
    pub y_name: &'a str,
    /// Room for labels at the right, pixels.
    pub right: u32,
    /// Digits after the point on the y axis.
    pub y_digits: usize,
    /// What the x axis measures; it is laid out in metric units.
    pub x_unit: Measure,
    /// What the y axis measures; it is laid out in metric units.
    pub y_unit: Measure,
    /// The chart's size.
    pub size: Size,
}

impl Axes<'_> {
    /// Room at the right: less of it on a narrow chart.
    fn right(&self) -> u32 {
        if self.size.0 < WIDE.0 { self.right * 4 / 5 } else { self.right }
    }
}

/// The chart that `draw` draws, as SVG; empty where it cannot be drawn.
pub fn svg(size: Size, draw: impl FnOnce(&Area) -> Drawn) -> String {
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
    let text =
        text.replace("#101011", "var(--ink)").replace("#606061", "var(--soft)").replace("#D0D0D1", "var(--rule)");
    shortened(&text)
}

/// A frame with light rules and units on both axes; the y axis' name stands above it.
pub fn frame<'a, 'b>(area: &'a Area<'b>, axes: &Axes) -> Result<Chart<'a, 'b>, Box<dyn std::error::Error>> {
    let mut chart = ChartBuilder::on(area)
        .margin_top(ABOVE)
        .margin_right(axes.right())
        .margin_left(4)
        .x_label_area_size(BELOW)
        .y_label_area_size(46)
        .build_cartesian_2d(axes.x.0..axes.x.1, axes.y.0..axes.y.1)?;
    chart
        .configure_mesh()
        .disable_x_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(RULE)
        .axis_style(SOFT)
        .x_desc(axes.x_name)
        .x_labels(if axes.size.0 < WIDE.0 { 5 } else { 8 })
        .y_labels(if axes.size.1 < NARROW.1 { 4 } else { 6 })
        .x_label_formatter(&|v| tick(*v, 0, axes.x_unit))
        .y_label_formatter(&|v| tick(*v, axes.y_digits, axes.y_unit))
        .label_style(text_style(&SOFT))
        .axis_desc_style(text_style(&SOFT))
        .draw()?;
    area.draw(&Text::new(axes.y_name.to_owned(), (4, 6), text_style(&SOFT)))?;
    Ok(chart)
}

/// The chart's text in a colour.
pub fn text_style(colour: &RGBColor) -> TextStyle<'static> {
    ("sans-serif", TEXT).into_font().color(colour)
}

/// A label at the right end of a line.
pub struct SideLabel {
    /// What it says.
    pub text: String,
    /// The y at which the line ends.
    pub y: f64,
    /// The line's colour.
    pub colour: RGBColor,
}

impl SideLabel {
    /// A label for a line that ends at `y`.
    pub fn new(text: impl Into<String>, y: f64, colour: RGBColor) -> Self {
        Self { text: text.into(), y, colour }
    }
}

/// Draws labels at the right, moved apart by at least a line's height, in order of their heights.
pub fn side_labels(area: &Area, mut labels: Vec<SideLabel>, axes: &Axes) -> Drawn {
    let (top, bottom) = (f64::from(ABOVE), f64::from(axes.size.1 - BELOW));
    let least = (axes.y.1 - axes.y.0) * LINE / (bottom - top);
    labels.sort_by(|a, b| a.y.total_cmp(&b.y));
    for n in 1..labels.len() {
        labels[n].y = labels[n].y.max(labels[n - 1].y + least);
    }
    let x = (axes.size.0 - axes.right()) as i32 + 6;
    for SideLabel { text, y, colour } in labels {
        let height = bottom - (y - axes.y.0) / (axes.y.1 - axes.y.0) * (bottom - top);
        area.draw(&Text::new(text, (x, (height - 7.0) as i32), text_style(&colour)))?;
    }
    Ok(())
}

/// Draws a dashed line across the chart at the height `y`.
pub fn level(chart: &mut Chart, axes: &Axes, y: f64, style: impl Into<ShapeStyle>) -> Drawn {
    chart.draw_series(DashedLineSeries::new([(axes.x.0, y), (axes.x.1, y)], 6, 4, style.into()))?;
    Ok(())
}

/// The lowest and highest value of each stretch, so that no peak is lost.
pub fn thinned(time: &[f64], values: &[f64]) -> Vec<(f64, f64)> {
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
pub fn range(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
}

/// A range with a share of its width added at either end.
pub fn padded(low: f64, high: f64, share: f64) -> (f64, f64) {
    let pad = ((high - low) * share).max(1e-9);
    (low - pad, high + pad)
}
