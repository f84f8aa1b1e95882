//! Across the runs of a weekend.

pub mod before;
pub mod comparisons;
pub mod figures;
pub mod findings;
pub mod gearing;
pub mod heat;
pub mod lacks;
pub mod line;
pub mod next;
pub mod tables;
pub mod trends;

use crate::review::Run;

/// The runs of each car that could be reviewed, cars in the order of their first run.
pub fn cars(runs: &[Run]) -> Vec<(String, Vec<&Run>)> {
    by_car(runs.iter().filter(|r| r.outcome.is_ok()).map(|r| (r.plan.car.as_str(), r)))
}

/// What belongs to each car, cars in the order of their first.
pub fn by_car<'a, T>(items: impl Iterator<Item = (&'a str, T)>) -> Vec<(String, Vec<T>)> {
    let mut cars: Vec<(String, Vec<T>)> = Vec::new();
    // Without a sheet nothing says which logs are one car's.
    for (car, item) in items.filter(|i| !i.0.is_empty()) {
        match cars.iter_mut().find(|c| c.0 == car) {
            Some(known) => known.1.push(item),
            None => cars.push((car.to_owned(), vec![item])),
        }
    }
    cars
}
