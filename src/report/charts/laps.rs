//! Laps: their times, where on them the wheels spun, and the revs over them.

use plotters::prelude::*;

use super::frame::{
    Axes, BLUE, INK, ONE_UNIT, ORANGE, SOFT, SideLabel, Size, frame, level, padded, range, side_labels, svg,
};
use crate::laps::{Lap, SetAside};
use crate::run::Measured;

/// Name of the axis along a lap.
const ROUND_THE_LAP: &str = "how far round the lap, %";
/// Laps longer than the median by this factor are not shown with the others' times.
const LONGEST_LAP: f64 = 1.25;

/// Whether the times' chart shows a lap.
fn is_shown(lap: &Lap, median_s: f64) -> bool {
    lap.time_s() < LONGEST_LAP * median_s && lap.set_aside != Some(SetAside::Outside)
}

/// The numbers of the laps that [`lap_times`] does not show.
pub fn laps_off_time_chart(done: &Measured) -> Vec<u32> {
    let Some(median) = done.laps.median_s() else { return Vec::new() };
    done.laps.rows.iter().filter(|lap| !is_shown(lap, median)).map(|lap| lap.number).collect()
}

/// Lap times, those set aside hollow.
pub fn lap_times(done: &Measured, size: Size) -> String {
    let rows = &done.laps.rows;
    let Some(median) = done.laps.median_s() else { return String::new() };
    let shown: Vec<&Lap> = rows.iter().filter(|lap| is_shown(lap, median)).collect();
    let (low, high) = range(shown.iter().map(|lap| lap.time_s()));
    if !low.is_finite() {
        return String::new();
    }
    let last = rows.last().map_or(1, |lap| lap.number);
    let axes = Axes {
        x: (0.2, f64::from(last) + 0.8),
        y: padded(low, high, 0.12),
        x_name: "lap",
        y_name: "lap time, s",
        right: 70,
        y_digits: 1,
        x_unit: ONE_UNIT,
        y_unit: ONE_UNIT,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        level(&mut chart, &axes, median, INK.mix(0.5).stroke_width(1))?;
        for lap in shown {
            let style = if lap.set_aside.is_none() { BLUE.filled() } else { BLUE.stroke_width(1) };
            chart.draw_series([Circle::new((f64::from(lap.number), lap.time_s()), 4, style)])?;
        }
        side_labels(area, vec![SideLabel::new("median", median, INK)], &axes)
    })
}

/// Where on each lap the wheels spun, a lane a lap.
pub fn spins_by_lap(done: &Measured, size: Size) -> String {
    let (Some(odometer), events) = (&done.laps.odometer, &done.answers.wheelspin.events) else { return String::new() };
    let Some(last) = done.laps.rows.last().filter(|_| events.iter().any(|e| e.lap.is_some())) else {
        return String::new();
    };
    let axes = Axes {
        x: (0.0, 100.0),
        y: (f64::from(last.number) + 0.8, 0.2),
        x_name: ROUND_THE_LAP,
        y_name: "lap",
        right: 70,
        y_digits: 0,
        x_unit: ONE_UNIT,
        y_unit: ONE_UNIT,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        for lap in &done.laps.rows {
            let lane = f64::from(lap.number);
            chart.draw_series([Rectangle::new([(0.0, lane - 0.35), (100.0, lane + 0.35)], SOFT.mix(0.12).filled())])?;
            for event in events.iter().filter(|e| e.lap == Some(lap.number)) {
                let share = |time: f64| 100.0 * (odometer.turns_at(time) - odometer.turns_at(lap.start_s)) / lap.turns;
                let (from, to) = (share(event.start_s), share(event.end_s).min(100.0));
                chart.draw_series([Rectangle::new([(from, lane - 0.35), (to, lane + 0.35)], ORANGE.filled())])?;
            }
        }
        Ok(())
    })
}

/// Revs over the laps: each counted lap against the share of its turns, the best one in front.
pub fn revs_over_laps(done: &Measured, size: Size) -> String {
    let (Some(odometer), Some(best)) = (&done.laps.odometer, done.laps.best()) else { return String::new() };
    let line = |lap: &Lap, points: u32| -> Vec<(f64, f64)> {
        let start = odometer.turns_at(lap.start_s);
        (0..=points)
            .map(|n| 100.0 * f64::from(n) / f64::from(points))
            .map(|share| (share, odometer.rpm_at(odometer.time_of(start + lap.turns * share / 100.0)) / 1000.0))
            .collect()
    };
    let top = odometer.rows().1.iter().copied().fold(0.0, f64::max) / 1000.0;
    let axes = Axes {
        x: (0.0, 100.0),
        y: (0.0, top * 1.05),
        x_name: ROUND_THE_LAP,
        y_name: "motor revs, 1000 rpm",
        right: 84,
        y_digits: 0,
        x_unit: ONE_UNIT,
        y_unit: ONE_UNIT,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        for lap in done.laps.counted() {
            chart.draw_series(LineSeries::new(line(lap, 120), SOFT.mix(0.25).stroke_width(1)))?;
        }
        chart.draw_series(LineSeries::new(line(best, 240), BLUE.stroke_width(2)))?;
        let end = odometer.rpm_at(best.end_s) / 1000.0;
        side_labels(area, vec![SideLabel::new(format!("best, lap {}", best.number), end, BLUE)], &axes)
    })
}
