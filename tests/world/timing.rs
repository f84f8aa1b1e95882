//! The timing at the line and the list it prints.

use super::dice::Dice;

/// Scatter of a passing in the timing, s: a loop of a few centimetres at 10 m/s, from memory.
const PASSING_SCATTER_S: f64 = 0.002;

/// How a list writes its times.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ListForm {
    /// Lap times in seconds, with so many decimals.
    LapTimes {
        /// Two or three.
        decimals: usize,
    },
    /// Passings by the time of day, with so many decimals; the first is at `first_s` after midnight.
    TimeOfDay {
        /// Two or three.
        decimals: usize,
        /// Seconds after midnight.
        first_s: f64,
    },
}

/// How list and log lie to each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coverage {
    /// The log has the whole race.
    Whole,
    /// The list begins before the log.
    LogStartsLate,
    /// The list ends after the log.
    LogEndsEarly,
    /// Both end early: the run was shorter than the race.
    ShortRun,
}

/// A lap list.
#[derive(Debug, Clone, PartialEq)]
pub struct LapList {
    /// How it is written.
    pub form: ListForm,
    /// Passings in it, s from the first of the race, as timed.
    pub passings_s: Vec<f64>,
}

impl LapList {
    /// The list of passings (s, on any clock), as timed; `misses` one of those that are neither first nor last.
    pub fn draw(dice: &mut Dice, passings_s: &[f64], misses: bool) -> Self {
        let decimals = dice.pick(&[2, 3, 3]);
        let first_s = dice.between(9.0, 17.5) * 3600.0;
        let form =
            if dice.chance(0.3) { ListForm::TimeOfDay { decimals, first_s } } else { ListForm::LapTimes { decimals } };
        let mut timed: Vec<f64> = passings_s.iter().map(|at| at + dice.normal(0.0, PASSING_SCATTER_S)).collect();
        if misses && timed.len() > 5 {
            timed.remove(dice.whole(2, timed.len() - 3));
        }
        let first = timed.first().copied().unwrap_or(0.0);
        timed.iter_mut().for_each(|at| *at -= first);
        Self { form, passings_s: timed }
    }

    /// Its text.
    pub fn text(&self) -> String {
        let mut text = String::new();
        match self.form {
            ListForm::LapTimes { decimals } => {
                text.push_str("lap,time\n");
                for (number, pair) in self.passings_s.windows(2).enumerate() {
                    text.push_str(&format!("{},{:.decimals$}\n", number + 1, pair[1] - pair[0]));
                }
            }
            ListForm::TimeOfDay { decimals, first_s } => {
                text.push_str("passing,time of day\n");
                let whole = 10f64.powi(decimals as i32);
                for (number, at) in self.passings_s.iter().enumerate() {
                    // Rounded first, so that no second reads 60.
                    let at = ((first_s + at) * whole).round() / whole;
                    let (hours, minutes) = ((at / 3600.0).floor(), (at % 3600.0 / 60.0).floor());
                    let width = decimals + 3;
                    let seconds = at - hours * 3600.0 - minutes * 60.0;
                    text.push_str(&format!("{},{hours:02}:{minutes:02}:{seconds:0width$.decimals$}\n", number + 1));
                }
            }
        }
        text
    }
}
