//! Why the motor got hotter or cooler than in the run before, in sentences.

use crate::notice::printable;
use crate::quantity::Estimate;
use crate::units::measure::DEGREES;
use crate::units::said;
use crate::weekend::hotter::{CoolingVerdict, Hotter};
use crate::wording::{Digits, HOTTER, Words, change, in_figures, value};

/// Parts below this many degrees are left to the details: a thermometer tells no more.
const WORTH_SAYING_K: f64 = 1.0;

/// The parts by what made them.
fn parts(hotter: &Hotter) -> [(&'static str, Estimate); 4] {
    [
        ("the air", hotter.air_k),
        ("the start", hotter.start_k),
        ("the load", hotter.load_k),
        ("the cooling", hotter.cooling_k),
    ]
}

/// How much hotter it ended than in the run before, what made it so, and what to do.
pub fn sentences(hotter: &Hotter) -> Vec<String> {
    let than = printable(&hotter.than, 40);
    with_parts(hotter, format!("Compared with run {than}"))
}

/// The same against the car's median run.
pub fn sentences_on_median(hotter: &Hotter) -> Vec<String> {
    let than = printable(&hotter.than, 40);
    with_parts(hotter, format!("Compared with the car's usual run ({than})"))
}

fn with_parts(hotter: &Hotter, compared: String) -> Vec<String> {
    let ended = change(&hotter.by_k, DEGREES, Words { same: "as hot", ..HOTTER });
    let mut sentences = vec![format!("{compared}, it ended the race {ended}.")];
    let is_told = |part: &Estimate| part.value.abs() >= WORTH_SAYING_K && !part.holds(0.0);
    let of_part = |(name, part): &(&str, Estimate)| format!("{name} made it {}", in_short(part));
    let told: Vec<String> = parts(hotter).iter().filter(|(_, part)| is_told(part)).map(of_part).collect();
    if !told.is_empty() {
        let all = told.join(", ");
        sentences.push(format!("{}{}.", all[..1].to_uppercase(), &all[1..]));
    }
    if hotter.verdict == CoolingVerdict::CheckFan {
        sentences.push("Nothing on the sheet says why it cooled less: check the fan.".to_owned());
    }
    sentences
}

/// `4 °C hotter`.
fn in_short(part: &Estimate) -> String {
    let word = if part.value < 0.0 { HOTTER.less } else { HOTTER.more };
    format!("{} {word}", value(part.value.abs(), 0, DEGREES))
}

/// All parts with their intervals.
pub fn details(hotter: &Hotter) -> String {
    let of_part = |(name, part): &(&str, Estimate)| {
        let signed = |n| in_figures(part, DEGREES, Digits::Whole, n).signed().sentence(DEGREES.symbol(n));
        format!("{name} {}", said(signed))
    };
    let all: Vec<String> = parts(hotter).iter().map(of_part).collect();
    let than = printable(&hotter.than, 40);
    format!("The difference to run {than} by its parts: {}.", all.join(", "))
}
