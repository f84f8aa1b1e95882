//! Which run a lap list belongs to, by the names of both: lists come after the run, and are named by hand.

use std::path::{Path, PathBuf};

use crate::sheet::RunPlan;

/// A lap list that a run has by its name alone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PairedList {
    /// The run's id.
    pub run: String,
    /// The list, from the weekend's folder.
    pub list: PathBuf,
    /// Whether both have the very same name.
    pub same_name: bool,
}

/// How a list's name comes to be a run's, the surest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum NameFit {
    /// It is the run's id.
    Id,
    /// It is the log's name.
    Log,
    /// One holds the other, with a separator around it.
    Contained,
}

/// Gives each run without a lap list the one of `lists` that has its name, where that is one list and one run. Lists
/// that a run has already are left out.
pub fn pair(lists: &[PathBuf], runs: &mut [&mut RunPlan]) -> Vec<PairedList> {
    let mut found: Vec<(NameFit, usize, &PathBuf)> = Vec::new();
    for list in lists.iter().filter(|list| runs.iter().all(|run| run.laps.as_ref() != Some(list))) {
        let fits: Vec<(NameFit, usize)> =
            runs.iter().enumerate().filter_map(|(n, run)| Some((name_fit(list, run)?, n))).collect();
        let Some(best) = fits.iter().map(|fit| fit.0).min() else { continue };
        let mut of_best = fits.iter().filter(|fit| fit.0 == best);
        if let (Some(&(fit, run)), None) = (of_best.next(), of_best.next())
            && runs[run].laps.is_none()
        {
            found.push((fit, run, list));
        }
    }
    let is_only = |&(fit, run, list): &(NameFit, usize, &PathBuf)| {
        found.iter().all(|&(other, of, rival)| of != run || rival == list || other > fit)
    };
    let paired: Vec<_> = found.iter().copied().filter(is_only).collect();
    let give = |(fit, run, list): (NameFit, usize, &PathBuf)| {
        runs[run].laps = Some(list.clone());
        PairedList { run: runs[run].id.clone(), list: list.clone(), same_name: fit != NameFit::Contained }
    };
    paired.into_iter().map(give).collect()
}

fn name_fit(list: &Path, run: &RunPlan) -> Option<NameFit> {
    let stem = |path: &Path| path.file_stem().map_or(String::new(), |s| s.to_string_lossy().to_lowercase());
    let (list, id, log) = (stem(list), run.id.to_lowercase(), stem(&run.log));
    // `both.2` is the second run in the log of `both`, and not the log whole.
    let is_part_of = |name: &str| {
        let number = list.strip_prefix(name).and_then(|rest| rest.strip_prefix('.'));
        number.is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit()))
    };
    if list == id {
        Some(NameFit::Id)
    } else if list == log {
        Some(NameFit::Log)
    } else {
        let either = |name: &str| holds(&list, name) || holds(name, &list);
        let is_part = is_part_of(&id) || is_part_of(&log);
        (!is_part && (either(&id) || either(&log))).then_some(NameFit::Contained)
    }
}

/// Whether `part` is in `whole` with neither a letter nor a digit beside it.
fn holds(whole: &str, part: &str) -> bool {
    let is_apart = |c: Option<char>| c.is_none_or(|c| !c.is_alphanumeric());
    !part.is_empty()
        && whole.match_indices(part).any(|(at, _)| {
            is_apart(whole[..at].chars().next_back()) && is_apart(whole[at + part.len()..].chars().next())
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    fn run(id: &str, log: &str, laps: Option<&str>) -> RunPlan {
        RunPlan { id: id.into(), log: log.into(), laps: laps.map(PathBuf::from), ..RunPlan::default() }
    }

    #[rstest]
    #[case("laps/t2.csv", Some("t2"))]
    #[case("T2.csv", Some("t2"))]
    #[case("laps/morning 3.csv", Some("t3"))]
    #[case("t3-laps.csv", Some("t3"))]
    #[case("laps of t2 (saturday).csv", Some("t2"))]
    #[case("laps/morning.csv", Some("t3"))]
    #[case("laps/t22.csv", None)]
    #[case("laps/t2.1.csv", None)]
    #[case("laps/t2 and t3.csv", None)]
    #[case("laps/t1-2.csv", None)]
    #[case("laps/timing.csv", None)]
    fn a_list_is_the_run_s_whose_name_it_has(#[case] list: &str, #[case] of: Option<&str>) {
        let mut runs = [
            run("t1", "logs/a.csv", Some("laps/x.csv")),
            run("t2", "logs/b.csv", None),
            run("t3", "logs/morning 3.csv", None),
        ];
        let paired = pair(&[list.into()], &mut runs.iter_mut().collect::<Vec<_>>());
        assert_eq!(paired.first().map(|p| p.run.as_str()), of);
        assert_eq!(runs.iter().filter(|r| r.laps.as_deref() == Some(Path::new(list))).count(), paired.len());
    }

    #[test]
    fn of_two_lists_the_one_of_the_very_name_is_taken_and_of_two_alike_none() {
        let pairs = |lists: [&str; 2]| {
            let mut run = run("t2", "logs/t2.csv", None);
            pair(&lists.map(PathBuf::from), &mut [&mut run]);
            run.laps
        };
        assert_eq!(pairs(["t2-old.csv", "laps/t2.csv"]), Some("laps/t2.csv".into()));
        assert_eq!(pairs(["t2-old.csv", "t2-new.csv"]), None);
    }

    #[test]
    fn runs_of_one_file_share_its_name_and_a_list_of_it_is_nobody_s() {
        let mut runs = [run("a", "logs/day.csv", None), run("b", "logs/day.csv", None)];
        assert!(pair(&["laps/day.csv".into()], &mut runs.iter_mut().collect::<Vec<_>>()).is_empty());
    }
}
