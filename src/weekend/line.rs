//! Where the timing line is, from all runs of a car: their lap lists were timed at one place of the track.
//!
//! A list alone is laid onto its log by how even the places of the passings are, which leaves some tenths of a second
//! open. The runs of a car share the line, and their revs over the lap show which place of one run's profile is which
//! place of another's: the profiles are turned until they agree best (circular correlation). Then the likelihoods of
//! the line's place are multiplied.
//!
//! What makes one run's list lie early or late is partly the track's and the driver's own, and alike in all runs. So
//! the passings of all runs together are worth no more than [`temper`] says, and the interval stays about as wide as a
//! single run's. On the forward model, likelihoods that were multiplied as if the runs were independent put the line of
//! a car up to a second off, alike in all its runs.
//!
//! Laps that were found without a list get the same line. This assumes one track and one timing line for the weekend. A
//! run whose revs agree with no other's keeps its own line; a list that contradicts the others' line is drawn to it
//! only up to a limit.

use rayon::prelude::*;

use crate::laps::align::{Alignment, temper};
use crate::laps::list_verdict::ListVerdict;
use crate::laps::{Laps, Source};
use crate::statistics::parabola::top_of_parabola;

/// Places of the line that are told apart, share of a lap: two decimetres on 200 m.
const CELLS: usize = 1000;
/// Runs whose revs over the lap are less alike than this are not of one track, or not of one way round. A default, no
/// source: two runs
/// of a car on one track reach 0.9 and more on the forward model.
const ALIKE: f64 = 0.8;
/// How far the line of another run may be off, by the profiles laid over each other, share of a lap: the width of a
/// profile's cell.
const REGISTERED: f64 = 1.0 / 400.0;
/// A run's own list says no more than this against a place, as a log-likelihood: it may be another run's list.
const MOST: f64 = 7.0;

/// Lays the lists of a car's runs with what all of them say of the line.
pub fn share(runs: &mut [&mut Laps]) {
    let profiles: Vec<Option<Vec<f64>>> =
        runs.par_iter().map(|l| l.places.as_ref().map(|p| normalised(&p.profile))).collect();
    let listed = (0..runs.len()).filter(|&n| tells(runs[n]).is_some() && profiles[n].is_some());
    let Some(reference) = listed.max_by_key(|&n| runs[n].rows.len()) else { return };
    let shifts: Vec<Option<f64>> = profiles
        .par_iter()
        .map(|p| profiles[reference].as_ref().zip(p.as_ref()).and_then(|(r, p)| shift(r, p)))
        .collect();
    // What each run says of the line, in places of the reference.
    let said: Vec<Option<Vec<f64>>> = runs
        .par_iter()
        .zip(&shifts)
        .map(|(run, shift)| {
            let own = tells(run)?.by_line(CELLS, MOST);
            let temper = temper(tells(run)?.passings());
            let shift = (*shift)?;
            let turned: Vec<f64> = (0..CELLS).map(|n| own[cell((n as f64 + 0.5) / CELLS as f64 + shift)]).collect();
            Some(blurred(&turned, temper))
        })
        .collect();
    let total: Vec<f64> = (0..CELLS).map(|c| said.iter().flatten().map(|s| s[c]).sum()).collect();
    let passings_of = |l: &Laps| tells(l).map_or(0, |a| a.passings());
    let all: usize = runs.iter().zip(&said).filter(|(_, s)| s.is_some()).map(|(run, _)| passings_of(run)).sum();
    runs.par_iter_mut().enumerate().for_each(|(n, run)| {
        let Some(shift) = shifts[n] else { return };
        let passings = all - passings_of(run);
        let own = |cell: usize| said[n].as_ref().map_or(0.0, |own| own[cell]);
        let elsewhere = |line: f64| total[cell(line - shift)] - own(cell(line - shift));
        let alignment = run.alignment.as_ref().filter(|_| passings > 0);
        let first = alignment.and_then(|a| a.first_passing_with(elsewhere, passings));
        if let Some(first) = first {
            run.lay(first);
        }
    });
    let line = runs[reference].line();
    for (run, shift) in runs.iter_mut().zip(&shifts) {
        if let (Source::Found, Some(line), Some(shift)) = (run.source, line, shift) {
            run.start_laps_at(line + shift);
        }
    }
}

/// How likely each offset of a run's list is, where the list is sound: one that may be another run's says nothing of
/// the line.
fn tells(run: &Laps) -> Option<&Alignment> {
    run.alignment.as_ref().filter(|_| run.list == Some(ListVerdict::Sound))
}

fn cell(place: f64) -> usize {
    (place.rem_euclid(1.0) * CELLS as f64) as usize % CELLS
}

/// A profile with mean zero and squares that add up to one.
fn normalised(profile: &[f64]) -> Vec<f64> {
    let mean = profile.iter().sum::<f64>() / profile.len() as f64;
    let size = profile.iter().map(|r| (r - mean).powi(2)).sum::<f64>().sqrt().max(f64::MIN_POSITIVE);
    profile.iter().map(|r| (r - mean) / size).collect()
}

/// How far `other` lies ahead of `reference`, share of a lap; `None` where they are not alike.
fn shift(reference: &[f64], other: &[f64]) -> Option<f64> {
    let count = reference.len();
    let round = [other, other].concat();
    let alike = |by: usize| -> f64 { reference.iter().zip(&round[by..]).map(|(one, other)| one * other).sum() };
    let all: Vec<f64> = (0..count).map(alike).collect();
    let best = (0..count).max_by(|a, b| all[*a].total_cmp(&all[*b]))?;
    if all[best] < ALIKE {
        return None;
    }
    let off = top_of_parabola(all[(best + count - 1) % count], all[best], all[(best + 1) % count]);
    Some((best as f64 + off) / count as f64)
}

/// Log-likelihoods with the doubt of the places in them, which is a normal one of [`REGISTERED`].
fn blurred(said: &[f64], temper: f64) -> Vec<f64> {
    let width = REGISTERED * CELLS as f64;
    let reach = (4.0 * width).ceil() as isize;
    let weight: Vec<f64> = (-reach..=reach).map(|o| (-0.5 * (o as f64 / width).powi(2)).exp()).collect();
    let total: f64 = weight.iter().sum();
    let likelihood: Vec<f64> = said.iter().map(|s| (temper * s).exp()).collect();
    let at = |n: usize, o: isize| likelihood[(n as isize + o).rem_euclid(CELLS as isize) as usize];
    (0..CELLS)
        .map(|n| {
            let sum: f64 = (-reach..=reach).zip(&weight).map(|(o, w)| w * at(n, o)).sum();
            (sum / total).ln() / temper
        })
        .collect()
}
