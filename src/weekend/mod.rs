//! Across the runs of a weekend.

pub mod comparisons;
pub mod figures;
pub mod findings;
pub mod gearing;
pub mod heat;
pub mod lacks;
pub mod line;
pub mod next;
pub mod slope;
pub mod tables;
pub mod trends;

use crate::review::Run;

/// The runs of each car that could be reviewed, cars in the order of their first run.
pub fn cars(runs: &[Run]) -> Vec<(String, Vec<&Run>)> {
    let mut cars: Vec<(String, Vec<&Run>)> = Vec::new();
    // Without a sheet nothing says which logs are one car's.
    for run in runs.iter().filter(|r| r.outcome.is_ok() && !r.plan.car.is_empty()) {
        match cars.iter_mut().find(|c| c.0 == run.plan.car) {
            Some(car) => car.1.push(run),
            None => cars.push((run.plan.car.clone(), vec![run])),
        }
    }
    cars
}
