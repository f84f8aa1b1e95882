//! `ahead`: what a race would be like with other air, length, gears or start, by one run of a weekend.

use std::process::ExitCode;

use runtrue::report::terminal;
use runtrue::weekend::ahead::{Wanted, ahead};
use serde_json::json;

use super::output::{Output, Problem};
use crate::cli::AheadArguments;

pub fn run(arguments: &AheadArguments, output: Output) -> Result<ExitCode, Problem> {
    let review = runtrue::review::review(&arguments.folder, &|_, _| {}).map_err(|e| Problem::new(&e).hint(e.hint()))?;
    let ids: Vec<&str> = review.runs.iter().map(|run| run.plan().id.as_str()).collect();
    let wanted_run = match (&arguments.run, review.runs.as_slice()) {
        (Some(id), _) => review.runs.iter().find(|run| run.plan().id == *id),
        (None, [only]) => Some(only),
        (None, _) => None,
    };
    let Some(run) = wanted_run else {
        let message = match &arguments.run {
            Some(id) => format!("there is no run `{id}` in this weekend"),
            None => "name the run that the race is worked out from".to_owned(),
        };
        return Err(Problem::wrong_use(message).hint(format!("name one with `--run`: {}", ids.join(", "))));
    };
    let wanted = Wanted {
        air_c: arguments.air,
        race_s: arguments.race,
        laps: arguments.laps.map(f64::from),
        pinion: arguments.pinion.map(f64::from),
        spur: arguments.spur.map(f64::from),
        start_c: arguments.start,
    };
    let units = arguments.shown.units.unwrap_or(review.sheet.units());
    let race =
        ahead(&run.run, review.sheet.race_length_s(), wanted).map_err(|why| Problem::new(why).shown_in(units))?;
    // The race is all that was asked for: `--quiet` does not silence it.
    Output { quiet: false, ..output }.say(|| terminal::ahead(&race, units), || json!(race))
}
