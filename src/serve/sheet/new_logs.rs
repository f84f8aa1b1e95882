//! Logs that come in where the sheet has a car: put on it at once, where nothing says that they are of another car.

use std::path::Path;

use super::cells::CellsAtRest;
use super::runs::{read_sheet, unused_id};
use super::save::{SheetStore, unedited};
use crate::folder::{self, unlisted_run};
use crate::log::Log;
use crate::notice::{Failure, printable};
use crate::sheet::Sheet;
use crate::sheet::edit::{Edit, edit};

/// Longest name of a car or a run that is shown, characters.
const LONGEST_NAME: usize = 40;

/// What became of a log that came into the folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LogPlace {
    /// It is reviewed without anything more: there is no sheet, or it is on it already.
    Reviewed,
    /// It is a run of the sheet's only car now.
    Added {
        /// The run's id.
        run: String,
        /// In a sentence.
        say: String,
    },
    /// The weekend's page asks whose run it is; in a sentence, where there is more to say.
    Asked(Option<String>),
}

impl SheetStore {
    /// Puts the log at `log`, from the folder, on the sheet, where that has one car; `runs` are those in it.
    pub fn add_log(&self, log: &str, runs: &[Log]) -> LogPlace {
        let Ok(Some(text)) = folder::read_sheet_text(self.folder()) else { return LogPlace::Reviewed };
        let Ok(sheet) = read_sheet(&text) else { return LogPlace::Asked(None) };
        if sheet.runs.iter().any(|run| run.log == Path::new(log)) {
            return LogPlace::Reviewed;
        }
        let Some(car) = only_car(&sheet) else { return LogPlace::Asked(None) };
        if let Some(other) = self.of_another_pack(&sheet, car, runs) {
            return LogPlace::Asked(Some(other));
        }
        let mut id = String::new();
        let written = self.write_dropped(|now| {
            let sheet = read_sheet(now)?;
            if only_car(&sheet) != Some(car) {
                return Err(Failure { message: String::new(), hint: None });
            }
            let run = unlisted_run(log.into(), None);
            id = unused_id(&sheet, &run);
            let values = [("id", id.as_str()), ("log", log)].map(|(k, v)| (k.to_owned(), v.to_owned())).to_vec();
            let text = edit(now, &[Edit::AddRun(values)]).map_err(unedited)?;
            Ok(self.with_byte_order_mark(text))
        });
        match written {
            Ok(()) => {
                let (run, car) = (printable(&id, LONGEST_NAME), printable(car, LONGEST_NAME));
                LogPlace::Added { say: format!("run {run} of {car} now, and on the sheet"), run: id }
            }
            Err(_) => LogPlace::Asked(None),
        }
    }

    /// Whether the `runs` of a log rested at a voltage of other cells than `car` has; in a sentence.
    fn of_another_pack(&self, sheet: &Sheet, car: &str, runs: &[Log]) -> Option<String> {
        let own = runs.iter().find_map(CellsAtRest::of_log)?;
        let stated = sheet.cars.get(car).and_then(|settings| settings.number("battery.cells"));
        let review = self.current().review();
        let others = || {
            let reviewed = review.iter().flat_map(|review| &review.runs);
            let of_car = reviewed.filter(|run| run.plan().car == car || run.plan().car.is_empty());
            of_car.filter_map(|run| CellsAtRest::of_log(&run.done()?.log)).next()
        };
        let differs = match stated {
            Some(cells) => own.cannot_be(cells),
            None => others().is_some_and(|other| own.differs_from(&other)),
        };
        let has = stated.map_or_else(|| others().map_or(0, |other| other.cells), |cells| cells as u32);
        let car = printable(car, LONGEST_NAME);
        differs.then(|| format!("{own}, and {car} has {has}: say below whether it is another car"))
    }
}

/// The car of a sheet that has one alone.
fn only_car(sheet: &Sheet) -> Option<&str> {
    let mut cars = sheet.cars.keys();
    cars.next().filter(|_| cars.next().is_none()).map(String::as_str)
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use rstest::rstest;

    use super::*;
    use crate::import::columns::Hints;
    use crate::import::read_bytes;
    use crate::serve::folder::current::Current;

    /// A log that rests at so many volts and then drives.
    fn log(volts: f64) -> Vec<Log> {
        let row = |n: usize| {
            let drives = n > 60;
            let (rpm, volts) = if drives { (n % 50 * 500, volts * 0.93) } else { (0, volts) };
            format!("{:.2},{rpm},{volts:.3},{}\n", n as f64 * 0.05, if drives { 30 } else { 0 })
        };
        let text = format!("time s,rpm,voltage V,current A\n{}", (0..600).map(row).collect::<String>());
        read_bytes(Path::new("x.csv"), text.as_bytes(), &Hints::default()).unwrap()
    }

    #[rstest]
    #[case("[cars.tourer]\nbattery.cells = 2\n", 8.38, true)]
    #[case("[cars.tourer]\nbattery.cells = 2\n", 4.19, false)]
    #[case("[cars.tourer]\nspur = 100\n", 4.19, true)]
    #[case("[cars.tourer]\n[cars.pan]\n", 8.38, false)]
    #[case("[track]\n", 8.38, false)]
    fn a_log_goes_to_the_only_car_unless_its_pack_is_another(
        #[case] sheet: &str,
        #[case] volts: f64,
        #[case] is_added: bool,
    ) {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("weekend.toml"), sheet).unwrap();
        let store = SheetStore::new(Arc::new(Current::new(folder.path().to_owned())));
        let place = store.add_log("logs/t2.csv", &log(volts));
        assert_eq!(matches!(place, LogPlace::Added { .. }), is_added, "{place:?}");
        let text = std::fs::read_to_string(folder.path().join("weekend.toml")).unwrap();
        assert_eq!(text.contains("log = \"logs/t2.csv\""), is_added, "{text}");
        if is_added {
            assert_eq!(store.add_log("logs/t2.csv", &log(volts)), LogPlace::Reviewed);
        }
    }

    /// Twenty logs that come one after the other push no version of the user's own out.
    #[test]
    fn many_logs_leave_one_version() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("weekend.toml"), "[cars.tourer]\n").unwrap();
        let store = SheetStore::new(Arc::new(Current::new(folder.path().to_owned())));
        for n in 0..4 {
            assert!(matches!(store.add_log(&format!("t{n}.csv"), &log(8.3)), LogPlace::Added { .. }));
        }
        let versions = super::super::versions::versions(folder.path());
        let first = super::super::versions::version(folder.path(), &versions[0]).unwrap();
        assert_eq!((versions.len(), first.as_slice()), (1, &b"[cars.tourer]\n"[..]));
    }
}
