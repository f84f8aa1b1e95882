//! Which weekend is which: by its logs, whatever it is called.

use std::collections::{BTreeMap, HashMap};
use std::path::Path;

use super::gather::{Weekend, mark_of};
use super::store::{self, Partition, ReadError, Source};

/// The weekends of a data set by their logs.
#[derive(Debug, Default)]
pub struct Known {
    by_log: HashMap<String, Partition>,
    sources: BTreeMap<Partition, Source>,
}

impl Known {
    /// Those in the data set at `root`; none where it is not there yet.
    ///
    /// # Errors
    /// If it is there and cannot be listed.
    pub fn load(root: &Path) -> Result<Self, ReadError> {
        let mut known = Self::default();
        if store::exists(root) {
            for partition in store::partitions(root)? {
                let source = store::source(root, &partition).unwrap_or_default();
                known.insert(partition, source);
            }
        }
        Ok(known)
    }

    fn insert(&mut self, partition: Partition, source: Source) {
        self.by_log.extend(source.logs.iter().map(|log| (log.clone(), partition.clone())));
        self.sources.insert(partition, source);
    }

    /// Adds a weekend that was gathered, and forgets what it was before.
    pub fn add(&mut self, weekend: &Weekend, before: Option<&Partition>) {
        let own = Partition::of(weekend);
        for partition in before.into_iter().chain([&own]) {
            let old = self.sources.remove(partition).unwrap_or_default();
            old.logs.iter().for_each(|log| drop(self.by_log.remove(log)));
        }
        self.insert(own, Source::of(weekend));
    }

    /// The weekend under another name or date: the one that shares at least half of the logs of either.
    pub fn same(&self, weekend: &Weekend) -> Option<&Partition> {
        let own = Partition::of(weekend);
        let mut shared: BTreeMap<&Partition, usize> = BTreeMap::new();
        for of in weekend.logs.iter().filter_map(|log| self.by_log.get(log)).filter(|of| **of != own) {
            *shared.entry(of).or_default() += 1;
        }
        let all = |of: &Partition| self.sources.get(of).map_or(0, |s| s.logs.len()).max(weekend.logs.len());
        shared.into_iter().filter(|(of, count)| 2 * count >= all(of)).max_by_key(|s| s.1).map(|s| s.0)
    }

    /// Whether the data set holds another's weekend under the weekend's own date and name: from another folder, and none of its logs.
    pub fn is_anothers(&self, weekend: &Weekend) -> bool {
        let Some(old) = self.sources.get(&Partition::of(weekend)) else { return false };
        let (some, elsewhere) =
            (!old.logs.is_empty() && !weekend.logs.is_empty(), old.folder != mark_of(&weekend.folder));
        some && elsewhere && old.logs.is_disjoint(&weekend.logs)
    }
}
