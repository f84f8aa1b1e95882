//! Which runs belong to one car.

use crate::run::SettledRun;

/// The runs of each car that could be reviewed and whose log is their own, cars in the order of their first run.
pub fn cars(runs: &[SettledRun]) -> Vec<(String, Vec<&SettledRun>)> {
    by_car(runs.iter().filter(|r| r.has_own_log()).map(|r| (r.plan().car.as_str(), r)))
}

/// What belongs to each car, cars in the order of their first. Without a sheet nothing says which logs are one car's:
/// items whose car is empty are left out.
pub fn by_car<'a, T>(items: impl Iterator<Item = (&'a str, T)>) -> Vec<(String, Vec<T>)> {
    let mut cars: Vec<(String, Vec<T>)> = Vec::new();
    for (car, item) in items.filter(|i| !i.0.is_empty()) {
        match cars.iter_mut().find(|c| c.0 == car) {
            Some(known) => known.1.push(item),
            None => cars.push((car.to_owned(), vec![item])),
        }
    }
    cars
}

/// Index of the same car's run before the one at `index`, by each run's car; `None` for its first, and without a car.
pub fn index_before<'a>(index: usize, car_of: impl Fn(usize) -> &'a str) -> Option<usize> {
    let car = car_of(index);
    (0..index).rev().find(|&n| car_of(n) == car && !car.is_empty())
}
