//! The setup sheet as a racer would have written it: a copy of the truth with a tape's and a scale's errors.

use super::car::Car;
use super::dice::Dice;
use super::track::Track;

/// The sheet but for its runs.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// Name of the weekend.
    pub name: String,
    /// Its date.
    pub date: String,
    /// Surface.
    pub surface: String,
    /// Lap length, m.
    pub lap_length_m: f64,
    /// Half-width of its 95 % interval, m.
    pub plus_minus_m: f64,
    /// Length of the race, s.
    pub race_s: f64,
    /// Cars, in the order of the weekend's.
    pub cars: Vec<CarSheet>,
    /// Last parts of keys that are not to be written, such as `mass_kg` or `lap_length_m`.
    pub leave_out: Vec<String>,
}

/// A car on the sheet.
#[derive(Debug, Clone)]
pub struct CarSheet {
    /// Name.
    pub name: String,
    /// `four` or `rear`.
    pub driven: String,
    /// kg.
    pub mass_kg: f64,
    /// Internal ratio.
    pub internal_ratio: f64,
    /// Teeth.
    pub spur: u32,
    /// Teeth.
    pub pinion: u32,
    /// mm.
    pub tyre_diameter_mm: f64,
    /// `rubber` or `foam`.
    pub tyre_kind: String,
    /// %.
    pub drag_brake_pct: f64,
    /// Turns of the winding.
    pub turns: f64,
    /// °.
    pub timing_deg: f64,
    /// mm.
    pub fan_mm: f64,
    /// Controller's fan, mm: a key of the user's own.
    pub controller_fan_mm: f64,
    /// Cells in series.
    pub cells: usize,
    /// mAh.
    pub capacity_mah: f64,
    /// Motor's limit, °C.
    pub motor_limit_c: f64,
    /// Controller's limit, °C.
    pub controller_limit_c: f64,
    /// Lowest voltage of a cell, V.
    pub cell_limit_v: f64,
}

/// A run on the sheet: what is `Some` is written and overrides the car.
#[derive(Debug, Clone, Default)]
pub struct RunSheet {
    /// Air, °C.
    pub ambient_c: Option<f64>,
    /// Teeth.
    pub pinion: Option<u32>,
    /// °.
    pub timing_deg: Option<f64>,
    /// %.
    pub drag_brake_pct: Option<f64>,
    /// mm.
    pub fan_mm: Option<f64>,
    /// Whatever else is to be written, as key and TOML value.
    pub more: Vec<(String, String)>,
}

fn rounded(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}

impl Sheet {
    /// Measures the track and names what is to be named.
    pub fn draw(dice: &mut Dice, track: &Track, cars: &[Car], race_s: f64) -> Self {
        let place = dice.pick(&["Fenmoor", "Harrow Bay", "Tilden Yard", "Oxlade", "Rushmere", "Corvane"]);
        let round = dice.pick(&["Winter Round", "Harvest Cup", "Club Day", "Lamp Meeting"]);
        let plus_minus_m = rounded(track.lap_length_m * dice.between(0.002, 0.010), 0.1).max(0.1);
        Self {
            name: format!("{place} {round}"),
            date: format!("2026-{:02}-{:02}", dice.whole(1, 12), dice.whole(1, 28)),
            surface: track.surface.to_owned(),
            lap_length_m: rounded(track.lap_length_m + dice.normal(0.0, plus_minus_m / 1.96), 0.1),
            plus_minus_m,
            race_s,
            cars: cars.iter().map(|car| CarSheet::draw(dice, car)).collect(),
            leave_out: Vec::new(),
        }
    }

    /// The lines before the runs.
    pub fn text(&self) -> String {
        let mut lines = Lines::new(&self.leave_out);
        lines.table("[weekend]");
        lines.text("name", &self.name);
        lines.bare("date", &self.date);
        lines.table("[track]");
        lines.text("surface", &self.surface);
        lines.number("lap_length_m", self.lap_length_m);
        lines.number("lap_length_plus_minus_m", self.plus_minus_m);
        lines.table("[race]");
        lines.number("length_s", self.race_s);
        self.cars.iter().for_each(|car| car.write(&mut lines));
        lines.written
    }
}

impl CarSheet {
    fn draw(dice: &mut Dice, car: &Car) -> Self {
        let tape = if car.four { 0.15 } else { 0.1 };
        Self {
            name: car.name.clone(),
            driven: if car.four { "four" } else { "rear" }.to_owned(),
            mass_kg: rounded(car.mass_kg * (1.0 + dice.normal(0.0, 0.004)), 0.001),
            internal_ratio: car.internal_ratio,
            spur: car.spur,
            pinion: car.pinion,
            tyre_diameter_mm: rounded(car.tyre.diameter_mm + dice.normal(0.0, tape), 0.1),
            tyre_kind: car.tyre.kind.to_owned(),
            drag_brake_pct: car.drag_brake_pct,
            turns: car.motor.turns,
            timing_deg: car.timing_deg,
            fan_mm: car.fan_mm,
            controller_fan_mm: car.controller_fan_mm,
            cells: car.pack.cells,
            capacity_mah: car.pack.capacity_mah,
            motor_limit_c: dice.pick(&[85.0, 90.0, 95.0, 100.0]),
            controller_limit_c: dice.pick(&[85.0, 90.0, 100.0]),
            cell_limit_v: dice.pick(&[3.0, 3.1, 3.2]),
        }
    }

    fn write(&self, lines: &mut Lines) {
        let name = &self.name;
        lines.table(&format!("[cars.{name}]"));
        lines.number("mass_kg", self.mass_kg);
        lines.text("driven", &self.driven);
        lines.number("internal_ratio", self.internal_ratio);
        lines.bare("spur", &self.spur.to_string());
        lines.bare("pinion", &self.pinion.to_string());
        lines.number("tyre_diameter_mm", self.tyre_diameter_mm);
        lines.text("tyre_kind", &self.tyre_kind);
        lines.number("drag_brake_pct", self.drag_brake_pct);
        lines.number("controller_fan_mm", self.controller_fan_mm);
        lines.table(&format!("[cars.{name}.motor]"));
        lines.bare("poles", "2");
        lines.number("turns", self.turns);
        lines.number("timing_deg", self.timing_deg);
        lines.number("fan_mm", self.fan_mm);
        lines.table(&format!("[cars.{name}.battery]"));
        lines.bare("cells", &self.cells.to_string());
        lines.number("capacity_mah", self.capacity_mah);
        lines.table(&format!("[cars.{name}.limits]"));
        lines.number("motor_c", self.motor_limit_c);
        lines.number("esc_c", self.controller_limit_c);
        lines.number("cell_v", self.cell_limit_v);
    }
}

impl RunSheet {
    /// The entry of a run.
    pub fn text(&self, id: &str, car: &str, log: &str, laps: Option<&str>) -> String {
        let mut lines = Lines::new(&[]);
        lines.table("[[runs]]");
        lines.text("id", id);
        lines.text("car", car);
        lines.text("log", log);
        if let Some(laps) = laps {
            lines.text("laps", laps);
        }
        let numbers = [
            ("ambient_c", self.ambient_c),
            ("motor.timing_deg", self.timing_deg),
            ("drag_brake_pct", self.drag_brake_pct),
            ("motor.fan_mm", self.fan_mm),
        ];
        for (key, value) in numbers {
            if let Some(value) = value {
                lines.number(key, value);
            }
        }
        if let Some(pinion) = self.pinion {
            lines.bare("pinion", &pinion.to_string());
        }
        self.more.iter().for_each(|(key, value)| lines.bare(key, value));
        lines.written
    }
}

struct Lines<'a> {
    leave_out: &'a [String],
    written: String,
}

impl<'a> Lines<'a> {
    fn new(leave_out: &'a [String]) -> Self {
        Self { leave_out, written: String::new() }
    }

    fn table(&mut self, heading: &str) {
        self.written.push_str(&format!("\n{heading}\n"));
    }

    fn bare(&mut self, key: &str, value: &str) {
        if !self.leave_out.iter().any(|out| out == key) {
            self.written.push_str(&format!("{key} = {value}\n"));
        }
    }

    fn text(&mut self, key: &str, value: &str) {
        self.bare(key, &format!("\"{}\"", value.replace('\\', "\\\\").replace('"', "\\\"")));
    }

    fn number(&mut self, key: &str, value: f64) {
        // Four decimals, without the last bits of a rounded value.
        self.bare(key, &format!("{}", (value * 1e4).round() / 1e4));
    }
}
