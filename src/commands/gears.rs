//! `gears`: prints the gear chart of a car, from the options or from a weekend's sheet.

use std::path::Path;
use std::process::ExitCode;

use runtrue::folder::{SHEET, read_sheet_text};
use runtrue::gear_chart::GearChart;
use runtrue::report::terminal;
use runtrue::sheet::Settings;
use runtrue::sheet::read::read;
use runtrue::units::Units;
use serde_json::json;

use super::output::{Output, Problem};
use crate::cli::{GearsArguments, OutputFormat};

const EXAMPLE: &str = "for example `runtrue gears --pinion 28-34 --spur 116 --internal 1.85 --tyre 63`, \
                       or name a weekend folder with `--from`";
/// Pinions that are shown either side of the sheet's, teeth.
const PINIONS_AROUND: u32 = 4;
/// Spurs that are shown either side of the sheet's, teeth.
const SPURS_AROUND: u32 = 2;
/// Columns of spurs that fit the width of a terminal.
const MOST_SPURS: usize = 6;
/// An internal ratio is below this.
const MOST_INTERNAL_RATIO: f64 = 100.0;
/// A tyre is smaller than this, mm.
const MOST_TYRE_MM: f64 = 1000.0;

pub fn run(arguments: GearsArguments, output: Output) -> Result<ExitCode, Problem> {
    let asked = arguments.shown.units;
    let (chart, units) = chart(arguments, output)?;
    let units = asked.unwrap_or(units);
    if chart.spurs.len() > MOST_SPURS && output.format == OutputFormat::Text {
        let message = format!("{} spurs do not fit the width of a terminal", chart.spurs.len());
        return Err(Problem::wrong_use(message).hint(format!("name at most {MOST_SPURS}, or add `--format json`")));
    }
    // The chart is all that was asked for: `--quiet` does not silence it.
    let output = Output { quiet: false, ..output };
    output.say(|| terminal::gears(&chart, units), || chart.gears().map(|gear| json!(gear)).collect())
}

/// The chart of what the options say, and of what the sheet says where they do not; and the units of the sheet.
fn chart(arguments: GearsArguments, output: Output) -> Result<(GearChart, Units), Problem> {
    let (settings, units) = match &arguments.from {
        Some(folder) => car_settings(folder, arguments.car.as_deref())?,
        None => (Settings::default(), Units::default()),
    };
    let around = |key: &str, by: u32| {
        let teeth = settings.number(key)? as u32;
        Some((teeth.saturating_sub(by).max(1)..=teeth + by).collect::<Vec<_>>())
    };
    let pinions = arguments.pinion.map(|t| t.0).or_else(|| around("pinion", PINIONS_AROUND));
    let spurs = arguments.spur.map(|t| t.0).or_else(|| around("spur", SPURS_AROUND));
    let (Some(pinions), Some(spurs)) = (pinions, spurs) else {
        return Err(Problem::wrong_use("name a pinion and a spur").hint(EXAMPLE));
    };
    let internal = arguments.internal.or(settings.number("internal_ratio"));
    if internal.is_none() && !output.quiet {
        eprintln!("No internal ratio given: 1 (direct drive) is assumed.");
    }
    let internal = internal.unwrap_or(1.0);
    if !(internal > 0.0 && internal < MOST_INTERNAL_RATIO) {
        let message = format!("the internal ratio is {internal}; it must be above 0 and below {MOST_INTERNAL_RATIO}");
        return Err(Problem::wrong_use(message).hint("for example `--internal 1.85`, or 1 for direct drive"));
    }
    let tyre = arguments.tyre.or(settings.tyre_mm());
    if let Some(tyre) = tyre.filter(|d| !(*d > 0.0 && *d < MOST_TYRE_MM)) {
        let message = format!("the tyre is {tyre} mm; it must be above 0 and below {MOST_TYRE_MM} mm");
        return Err(Problem::wrong_use(message).hint("enter the diameter in mm, for example `--tyre 63`"));
    }
    Ok((GearChart::new(&pinions, &spurs, internal, tyre), units))
}

/// Settings of the named car on the folder's sheet, or of its only one; and the units of the sheet.
fn car_settings(folder: &Path, car: Option<&str>) -> Result<(Settings, Units), Problem> {
    let path = folder.join(SHEET);
    let text = read_sheet_text(folder)
        .map_err(|e| Problem::new(format!("`{}` could not be read: {e}", path.display())))?
        .ok_or_else(|| {
            let message = format!("there is no `{SHEET}` in `{}`", folder.display());
            Problem::new(message).hint("name a weekend folder; `runtrue sheet` writes a starter sheet into it")
        })?;
    let sheet = read(&text).map_err(|m| Problem::new(&m.drawing).hint(&m.hint))?;
    let units = sheet.units();
    let mut cars = sheet.cars;
    let names = cars.keys().map(|n| format!("`{n}`")).collect::<Vec<_>>().join(", ");
    let message = match car {
        Some(car) => match cars.remove(car) {
            Some(settings) => return Ok((settings, units)),
            None => format!("there is no car `{car}` on the sheet"),
        },
        None if cars.is_empty() => {
            let hint = format!("add `[cars.NAME]` to {SHEET} with the car's spur, pinion, internal ratio and tyre");
            return Err(Problem::wrong_use("there is no car on the sheet").hint(hint));
        }
        None if cars.len() == 1 => return Ok((cars.into_values().next().unwrap_or_default(), units)),
        None => format!("there are {} cars on the sheet", cars.len()),
    };
    Err(Problem::wrong_use(message).hint(format!("name one with `--car`: {names}")))
}
