//! How many faults of logs, lists and sheets are caught, and what is remarked on sound weekends, as tables: `cargo
//! bench
//! --bench evidence`. `RUNTRUE_SEEDS` takes another number of weekends of each world, `RUNTRUE_FAULT` just the faults
//! with this in their name, and no sound weekends.

#[path = "../tests/faulted/mod.rs"]
mod faulted;

use std::collections::BTreeMap;
use std::path::Path;

use faulted::fault;
use faulted::measure::{FalseRemarks, Tally, caught, false_remarks, false_remarks_on_variations, of_folder};
use faulted::untold::reason;
use faulted::worlds::World;

/// Weekends of each world that every fault is put on.
const SEEDS: u64 = 6;
/// For each of those, sound weekends that are looked at.
const SOUND_FOR_EACH: u64 = 4;
/// Of those, one in so many is looked at in each other form.
const FEWER_VARIED: u64 = 10;
/// Kinds of evidence that a row names.
const NAMED: usize = 2;

fn main() {
    let seeds = std::env::var("RUNTRUE_SEEDS").ok().and_then(|s| s.parse().ok()).unwrap_or(SEEDS);
    let wanted = std::env::var("RUNTRUE_FAULT").unwrap_or_default();
    faults(seeds, &wanted);
    if wanted.is_empty() {
        sound(SOUND_FOR_EACH * seeds);
    }
}

fn faults(seeds: u64, wanted: &str) {
    let faults: Vec<_> = fault::all().into_iter().filter(|f| f.name.contains(wanted)).collect();
    println!(
        "| fault | strength | world | runs | caught | of which withheld | harmless | wrong verdict | blames others | note |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    let mut missed = Vec::new();
    for ((n, m, world), tally) in caught(&faults, &World::ALL, seeds) {
        let (fault, (strength, _)) = (&faults[n], faults[n].strengths[m]);
        let (name, world, percent) = (&fault.name, world.name(), |part: usize| percent(part, tally.runs));
        println!(
            "| {name} | {strength} | {world} | {} | {} | {} | {} | {} | {} | {} |",
            tally.runs,
            percent(tally.caught),
            percent(tally.withheld),
            percent(tally.harmless),
            percent(tally.turned),
            percent(tally.blamed),
            note(&tally, reason(name, strength)),
        );
        missed.extend(tally.missed);
    }
    println!("\nNot caught, the first of each:\n");
    missed.iter().for_each(|m| println!("- {m}"));
}

fn percent(part: usize, whole: usize) -> String {
    format!("{:.0} %", 100.0 * part as f64 / whole.max(1) as f64)
}

fn note(tally: &Tally, cannot_be_told: Option<&str>) -> String {
    let most = |by: &BTreeMap<String, usize>| {
        let mut all: Vec<(&String, &usize)> = by.iter().collect();
        all.sort_by_key(|(words, n)| (std::cmp::Reverse(**n), (*words).clone()));
        all.iter().take(NAMED).map(|(words, n)| format!("{words} {n}")).collect::<Vec<_>>().join(", ")
    };
    let blamed = most(&tally.blamed_by);
    let blamed = if blamed.is_empty() { blamed } else { format!("blamed: {blamed}") };
    let because = cannot_be_told.map_or_else(String::new, |because| format!("cannot be told, {because}"));
    let parts = [most(&tally.by), blamed, because];
    parts.into_iter().filter(|p| !p.is_empty()).collect::<Vec<_>>().join("; ")
}

fn sound(seeds: u64) {
    println!("\n| sound weekends | runs | with a remark | of | worth | why | how often |");
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    let mut sample = FalseRemarks::default();
    sample.add(&of_folder(&Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-logs/alder-quay")), "sample");
    let mut all = vec![("the sample".to_owned(), sample)];
    for world in World::ALL {
        all.push((world.name().to_owned(), false_remarks(world, seeds)));
        let varied = false_remarks_on_variations(world, seeds.div_ceil(FEWER_VARIED));
        all.extend(varied.into_iter().map(|(form, remarks)| (format!("{}, {form}", world.name()), remarks)));
    }
    let mut places = Vec::new();
    for (name, remarks) in all {
        println!("| {name} | {} | {} | | | | |", remarks.runs, remarks.with_remark);
        for ((of, worth, why), n) in &remarks.by {
            println!("| {name} | | | {of} | {worth} | {why} | {n} |");
        }
        places.extend(remarks.places);
    }
    places.iter().for_each(|p| println!("\n- {p}"));
}
