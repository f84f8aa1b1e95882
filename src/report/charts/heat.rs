//! Temperatures over the run and on to the end of the race.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::frame::{
    Axes, Chart, Drawn, GREEN, ONE_UNIT, ORANGE, SOFT, SideLabel, Size, frame, level, padded, range, side_labels, svg,
    text_style, thinned,
};
use crate::log::{Channel, Log};
use crate::measure::heat::Heat;
use crate::quantity::Estimate;
use crate::units::measure::TEMPERATURE;
use crate::wording::{bare_value, symbol};

/// A part, its readings and its heat.
struct Part<'a> {
    name: &'static str,
    readings: Vec<(f64, f64)>,
    heat: &'a Heat,
    colour: RGBColor,
}

impl Part<'_> {
    /// The end of the race, where it is a forecast.
    fn forecast(&self) -> Option<Estimate> {
        self.heat.race_end_c.filter(|e| !self.heat.race_end_read && e.low.is_finite() && e.high.is_finite())
    }

    /// Everything that the y axis must hold.
    fn heights(&self) -> Vec<f64> {
        let ahead = self.forecast().into_iter().flat_map(|e| [e.low, e.high]);
        self.readings.iter().map(|p| p.1).chain([self.heat.limit_c]).chain(ahead).collect()
    }

    /// Draws the readings, and up to `race_end_s` a dashed line to the forecast with its interval as a bar.
    fn draw(&self, chart: &mut Chart, race_end_s: Option<f64>) -> Drawn {
        let style = self.colour.stroke_width(2);
        chart.draw_series(LineSeries::new(self.readings.clone(), style))?;
        if let (Some(end), Some(race), Some(&last)) = (self.forecast(), race_end_s, self.readings.last()) {
            chart.draw_series(DashedLineSeries::new([last, (race, end.value)], 4, 3, style))?;
            let bar = [(race, end.low), (race, end.high)];
            chart.draw_series([PathElement::new(bar, self.colour.stroke_width(5))])?;
        }
        Ok(())
    }

    /// The part's name, where its line ends.
    fn label(&self, race_end_s: Option<f64>) -> SideLabel {
        let forecast = self.forecast().map(|e| e.value).filter(|_| race_end_s.is_some());
        let end = forecast.or(self.readings.last().map(|p| p.1)).unwrap_or(0.0);
        SideLabel::new(self.name, end, self.colour)
    }
}

/// Both temperatures against their limits, and the forecast for the end of the race.
pub fn temperatures(log: &Log, motor: &Heat, controller: &Heat, race_end_s: Option<f64>, size: Size) -> String {
    let part = |name, channel, heat, colour| {
        let readings = thinned(log.time(), log.channel(channel)?);
        (!readings.is_empty()).then_some(Part { name, readings, heat, colour })
    };
    let parts: Vec<Part> = [
        part("motor", Channel::MotorTemperature, motor, ORANGE),
        part("controller", Channel::ControllerTemperature, controller, GREEN),
    ]
    .into_iter()
    .flatten()
    .collect();
    if parts.is_empty() {
        return String::new();
    }
    let (low, high) = range(parts.iter().flat_map(Part::heights));
    let end = log.reading.duration_s.max(race_end_s.unwrap_or(0.0));
    let axes = Axes {
        x: (0.0, end),
        y: padded(low, high, 0.08),
        x_name: "time, s",
        y_name: &symbol(TEMPERATURE),
        right: 108,
        y_digits: 0,
        x_unit: ONE_UNIT,
        y_unit: TEMPERATURE,
        size,
    };
    svg(size, |area| {
        let mut chart = frame(area, &axes)?;
        for part in &parts {
            part.draw(&mut chart, race_end_s)?;
        }
        let mut labels = limits(&parts);
        for limit in &labels {
            level(&mut chart, &axes, limit.y, limit.colour.stroke_width(1))?;
        }
        labels.extend(parts.iter().map(|p| p.label(race_end_s)));
        if let Some(race) = race_end_s {
            race_end(&mut chart, &axes, race)?;
        }
        side_labels(area, labels, &axes)
    })
}

/// The limits with their labels: one for both parts where they have the same.
fn limits(parts: &[Part]) -> Vec<SideLabel> {
    match parts {
        [a, b] if (a.heat.limit_c - b.heat.limit_c).abs() < 1e-9 => {
            vec![SideLabel::new(
                format!("both limits {}", bare_value(a.heat.limit_c, 0, TEMPERATURE)),
                a.heat.limit_c,
                SOFT,
            )]
        }
        parts => {
            let limit = |p: &Part| {
                let words = format!("limit {}", bare_value(p.heat.limit_c, 0, TEMPERATURE));
                SideLabel::new(words, p.heat.limit_c, p.colour)
            };
            parts.iter().map(limit).collect()
        }
    }
}

fn race_end(chart: &mut Chart, axes: &Axes, race_s: f64) -> Drawn {
    let line = [(race_s, axes.y.0), (race_s, axes.y.1)];
    chart.draw_series(DashedLineSeries::new(line, 2, 4, SOFT.stroke_width(1)))?;
    let style = text_style(&SOFT).pos(Pos::new(HPos::Right, VPos::Top));
    chart.draw_series([Text::new("end of race", (race_s - 0.01 * axes.x.1, axes.y.1), style)])?;
    Ok(())
}
