//! A race that is asked for on a run's page: what is typed, field by field, and what the run makes of it.

use crate::report::view::{self, AheadView};
use crate::units::measure::TEMPERATURE;
use crate::units::number_in;
use crate::units::table::has_one_unit;
use crate::weekend::ahead::{Wanted, Why, ahead};
use crate::weekend::concluded_run::ConcludedRun;
use crate::wording::stated;

/// A race as it was typed; an empty field stays as in the run.
#[derive(Debug, Default, serde::Deserialize)]
pub struct AskedRace {
    /// Air, °C.
    pub air: Option<String>,
    /// Length, s.
    pub race: Option<String>,
    /// Laps, in place of the length.
    pub laps: Option<String>,
    /// Teeth of the pinion.
    pub race_pinion: Option<String>,
    /// Teeth of the spur.
    pub race_spur: Option<String>,
    /// Motor and controller at the start, °C.
    pub start: Option<String>,
}

/// The form with what was typed, and the race where all of it could be read.
pub struct RaceForm {
    /// Its fields.
    pub fields: [RaceField; 6],
    /// The race; `None` before one is asked for, and where a field is wrong.
    pub race: Option<AheadView>,
}

/// A field of the form.
pub struct RaceField {
    /// Its name in the address.
    pub name: &'static str,
    /// What a racer calls it.
    pub label: &'static str,
    /// The unit of a bare number; empty where there is none.
    pub unit: &'static str,
    /// What was typed.
    pub value: String,
    /// As it was in the run; empty where that is not known.
    pub in_run: String,
    /// What is wrong with it.
    pub error: Option<String>,
}

/// Which field it is: its place in the form.
#[derive(Debug, Clone, Copy)]
enum Asked {
    Air,
    Race,
    Laps,
    Pinion,
    Spur,
    Start,
}

/// The form of a run, whose own race is `race_s` long; `None` for a run that could not be reviewed.
pub fn race_form(run: &ConcludedRun, race_s: f64, asked: &AskedRace) -> Option<RaceForm> {
    run.done()?;
    let mut form = RaceForm { fields: fields(run, race_s, asked), race: None };
    let is_asked = [&asked.air, &asked.race, &asked.laps, &asked.race_pinion, &asked.race_spur, &asked.start];
    if is_asked.iter().all(|typed| typed.is_none()) {
        return Some(form);
    }
    let wanted = form.read();
    if form.fields.iter().all(|field| field.error.is_none()) {
        match ahead(&run.run, race_s, wanted) {
            Ok(race) => form.race = Some(view::ahead(&race)),
            Err(why) => form.fields[blamed(&why, &wanted) as usize].error = Some(why.to_string()),
        }
    }
    Some(form)
}

fn fields(run: &ConcludedRun, race_s: f64, asked: &AskedRace) -> [RaceField; 6] {
    let field = |name, label, unit, typed: &Option<String>, in_run: Option<String>| RaceField {
        name,
        label,
        unit,
        value: typed.clone().unwrap_or_default(),
        in_run: in_run.unwrap_or_default(),
        error: None,
    };
    let teeth = |count: f64| count.to_string();
    [
        field("air", "air", "°C", &asked.air, run.plan().ambient_c.map(|c| stated(c, TEMPERATURE))),
        field("race", "race", "s", &asked.race, Some(race_s.to_string())),
        field("laps", "or laps of the race", "", &asked.laps, None),
        field("race_pinion", "pinion", "teeth", &asked.race_pinion, run.run.pinion_on_car().map(teeth)),
        field("race_spur", "spur", "teeth", &asked.race_spur, run.plan().settings.number("spur").map(teeth)),
        field("start", "motor and controller at the start", "°C", &asked.start, None),
    ]
}

impl RaceField {
    /// Whether digits are all that can be typed: a phone shows its number keys then.
    pub fn takes_digits_alone(&self) -> bool {
        has_one_unit(self.unit)
    }
}

impl RaceForm {
    /// What was typed, as numbers; what is none is marked at its field.
    fn read(&mut self) -> Wanted {
        let air_c = self.number(Asked::Air);
        let race_s = self.number(Asked::Race);
        let laps = self.number(Asked::Laps);
        if race_s.is_some() && laps.is_some() {
            self.fields[Asked::Laps as usize].error = Some("enter the seconds or the laps, not both".to_owned());
        }
        let (pinion, spur) = (self.teeth(Asked::Pinion), self.teeth(Asked::Spur));
        Wanted { air_c, race_s, laps, pinion, spur, start_c: self.number(Asked::Start) }
    }

    fn number(&mut self, which: Asked) -> Option<f64> {
        let field = &mut self.fields[which as usize];
        let typed = field.value.trim();
        if typed.is_empty() {
            return None;
        }
        match number_in(typed, field.unit) {
            Ok(written) => Some(written.value),
            Err(why) => {
                field.error = Some(why.hint(field.unit));
                None
            }
        }
    }

    fn teeth(&mut self, which: Asked) -> Option<f64> {
        let number = self.number(which)?;
        if number < 1.0 || number.fract() != 0.0 {
            self.fields[which as usize].error = Some("enter a whole number of teeth".to_owned());
        }
        Some(number)
    }
}

/// The field that keeps a race from being worked out.
fn blamed(why: &Why, wanted: &Wanted) -> Asked {
    match why {
        Why::NoTemperature(c) if wanted.air_c == Some(*c) => Asked::Air,
        Why::NoTemperature(_) => Asked::Start,
        Why::Gears(_) if wanted.pinion.is_some() => Asked::Pinion,
        Why::Gears(_) => Asked::Spur,
        Why::NoRace(_) if wanted.laps.is_some() => Asked::Laps,
        Why::NoRace(_) | Why::NotReviewed => Asked::Race,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::alder_quay;
    use crate::review::review;

    #[test]
    fn what_is_wrong_stands_at_its_field() {
        let folder = tempfile::tempdir().unwrap();
        alder_quay::invent(3).write(folder.path()).unwrap();
        let review = review(folder.path(), &|_, _| {}).unwrap();
        let form = |asked: &AskedRace| race_form(&review.runs[3], 300.0, asked).unwrap();
        let some = |text: &str| Some(text.to_owned());
        assert!(form(&AskedRace::default()).race.is_none());
        let race = form(&AskedRace { air: some("35,5"), race: some(""), ..AskedRace::default() });
        assert!(race.race.is_some() && race.fields.iter().all(|f| f.error.is_none()));
        assert!(form(&AskedRace { air: some("95 °F"), race: some("8 min"), ..AskedRace::default() }).race.is_some());
        let wrong = |asked: AskedRace| {
            let form = form(&asked);
            assert!(form.race.is_none());
            let wrong: Vec<&str> = form.fields.iter().filter(|f| f.error.is_some()).map(|f| f.name).collect();
            wrong.join(" ")
        };
        assert_eq!(wrong(AskedRace { air: some("warm"), start: some("-400"), ..AskedRace::default() }), "air");
        assert_eq!(wrong(AskedRace { air: some("2 kg"), ..AskedRace::default() }), "air");
        assert_eq!(wrong(AskedRace { start: some("-400"), ..AskedRace::default() }), "start");
        assert_eq!(wrong(AskedRace { race: some("300"), laps: some("20"), ..AskedRace::default() }), "laps");
        assert_eq!(wrong(AskedRace { race_pinion: some("31.5"), ..AskedRace::default() }), "race_pinion");
        assert_eq!(wrong(AskedRace { race_pinion: some("900"), ..AskedRace::default() }), "race_pinion");
        assert_eq!(wrong(AskedRace { race: some("1e9"), ..AskedRace::default() }), "race");
    }
}
