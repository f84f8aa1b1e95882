//! Charts of one run.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::{Axes, BLUE, GREEN, INK, ORANGE, SOFT, Size, apart, frame, label, padded, range, svg, thinned};
use crate::laps::SetAside;
use crate::log::{Channel, Log};
use crate::measure::heat::Heat;
use crate::measure::power::Pull;
use crate::run::{Measured, PinionVerdict};

/// Realised ratio of each lap against what the sheet's pinion and its neighbours would show.
pub fn ratio_by_lap(pinion: &PinionVerdict, done: &Measured, size: Size) -> String {
    let gearing = &done.answers.gearing;
    let (Some(realised), Some(set)) = (gearing.realised_ratio, gearing.set_ratio) else { return String::new() };
    if gearing.by_lap.is_empty() || pinion.fits.is_empty() {
        return String::new();
    }
    // A pinion's band: where laps would lie if the offset of the most probable one held for it too.
    let best = pinion.best().map_or(set, |f| f.ratio);
    let offset = realised.value / best;
    let sheet = pinion.fits.len() / 2;
    let near: Vec<usize> =
        (0..pinion.fits.len()).filter(|n| n.abs_diff(sheet) <= 1 || pinion.fits[*n].ratio == best).collect();
    let counts = |lap: u32| done.laps.rows.iter().find(|l| l.number == lap).is_none_or(|l| l.set_aside.is_none());
    let shown: Vec<&(u32, f64)> = gearing.by_lap.iter().filter(|l| (l.1 / realised.value - 1.0).abs() < 0.12).collect();
    let ratios = near.iter().map(|n| pinion.fits[*n].ratio * offset).chain(shown.iter().map(|l| l.1));
    let (low, high) = range(ratios);
    let last = gearing.by_lap.last().map_or(1, |l| l.0);
    let axes = Axes {
        x: (0.2, f64::from(last) + 0.8),
        y: padded(low, high, 0.1),
        x_name: "lap",
        y_name: "realised ratio",
        right: 128,
        y_digits: 2,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        let half = 0.003 * realised.value;
        let mut labels = Vec::new();
        for n in near {
            let fit = pinion.fits[n];
            let at = fit.ratio * offset;
            let colour = if n == sheet { BLUE } else { SOFT };
            chart.draw_series([Rectangle::new(
                [(axes.x.0, at - half), (axes.x.1, at + half)],
                colour.mix(0.18).filled(),
            )])?;
            labels.push((format!("{} teeth{}", fit.pinion, if n == sheet { ", sheet" } else { "" }), at, colour));
        }
        for (text, at, colour) in apart(labels, &axes) {
            label(area, &text, at, &axes, &colour)?;
        }
        for lap in shown {
            let style = if counts(lap.0) { BLUE.filled() } else { BLUE.stroke_width(1) };
            chart.draw_series([Circle::new((f64::from(lap.0), lap.1), 4, style)])?;
        }
        Ok(())
    })
}

/// Where on each lap the wheels spun, a lane a lap.
pub fn spins_by_lap(done: &Measured, size: Size) -> String {
    let (Some(odometer), events) = (&done.laps.odometer, &done.answers.wheelspin.events) else { return String::new() };
    let Some(last) =
        done.laps.rows.last().map(|l| f64::from(l.number)).filter(|_| events.iter().any(|e| e.lap.is_some()))
    else {
        return String::new();
    };
    let axes = Axes {
        x: (0.0, 100.0),
        y: (last + 0.8, 0.2),
        x_name: "share of the lap's motor turns, %",
        y_name: "lap",
        right: 70,
        y_digits: 0,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        for lap in &done.laps.rows {
            let at = f64::from(lap.number);
            chart.draw_series([Rectangle::new([(0.0, at - 0.35), (100.0, at + 0.35)], SOFT.mix(0.12).filled())])?;
            for event in events.iter().filter(|e| e.lap == Some(lap.number)) {
                let share = |t: f64| 100.0 * (odometer.turns_at(t) - odometer.turns_at(lap.start_s)) / lap.turns;
                let (from, to) = (share(event.start_s), share(event.end_s).min(100.0));
                chart.draw_series([Rectangle::new([(from, at - 0.35), (to, at + 0.35)], ORANGE.filled())])?;
            }
        }
        Ok(())
    })
}

/// Revs over the laps: each counted lap against the share of its turns, the best one in front.
pub fn revs_over_laps(done: &Measured, size: Size) -> String {
    let Some(odometer) = &done.laps.odometer else { return String::new() };
    let Some(best) = done.laps.best() else { return String::new() };
    let line = |lap: &crate::laps::Lap, points: u32| -> Vec<(f64, f64)> {
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
        x_name: "share of the lap's motor turns, %",
        y_name: "thousand turns a minute",
        right: 70,
        y_digits: 0,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        for lap in done.laps.counted() {
            chart.draw_series(LineSeries::new(line(lap, 120), SOFT.mix(0.25).stroke_width(1)))?;
        }
        chart.draw_series(LineSeries::new(line(best, 240), BLUE.stroke_width(2)))?;
        let end = odometer.rpm_at(best.end_s) / 1000.0;
        label(area, &format!("best, {}", best.number), end, &axes, &BLUE)
    })
}

/// Pull by speed with its interval as a band, and the run before, by its name, as a dashed line.
pub fn pull_by_speed(pull: &[Pull], before: Option<(&str, &[Pull])>, size: Size) -> String {
    if pull.len() < 3 {
        return String::new();
    }
    let line = |pull: &[Pull]| pull.iter().map(|p| (p.speed_m_s, p.acceleration_m_s2.value)).collect::<Vec<_>>();
    let behind = before.map_or(Vec::new(), |b| line(b.1));
    let tops = pull.iter().map(|p| p.acceleration_m_s2.high).chain(behind.iter().map(|p| p.1));
    let end = pull.iter().map(|p| p.speed_m_s).chain(behind.iter().map(|p| p.0)).fold(0.0, f64::max);
    let axes = Axes {
        x: (0.0, end * 1.03),
        y: (0.0, tops.fold(0.0, f64::max) * 1.08),
        x_name: "speed, m/s",
        y_name: "pull, m/s²",
        right: 108,
        y_digits: 0,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        let upper = pull.iter().map(|p| (p.speed_m_s, p.acceleration_m_s2.high));
        let lower = pull.iter().rev().map(|p| (p.speed_m_s, p.acceleration_m_s2.low.max(0.0)));
        chart.draw_series([Polygon::new(upper.chain(lower).collect::<Vec<_>>(), BLUE.mix(0.18))])?;
        let mut labels = Vec::new();
        if let (Some((id, _)), Some(&last)) = (before, behind.last()) {
            chart.draw_series(DashedLineSeries::new(behind.clone(), 5, 4, SOFT.stroke_width(2)))?;
            labels.push((format!("run {id}"), last.1, SOFT));
        }
        let own = line(pull);
        labels.extend(own.last().map(|last| ("this run".to_owned(), last.1, BLUE)));
        chart.draw_series(LineSeries::new(own, BLUE.stroke_width(2)))?;
        for (text, at, colour) in apart(labels, &axes) {
            label(area, &text, at, &axes, &colour)?;
        }
        Ok(())
    })
}

/// A part's name, its readings, its heat and its colour.
type Warming<'a> = (&'a str, Vec<(f64, f64)>, &'a Heat, RGBColor);

/// Both temperatures against their limits.
pub fn temperatures(log: &Log, motor: &Heat, controller: &Heat, race_end_s: Option<f64>, size: Size) -> String {
    let lines: Vec<Warming> = [
        ("motor", Channel::MotorTemperature, motor, ORANGE),
        ("controller", Channel::ControllerTemperature, controller, GREEN),
    ]
    .into_iter()
    .filter_map(|(name, channel, heat, colour)| Some((name, thinned(log.time(), log.channel(channel)?), heat, colour)))
    .filter(|l| !l.1.is_empty())
    .collect();
    if lines.is_empty() {
        return String::new();
    }
    let forecast = |h: &Heat| h.race_end_c.filter(|e| !h.race_end_read && e.low.is_finite() && e.high.is_finite());
    let ahead = |h: &Heat| forecast(h).map_or(Vec::new(), |e| vec![e.low, e.high]);
    let all = lines.iter().flat_map(|l| l.1.iter().map(|p| p.1).chain([l.2.limit_c]).chain(ahead(l.2)));
    let (low, high) = range(all);
    let y = padded(low, high, 0.08);
    let end = log.reading.duration_s.max(race_end_s.unwrap_or(0.0));
    let axes = Axes { x: (0.0, end), y, x_name: "time, s", y_name: "°C", right: 108, y_digits: 0, size };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        let mut labels = Vec::new();
        let shared = lines.len() == 2 && (motor.limit_c - controller.limit_c).abs() < 1e-9;
        for (line, (name, points, heat, colour)) in lines.iter().enumerate() {
            chart.draw_series(LineSeries::new(points.clone(), colour.stroke_width(2)))?;
            let at = forecast(heat).map(|e| e.value).filter(|_| race_end_s.is_some());
            let at = at.or(points.last().map(|p| p.1)).unwrap_or(0.0);
            labels.push(((*name).to_owned(), at, *colour));
            if let (Some(end), Some(race), Some(&last)) = (forecast(heat), race_end_s, points.last()) {
                // What is to come: a dashed line to the forecast, and its interval as a bar.
                let style = colour.stroke_width(2);
                chart.draw_series(DashedLineSeries::new([last, (race, end.value)], 4, 3, style))?;
                chart.draw_series([PathElement::new([(race, end.low), (race, end.high)], colour.stroke_width(5))])?;
            }
            let (colour, words) = if shared { (SOFT, "both limits") } else { (*colour, "limit") };
            if !shared || line == 0 {
                let ends = [(0.0, heat.limit_c), (end, heat.limit_c)];
                chart.draw_series(DashedLineSeries::new(ends, 6, 4, colour.stroke_width(1)))?;
                labels.push((format!("{words} {:.0}", heat.limit_c), heat.limit_c, colour));
            }
        }
        if let Some(race) = race_end_s {
            let line = [(race, axes.y.0), (race, axes.y.1)];
            chart.draw_series(DashedLineSeries::new(line, 2, 4, SOFT.stroke_width(1)))?;
            chart.draw_series([Text::new(
                "race end",
                (race - 0.01 * end, axes.y.1),
                ("sans-serif", 13).into_font().color(&SOFT).pos(Pos::new(HPos::Right, VPos::Top)),
            )])?;
        }
        for (text, at, colour) in apart(labels, &axes) {
            label(area, &text, at, &axes, &colour)?;
        }
        Ok(())
    })
}

/// Voltage over time; the floor is drawn where it is near.
pub fn voltage(log: &Log, floor_v: Option<f64>, size: Size) -> String {
    let Some(values) = log.channel(Channel::Voltage) else { return String::new() };
    over_time(log, values, ("volts", 1), BLUE, floor_v.map(|v| (v, format!("floor {v:.1}"))), size)
}

/// Current over time.
pub fn current(log: &Log, size: Size) -> String {
    let Some(values) = log.channel(Channel::Current) else { return String::new() };
    over_time(log, values, ("amperes", 0), GREEN, None, size)
}

fn over_time(
    log: &Log,
    values: &[f64],
    (name, digits): (&str, usize),
    colour: RGBColor,
    mark: Option<(f64, String)>,
    size: Size,
) -> String {
    let points = thinned(log.time(), values);
    let (low, high) = range(points.iter().map(|p| p.1));
    if !low.is_finite() {
        return String::new();
    }
    let y = padded(mark.as_ref().map_or(low, |m| low.min(m.0)), high, 0.06);
    let axes = Axes {
        x: (0.0, log.reading.duration_s),
        y,
        x_name: "time, s",
        y_name: name,
        right: 70,
        y_digits: digits,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        chart.draw_series(LineSeries::new(points, colour.stroke_width(1)))?;
        if let Some((at, words)) = mark {
            chart.draw_series(DashedLineSeries::new([(0.0, at), (axes.x.1, at)], 6, 4, ORANGE.stroke_width(1)))?;
            label(area, &words, at, &axes, &ORANGE)?;
        }
        Ok(())
    })
}

/// Lap times, those set aside hollow.
pub fn lap_times(done: &Measured, size: Size) -> String {
    let rows = &done.laps.rows;
    let Some(median) = done.laps.median_s() else { return String::new() };
    let shown: Vec<_> =
        rows.iter().filter(|l| l.time_s() < 1.25 * median && l.set_aside != Some(SetAside::Outside)).collect();
    let (low, high) = range(shown.iter().map(|l| l.time_s()));
    if !low.is_finite() {
        return String::new();
    }
    let last = rows.last().map_or(1, |l| l.number);
    let axes = Axes {
        x: (0.2, f64::from(last) + 0.8),
        y: padded(low, high, 0.12),
        x_name: "lap",
        y_name: "seconds",
        right: 70,
        y_digits: 1,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        chart.draw_series(DashedLineSeries::new(
            [(axes.x.0, median), (axes.x.1, median)],
            6,
            4,
            INK.mix(0.5).stroke_width(1),
        ))?;
        label(area, "median", median, &axes, &INK)?;
        for lap in shown {
            let style = if lap.set_aside.is_none() { BLUE.filled() } else { BLUE.stroke_width(1) };
            chart.draw_series([Circle::new((f64::from(lap.number), lap.time_s()), 4, style)])?;
        }
        Ok(())
    })
}
