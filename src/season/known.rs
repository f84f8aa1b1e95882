//! Which weekends are in the data set already: recognised by their logs, whatever they are called.

use std::collections::{BTreeMap, HashMap};
use std::path::Path;

use super::partition::{Origin, Partition};
use super::rows::Weekend;
use super::store::{self, ReadError};

/// The weekends of a data set by their logs.
#[derive(Debug, Default)]
pub struct Known {
    by_log: HashMap<String, Partition>,
    origins: BTreeMap<Partition, Origin>,
}

impl Known {
    /// Those in the data set at `root`; none where there is no data set yet.
    ///
    /// # Errors
    /// [`ReadError`] where the data set is there and cannot be listed.
    pub fn load(root: &Path) -> Result<Self, ReadError> {
        let mut known = Self::default();
        if store::exists(root) {
            for partition in store::partitions(root)? {
                let origin = store::origin(root, &partition).unwrap_or_default();
                known.insert(partition, origin);
            }
        }
        Ok(known)
    }

    fn insert(&mut self, partition: Partition, origin: Origin) {
        self.by_log.extend(origin.logs.iter().map(|log| (log.clone(), partition.clone())));
        self.origins.insert(partition, origin);
    }

    /// Adds a weekend that was gathered, and forgets what it was called before.
    pub fn add(&mut self, weekend: &Weekend, before: Option<&Partition>) {
        for partition in before.into_iter().chain([&weekend.partition]) {
            let old = self.origins.remove(partition).unwrap_or_default();
            old.logs.iter().for_each(|log| drop(self.by_log.remove(log)));
        }
        self.insert(weekend.partition.clone(), weekend.origin.clone());
    }

    /// The same weekend under another name or date: one that shares at least half of the logs of both.
    pub fn renamed(&self, weekend: &Weekend) -> Option<&Partition> {
        let logs = &weekend.origin.logs;
        let mut shared: BTreeMap<&Partition, usize> = BTreeMap::new();
        for other in logs.iter().filter_map(|log| self.by_log.get(log)).filter(|p| **p != weekend.partition) {
            *shared.entry(other).or_default() += 1;
        }
        let most = |p: &Partition| self.origins.get(p).map_or(0, |origin| origin.logs.len()).max(logs.len());
        let half = shared.into_iter().filter(|(partition, count)| 2 * count >= most(partition));
        half.max_by_key(|(_, count)| *count).map(|(partition, _)| partition)
    }

    /// Whether the data set holds a different weekend of the same date and name: from another folder, and with none of
    /// its logs.
    pub fn has_different(&self, weekend: &Weekend) -> bool {
        let Some(old) = self.origins.get(&weekend.partition) else { return false };
        let both_have_logs = !old.logs.is_empty() && !weekend.origin.logs.is_empty();
        both_have_logs && old.folder != weekend.origin.folder && old.logs.is_disjoint(&weekend.origin.logs)
    }
}
