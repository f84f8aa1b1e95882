//! The ratio on track, lap by lap.

use plotters::prelude::*;

use super::frame::{Area, Axes, BLUE, Drawn, ONE_UNIT, SOFT, SideLabel, Size, frame, padded, range, side_labels, svg};
use crate::measure::gearing::Gearing;
use crate::run::{Measured, PinionVerdict};

/// Laps whose ratio is farther from the run's than this share are not shown: they would press the rest into a line.
pub const FURTHEST_RATIO: f64 = 0.12;
/// Half the height of a pinion's band, as a share of the ratio.
const HALF_BAND: f64 = 0.003;

/// Where the laps would lie with one pinion.
struct Band {
    pinion: f64,
    ratio: f64,
    on_sheet: bool,
}

impl Band {
    fn colour(&self) -> RGBColor {
        if self.on_sheet { BLUE } else { SOFT }
    }
}

/// The numbers of the laps that [`ratio_by_lap`] does not show.
pub fn laps_off_ratio_chart(gearing: &Gearing) -> Vec<u32> {
    let off = |ratio: f64| gearing.realised_ratio.is_some_and(|all| (ratio / all.value - 1.0).abs() >= FURTHEST_RATIO);
    gearing.by_lap.iter().filter(|lap| off(lap.1)).map(|lap| lap.0).collect()
}

/// The ratio on track of each lap, against what the sheet's pinion and its neighbours would show.
pub fn ratio_by_lap(pinion: &PinionVerdict, done: &Measured, size: Size) -> String {
    let gearing = &done.answers.gearing;
    let (Some(realised), Some(best), false) = (gearing.realised_ratio, pinion.best(), gearing.by_lap.is_empty()) else {
        return String::new();
    };
    let bands = bands(pinion, realised.value / best.ratio, best.ratio);
    let off = laps_off_ratio_chart(gearing);
    let laps: Vec<&(u32, f64)> = gearing.by_lap.iter().filter(|lap| !off.contains(&lap.0)).collect();
    let (low, high) = range(bands.iter().map(|b| b.ratio).chain(laps.iter().map(|lap| lap.1)));
    let last = gearing.by_lap.last().map_or(1, |lap| lap.0);
    let axes = Axes {
        x: (0.2, f64::from(last) + 0.8),
        y: padded(low, high, 0.1),
        x_name: "lap",
        y_name: "ratio on track",
        right: 128,
        y_digits: 2,
        x_unit: ONE_UNIT,
        y_unit: ONE_UNIT,
        size,
    };
    let counts = |lap: u32| done.laps.rows.iter().find(|l| l.number == lap).is_none_or(|l| l.set_aside.is_none());
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        let half = HALF_BAND * realised.value;
        for band in &bands {
            let corners = [(axes.x.0, band.ratio - half), (axes.x.1, band.ratio + half)];
            chart.draw_series([Rectangle::new(corners, band.colour().mix(0.18).filled())])?;
        }
        for (lap, ratio) in laps {
            let style = if counts(*lap) { BLUE.filled() } else { BLUE.stroke_width(1) };
            chart.draw_series([Circle::new((f64::from(*lap), *ratio), 4, style)])?;
        }
        band_labels(area, &bands, &axes)
    })
}

/// The bands of the sheet's pinion, its two neighbours and the most probable one: where laps would lie if the slip and
/// the driven line of the most probable one held for each of them.
fn bands(pinion: &PinionVerdict, offset: f64, best: f64) -> Vec<Band> {
    let sheet = pinion.fits.len() / 2;
    let near = pinion.fits.iter().enumerate().filter(|(n, fit)| n.abs_diff(sheet) <= 1 || fit.ratio == best);
    near.map(|(n, fit)| Band { pinion: fit.pinion, ratio: fit.ratio * offset, on_sheet: n == sheet }).collect()
}

fn band_labels(area: &Area, bands: &[Band], axes: &Axes) -> Drawn {
    let label = |band: &Band| {
        let whose = if band.on_sheet { " (sheet)" } else { "" };
        SideLabel::new(format!("{} teeth{whose}", band.pinion), band.ratio, band.colour())
    };
    side_labels(area, bands.iter().map(label).collect(), axes)
}
