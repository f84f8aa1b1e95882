//! The pace of each run: polars groups the weekend's laps by run and ranks the runs of a car.

use polars::prelude::*;

use crate::laps::Laps;

/// Laps in a row over which the best pace is taken. Common practice, no source: heats are seeded by three.
const IN_A_ROW: usize = 3;

/// The laps of one run that could be reviewed.
#[derive(Debug, Clone, Copy)]
pub struct RunLaps<'a> {
    /// Place of the run in the weekend.
    pub index: usize,
    /// Key of its car.
    pub car: &'a str,
    /// Its laps.
    pub laps: &'a Laps,
}

/// The pace of a run over its laps that count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pace {
    /// Best lap, s.
    pub best_s: f64,
    /// Median lap, s.
    pub median_s: f64,
    /// Best three laps in a row, s; `None` where no three neighbours count.
    pub best_three_s: Option<f64>,
    /// Place of its median among the car's runs, from 1.
    pub rank: u32,
}

/// The pace of each of `count` runs, by place in the weekend; `None` for a run without a lap that counts.
pub fn pace<'a>(count: usize, runs: impl Iterator<Item = RunLaps<'a>>) -> Vec<Option<Pace>> {
    let mut paces = vec![None; count];
    // The columns are of one length, and their names and types are ours: polars has nothing to refuse.
    for (index, pace) in grouped(runs).unwrap_or_default() {
        paces[index] = Some(pace);
    }
    paces
}

fn grouped<'a>(runs: impl Iterator<Item = RunLaps<'a>>) -> PolarsResult<Vec<(usize, Pace)>> {
    let (mut run, mut car, mut number, mut time) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for RunLaps { index, car: key, laps } in runs {
        for lap in laps.counted() {
            run.push(index as u32);
            car.push(key);
            number.push(lap.number);
            time.push(lap.time_s());
        }
    }
    let laps = df!("run" => run, "car" => car, "lap" => number, "time_s" => time)?;
    if laps.height() == 0 {
        return Ok(Vec::new());
    }
    let paces = laps.group_by_stable(["car", "run"])?.apply(|run| pace_of(&run))?;
    let paces = paces.group_by_stable(["car"])?.apply(ranked)?;
    let (runs, rank) = (paces.column("run")?.u32()?, paces.column("rank")?.u32()?);
    let (best, median) = (paces.column("best_s")?.f64()?, paces.column("median_s")?.f64()?);
    let best_three = paces.column("best_three_s")?.f64()?;
    let row = |n: usize| {
        let (best_s, median_s, best_three_s) = (best.get(n)?, median.get(n)?, best_three.get(n));
        Some((runs.get(n)? as usize, Pace { best_s, median_s, best_three_s, rank: rank.get(n)? }))
    };
    Ok((0..paces.height()).filter_map(row).collect())
}

/// The runs of a car with the rank of each by its median; equal ones share the better rank.
fn ranked(mut runs: DataFrame) -> PolarsResult<DataFrame> {
    let by_median = RankOptions { method: RankMethod::Min, descending: false };
    let rank = runs.column("median_s")?.as_materialized_series().rank(by_median, None);
    runs.with_column(rank.with_name("rank".into()).into_column())?;
    Ok(runs)
}

/// One row: the pace of the run whose laps these are.
fn pace_of(run: &DataFrame) -> PolarsResult<DataFrame> {
    let (time, lap) = (run.column("time_s")?.f64()?, run.column("lap")?.u32()?);
    let (times, numbers): (Vec<f64>, Vec<u32>) = time.into_no_null_iter().zip(lap.into_no_null_iter()).unzip();
    // Three in a row means neighbours: a lap set aside in between breaks the row.
    let in_a_row = numbers.windows(IN_A_ROW).zip(times.windows(IN_A_ROW));
    let neighbours = in_a_row.filter(|(numbers, _)| numbers[IN_A_ROW - 1] - numbers[0] == IN_A_ROW as u32 - 1);
    let best_three = neighbours.map(|(_, times)| times.iter().rev().sum::<f64>()).min_by(f64::total_cmp);
    df!(
        "car" => [run.column("car")?.str()?.get(0)],
        "run" => [run.column("run")?.u32()?.get(0)],
        "best_s" => [time.min()],
        "median_s" => [time.median()],
        "best_three_s" => [best_three]
    )
}
