//! Every system of the trade from end to end: five cars, seven changes to each, in both forward models. What a review
//! says that a change did is set against what it did in the model: the difference of equal runs with and without it.
//!
//! `cargo test --release --test systems -- --ignored --nocapture` prints the tables of `benches/README.md`.

#[path = "against/mod.rs"]
mod against;
#[path = "reviewed/mod.rs"]
mod reviewed;
#[path = "systems/mod.rs"]
mod trade;
mod world;

use rayon::prelude::*;
use rstest::rstest;
use trade::claims::{Claims, table_of_changes, table_of_figures};
use trade::figures::{KEYS, SPOILT_BY_WHEELSPIN};
use trade::table::{Change, System};
use trade::trial::{Outcome, World, outcomes};

/// Seeds of the long form: half of them in each model.
const SEEDS: u64 = 20;

/// All systems and changes in a model at a seed. In two seeds of each eight the wheels spin out of many corners.
fn all_of(world: World, seed: u64) -> Vec<Outcome> {
    let spins_much = seed / 2 % 4 == 3;
    System::ALL.into_par_iter().flat_map_iter(|system| outcomes(world, system, seed, spins_much)).collect()
}

#[rstest]
#[case::few(&[(World::First, 0), (World::Second, 1)])]
#[ignore = "the long form: .ci/run"]
#[case::all(&[])]
fn changes_do_what_they_are_said_to_do(#[case] weekends: &[(World, u64)]) {
    let in_turn = (0..SEEDS).map(|seed| (if seed % 2 == 0 { World::First } else { World::Second }, seed));
    let weekends = if weekends.is_empty() { in_turn.collect() } else { weekends.to_vec() };
    let all: Vec<Outcome> = weekends.into_par_iter().flat_map_iter(|(world, seed)| all_of(world, seed)).collect();
    println!("{}\n{}", table_of_changes(&all), table_of_figures(&all));
    println!("{}", Claims::of(&all, |_| true).wrong().places());
}
