//! Tables of runs and laps across the weekend, as polars data frames.

use polars::prelude::*;

use crate::laps::Laps;

/// Laps in a row over which the best pace is taken. Common practice, no source: heats are seeded by three.
const IN_A_ROW: usize = 3;

/// One row a lap: run, car, lap, start and end, time, turns, reason it was set aside for (null where it counts).
///
/// # Errors
/// If polars cannot put the columns together.
pub fn laps<'a>(runs: impl Iterator<Item = (&'a str, &'a str, &'a Laps)>) -> PolarsResult<DataFrame> {
    let (mut run, mut car, mut number, mut reason) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut figures: [Vec<f64>; 4] = Default::default();
    for (id, key, laps) in runs {
        for lap in &laps.rows {
            run.push(id);
            car.push(key);
            number.push(lap.number);
            reason.push(lap.set_aside.map(|s| s.words()));
            for (column, value) in figures.iter_mut().zip([lap.start_s, lap.end_s, lap.time_s(), lap.turns]) {
                column.push(value);
            }
        }
    }
    let [start, end, time, turns] = figures;
    df!("run" => run, "car" => car, "lap" => number, "start_s" => start, "end_s" => end, "time_s" => time, "revs" => turns, "set_aside" => reason)
}

/// Pace of each run from the table of laps: laps that count, best and median lap, best three in a row, and the rank of
/// the median among the car's runs. In the order of the runs.
///
/// # Errors
/// If polars cannot group the table.
pub fn pace(laps: &DataFrame) -> PolarsResult<DataFrame> {
    let counted = laps.filter(&laps.column("set_aside")?.as_materialized_series().is_null())?;
    if counted.height() == 0 {
        return Ok(DataFrame::default());
    }
    let pace = counted.group_by_stable(["car", "run"])?.apply(|run| pace_of(&run))?;
    let (cars, medians) = (pace.column("car")?.str()?, pace.column("median_s")?.f64()?);
    let rank = |at: usize| {
        let quicker = (0..pace.height()).filter(|&o| cars.get(o) == cars.get(at) && medians.get(o) < medians.get(at));
        quicker.count() as u32 + 1
    };
    let ranks: Vec<u32> = (0..pace.height()).map(rank).collect();
    let mut pace = pace.clone();
    pace.with_column(Column::new("rank".into(), ranks))?;
    Ok(pace)
}

fn pace_of(run: &DataFrame) -> PolarsResult<DataFrame> {
    let time = run.column("time_s")?.as_materialized_series();
    let lap = run.column("lap")?.u32()?;
    let sums = (1..IN_A_ROW as i64).try_fold(time.clone(), |sum, back| sum + time.shift(back))?;
    // Three in a row means neighbours: a lap set aside in between breaks the row.
    let numbers: Vec<u32> = lap.into_no_null_iter().collect();
    let in_a_row = sums
        .f64()?
        .iter()
        .enumerate()
        .filter(|(at, _)| *at + 1 >= IN_A_ROW && numbers[*at] - numbers[at + 1 - IN_A_ROW] == IN_A_ROW as u32 - 1);
    let best_row = in_a_row.filter_map(|(_, sum)| sum).min_by(f64::total_cmp);
    df!(
        "car" => [run.column("car")?.str()?.get(0)],
        "run" => [run.column("run")?.str()?.get(0)],
        "counted" => [run.height() as u32],
        "best_s" => [time.f64()?.min()],
        "median_s" => [time.f64()?.median()],
        "best_three_s" => [best_row]
    )
}
