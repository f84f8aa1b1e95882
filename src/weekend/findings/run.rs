//! Findings of one run, from its answers and what the weekend concludes of it.

use serde_json::json;

use super::finding::{About, Finding, Place, headed, name, of_run, short};
use super::since::since_finding;
use super::time::time_finding;
use crate::evidence::Subject;
use crate::figure::Weight;
use crate::measure::battery::{Battery, BatteryVerdict};
use crate::measure::heat::{Heat, HeatVerdict};
use crate::measure::hot_part::HotPart;
use crate::measure::rests_on;
use crate::measure::wheelspin::{Event, Wheelspin};
use crate::quantity::Estimate;
use crate::run::{GearingVerdict, PinionWhy, SettledRun};
use crate::units::measure::{DEGREES, TEMPERATURE};
use crate::weekend::concluded_run::ConcludedRun;
use crate::weekend::hotter::{CoolingVerdict, Hotter};
use crate::weekend::next::{Next, WithoutFan};
use crate::wording::{self, place_on_lap};

/// Share of the laps' time from which wheelspin is worth a word. A default (common practice, no source).
pub const MUCH_SPIN: f64 = 0.02;
/// Spins no farther apart than this share of a lap are at one place. A default (common practice, no source).
const SAME_PLACE: f64 = 0.04;
/// Laps that must spin at one place for it to be named. A default (common practice, no source).
const LEAST_LAPS: usize = 3;
/// From this probability it is called over 99 %.
const NEARLY_SURE: f64 = 0.99;

/// Where most laps spin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpunPlace {
    /// Share of the lap.
    pub lap_fraction: f64,
    /// Laps that spin there.
    pub laps: usize,
}

/// The place where most laps spin; `None` where no place has three.
pub fn spun_place(wheelspin: &Wheelspin) -> Option<SpunPlace> {
    let places: Vec<(u32, f64)> = wheelspin.events.iter().filter_map(|e| e.lap.zip(e.lap_fraction)).collect();
    let laps_near = |lap_fraction: f64| {
        let near = places.iter().filter(|p| (p.1 - lap_fraction).abs() <= SAME_PLACE);
        let mut laps: Vec<u32> = near.map(|p| p.0).collect();
        laps.dedup();
        laps.len()
    };
    places
        .iter()
        .map(|&(_, lap_fraction)| SpunPlace { lap_fraction, laps: laps_near(lap_fraction) })
        .max_by(|a, b| a.laps.cmp(&b.laps).then(b.lap_fraction.total_cmp(&a.lap_fraction)))
        .filter(|place| place.laps >= LEAST_LAPS)
}

/// The lap of the longest spin near a place.
fn longest_spin(wheelspin: &Wheelspin, lap_fraction: f64) -> Option<u32> {
    let near = |e: &&Event| e.lap_fraction.is_some_and(|f| (f - lap_fraction).abs() <= SAME_PLACE);
    let seconds = |e: &Event| e.end_s - e.start_s;
    wheelspin.events.iter().filter(near).max_by(|a, b| seconds(a).total_cmp(&seconds(b)))?.lap
}

/// Findings of one run, unordered.
pub fn findings_of_run(concluded: &ConcludedRun) -> Vec<Finding> {
    let ConcludedRun { run, next, without_fan, since, hotter, time, .. } = concluded;
    let Some(done) = run.done() else { return Vec::new() };
    let mut findings = Vec::new();
    findings.extend(gearing_finding(run));
    findings.extend(heat_finding(run, HotPart::Motor, next));
    findings.extend(heat_finding(run, HotPart::Controller, next));
    findings.extend(without_fan.as_ref().and_then(|fan| fan_finding(run, fan)));
    findings.extend(wheelspin_finding(run, &done.answers.wheelspin));
    findings.extend(battery_finding(run, &done.answers.battery));
    findings.extend(since.as_ref().and_then(|since| since_finding(run, since)));
    findings.extend(hotter.as_ref().and_then(|hotter| cooling_finding(run, hotter)));
    findings.extend(time.as_ref().and_then(|time| time_finding(run, time)));
    findings.into_iter().map(|finding| in_doubt(run, finding)).collect()
}

/// A finding that rests on something in doubt says so.
fn in_doubt(run: &SettledRun, finding: Finding) -> Finding {
    let subjects = match finding.about {
        About::Gearing => rests_on::GEARING,
        About::Motor => rests_on::heat(HotPart::Motor),
        About::Controller => rests_on::heat(HotPart::Controller),
        About::Wheelspin => rests_on::WHEELSPIN,
        About::Battery => rests_on::BATTERY,
        About::Change => &[Subject::Laps],
        About::Time => rests_on::TIME,
        About::Trend => &[],
    };
    let doubtful = run.evidence().into_iter().flat_map(|evidence| evidence.doubtful(subjects));
    let names: Vec<&str> = doubtful.map(Subject::label).collect();
    if names.is_empty() {
        return finding;
    }
    let doubt = format!("In doubt: it rests on the {}", names.join(", "));
    let detail = if finding.detail.is_empty() { doubt } else { format!("{}. {doubt}", finding.detail) };
    let headline = finding.headline.map(|headline| format!("{headline}, in doubt"));
    Finding { headline, text: format!("{}. {detail}", finding.lead), detail, ..finding }
}

fn gearing_finding(run: &SettledRun) -> Option<Finding> {
    let gearing = &run.done()?.answers.gearing;
    let pinion = &run.pinion;
    if let (GearingVerdict::Differs, Some(best)) = (pinion.verdict, pinion.best()) {
        let sheet = pinion.fits.get(pinion.fits.len() / 2).map_or(best.pinion, |f| f.pinion);
        let set = gearing.set_ratio.unwrap_or(best.ratio);
        let sure = if best.probability > NEARLY_SURE {
            "over 99 % sure".to_owned()
        } else {
            format!("{:.0} % sure", 100.0 * best.probability)
        };
        let detail = match gearing.realised_ratio {
            // What the sheet's pinion would show on this track, with this run's own offset.
            Some(m) => format!(
                "The ratio was {:.2} on track, where {sheet} teeth give {:.2} ({sure})",
                m.value,
                m.value * set / best.ratio
            ),
            None => format!("The revs over a lap show it ({sure})"),
        };
        let lead = format!("Run {} had a {}-tooth pinion; the sheet says {sheet}", name(run), best.pinion);
        let values = json!({
            "pinion": best.pinion, "sheet_pinion": sheet, "probability": best.probability,
            "realised_ratio": gearing.realised_ratio,
        });
        let finding = Finding::new("pinion-differs", Weight::Act, About::Gearing, lead, detail);
        let headline = format!("{} teeth on the car, {sheet} on the sheet", best.pinion);
        return Some(of_run(run, headed(finding, headline), values));
    }
    // Where the sheet lacks something, that is said instead.
    (pinion.why == Some(PinionWhy::NoneFits) && gearing.why.is_none()).then(|| {
        let values = json!({ "realised_ratio": gearing.realised_ratio, "set_ratio": gearing.set_ratio });
        let lead = format!("The gearing on the sheet does not fit run {}", name(run));
        let detail = "No pinion near the sheet's explains the revs: check the pinion, spur, internal ratio, tyre and \
                      lap length on the sheet"
            .to_owned();
        let finding = Finding::new("gearing-does-not-fit", Weight::Act, About::Gearing, lead, detail);
        of_run(run, headed(finding, "the gearing on the sheet does not fit"), values)
    })
}

/// The interval of a temperature, in brackets after its value: `94 °C (91 to 97)`.
fn temperature(estimate: Estimate) -> String {
    wording::whole(&estimate, TEMPERATURE)
}

/// The limit of a part, and whether it is assumed.
fn limit(heat: &Heat) -> String {
    let limit = wording::value(heat.limit_c, 0, TEMPERATURE);
    if heat.limit_stated {
        format!("its limit of {limit}")
    } else {
        format!("the assumed limit of {limit} (enter the maker's own)")
    }
}

fn heat_finding(run: &SettledRun, part: HotPart, next: &[Next]) -> Option<Finding> {
    let (part_name, code, about) = match part {
        HotPart::Motor => ("motor", "motor-heat", About::Motor),
        HotPart::Controller => ("controller", "controller-heat", About::Controller),
    };
    let heat = run.heat(part)?;
    let peak = heat.peak_c?;
    let id = name(run);
    let limit = limit(heat);
    let (weight, headline, lead, detail) = match (heat.verdict, heat.race_end_c) {
        (HeatVerdict::Over, _) if peak > heat.limit_c => (
            Weight::Act,
            format!("the {part_name} went over its limit"),
            format!(
                "The {part_name} reached {}{} in run {id}, over {limit}",
                if heat.in_part { "at least " } else { "" },
                wording::value(peak, 0, TEMPERATURE)
            ),
            format!("It was over for {:.0} s. {}", heat.over_limit_s.unwrap_or(0.0), remedy(run, part, heat, next)),
        ),
        (HeatVerdict::Over, Some(end)) => (
            Weight::Act,
            format!("the {part_name} would go over its limit"),
            format!("The {part_name} would go over {limit} in a race like run {id}"),
            format!("It would end the race at {}. {}", temperature(end), remedy(run, part, heat, next)),
        ),
        (HeatVerdict::Close, Some(end)) => (
            Weight::Watch,
            format!("the {part_name} is near its limit"),
            if heat.race_end_read {
                format!("The {part_name} came near {limit} in run {id}")
            } else {
                format!("The {part_name} would come near {limit} in a race like run {id}")
            },
            format!(
                "It {} the race at {}{}",
                if heat.race_end_read { "ended" } else { "would end" },
                temperature(end),
                if end.value > heat.limit_c { ", probably over" } else { "" }
            ),
        ),
        _ => return None,
    };
    let values = json!({
        "peak_c": heat.peak_c, "limit_c": heat.limit_c, "over_limit_s": heat.over_limit_s,
        "race_end_c": heat.race_end_c,
    });
    Some(of_run(run, headed(Finding::new(code, weight, about, lead, detail), headline), values))
}

/// What would keep a part under its limit: for the motor, the largest pinion whose forecast does, where one is near.
fn remedy(run: &SettledRun, part: HotPart, heat: &Heat, next: &[Next]) -> String {
    let cool = "Cool it better or fit a smaller pinion before the next run";
    let Some(now) = run.pinion_on_car().filter(|_| part == HotPart::Motor) else { return cool.to_owned() };
    let smaller: Vec<&Next> = next.iter().filter(|n| n.pinion < now).collect();
    if smaller.is_empty() || smaller.iter().any(|n| n.motor_race_end_c.is_none()) {
        return cool.to_owned();
    }
    let mut ends = smaller.iter().rev().filter_map(|n| n.motor_race_end_c.map(|end| (n.pinion, end)));
    ends.find(|(_, end)| end.high < heat.limit_c).map_or_else(
        || format!("{cool}: two teeth fewer would not be enough"),
        |(teeth, end)| format!("Fit {teeth} teeth: it would end the race at {}", temperature(end)),
    )
}

fn fan_finding(run: &SettledRun, fan: &WithoutFan) -> Option<Finding> {
    let needed = fan.needed?;
    let heat = run.heat(HotPart::Motor)?;
    let end = temperature(fan.motor_race_end_c);
    let lead = if needed {
        format!("The motor needs the fan in run {}", name(run))
    } else {
        format!("The motor would keep under its limit without the fan in run {}", name(run))
    };
    let over = if needed { "over" } else { "under" };
    let detail = format!("Without it the race would end at {end}, {over} {}", limit(heat));
    let values = json!({ "motor_race_end_c": fan.motor_race_end_c, "limit_c": heat.limit_c });
    Some(of_run(run, Finding::new("fan", Weight::Note, About::Motor, lead, detail), values))
}

/// A motor that cooled less than in the run before, with nothing on the sheet to say why.
fn cooling_finding(run: &SettledRun, hotter: &Hotter) -> Option<Finding> {
    if hotter.verdict != CoolingVerdict::CheckFan {
        return None;
    }
    let than = short(&hotter.than);
    let lead = format!("The motor cooled less in run {} than in run {than}: check the fan", name(run));
    let detail = format!(
        "It ended {} hotter, and {} of that come neither from the air nor from the start nor from the load",
        wording::whole(&hotter.by_k, DEGREES),
        wording::whole(&hotter.cooling_k, DEGREES)
    );
    let values = json!({ "run_before": hotter.than, "by_k": hotter.by_k, "cooling_k": hotter.cooling_k });
    let finding = Finding::new("cooling-weaker", Weight::Watch, About::Motor, lead, detail);
    Some(of_run(run, headed(finding, "the motor cooled less: check the fan"), values))
}

fn wheelspin_finding(run: &SettledRun, wheelspin: &Wheelspin) -> Option<Finding> {
    let (seconds, share) = (wheelspin.seconds?, wheelspin.share.filter(|s| *s >= MUCH_SPIN)?);
    let place = spun_place(wheelspin);
    let detail = place.map_or_else(String::new, |place| {
        format!("On {} laps they spun at the same spot, {}", place.laps, place_on_lap(place.lap_fraction))
    });
    let lead =
        format!("The wheels spun for {seconds:.1} s in run {}, {:.1} % of the laps' time", name(run), 100.0 * share);
    let values = json!({ "seconds": seconds, "share": share, "events": wheelspin.events.len() });
    let finding = Finding::new("wheelspin", Weight::Watch, About::Wheelspin, lead, detail);
    let place = place.map(|SpunPlace { lap_fraction, .. }| Place {
        lap_fraction,
        until: None,
        lap: longest_spin(wheelspin, lap_fraction),
        on_lap: None,
    });
    Some(of_run(run, Finding { place, ..headed(finding, "the wheels spun") }, values))
}

fn battery_finding(run: &SettledRun, battery: &Battery) -> Option<Finding> {
    let values = json!({
        "lowest_cell_v": battery.lowest_cell_v, "floor_cell_v": battery.floor_cell_v, "used_mah": battery.used_mah,
        "race_end_used_mah": battery.race_end_used_mah,
    });
    match battery.verdict {
        BatteryVerdict::UnderFloor => {
            let lead = format!("The cells fell to {:.2} V each in run {}", battery.lowest_cell_v?, name(run));
            let detail = format!(
                "That is under their floor of {:.2} V and may have damaged the pack: check it before you charge it",
                battery.floor_cell_v
            );
            let finding = Finding::new("cell-under-floor", Weight::Act, About::Battery, lead, detail);
            Some(of_run(run, headed(finding, "the cells fell under their floor"), values))
        }
        BatteryVerdict::Short => {
            let used = battery.race_end_used_mah?.value;
            let capacity = run.plan().settings.number("battery.capacity_mah");
            let much = if capacity.is_some_and(|c| used > c) { "more than the pack holds" } else { "most of the pack" };
            let lead = format!("A race would use {much} at the pace of run {}", name(run));
            let detail = format!("It would take {used:.0} mAh");
            let finding = Finding::new("charge-short", Weight::Watch, About::Battery, lead, detail);
            Some(of_run(run, headed(finding, "a race would use most of the pack"), values))
        }
        _ => None,
    }
}
