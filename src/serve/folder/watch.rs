//! Watches the folder: a changed file is reviewed once it no longer changes.

use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

use notify::{Event, EventKind, PollWatcher, RecommendedWatcher, RecursiveMode, Watcher};

use super::current::{Current, listing};
use crate::folder::folder_identity;

/// How long sizes and times must stay the same before a file counts as written: recorders' software writes a log in one
/// go.
const QUIET: Duration = Duration::from_millis(250);
/// How often the folder is looked at before a log that goes on growing is reviewed as it is.
const MOST_LOOKS: usize = 12;
/// How often a folder is looked through that cannot report its changes, such as some network drives.
const POLL: Duration = Duration::from_secs(2);

/// Watches the folder of `current` on a thread of its own and keeps the review fresh.
///
/// # Errors
/// If the folder can be watched in no way.
pub fn watch(current: Arc<Current>) -> notify::Result<()> {
    let (sender, changes) = channel();
    let on_event = move |event: notify::Result<Event>| {
        let read_only = matches!(&event, Ok(e) if matches!(e.kind, EventKind::Access(_)));
        if !read_only {
            // The other end is gone when the program ends.
            let _ = sender.send(());
        }
    };
    let mut watcher = Some(watcher(current.folder(), on_event.clone())?);
    std::thread::Builder::new().name("watch".to_owned()).spawn(move || {
        let mut watched = folder_identity(current.folder());
        loop {
            match changes.recv_timeout(POLL) {
                Ok(()) => review_when_quiet(&current, &changes),
                Err(RecvTimeoutError::Disconnected) => return,
                Err(RecvTimeoutError::Timeout) => {}
            }
            // A folder that was taken away and came back is another one, which nobody watches yet.
            let now = folder_identity(current.folder());
            if now != watched {
                drop(watcher.take());
                watcher = now.and_then(|_| self::watcher(current.folder(), on_event.clone()).ok());
                watched = now.filter(|_| watcher.is_some());
                current.refresh();
            }
        }
    })?;
    Ok(())
}

/// The system's own watcher where it works, else one that looks through the folder.
fn watcher(
    folder: &Path,
    on_event: impl Fn(notify::Result<Event>) + Send + Clone + 'static,
) -> notify::Result<Box<dyn Watcher + Send>> {
    // A link may lead to a whole drive.
    let config = notify::Config::default().with_follow_symlinks(false);
    let native = RecommendedWatcher::new(on_event.clone(), config).and_then(|mut w| {
        w.watch(folder, RecursiveMode::Recursive)?;
        Ok(Box::new(w) as Box<dyn Watcher + Send>)
    });
    native.or_else(|_| {
        let mut w = PollWatcher::new(on_event, config.with_poll_interval(POLL))?;
        w.watch(folder, RecursiveMode::Recursive)?;
        Ok(Box::new(w) as Box<dyn Watcher + Send>)
    })
}

/// Waits until the files no longer change, and reviews them.
fn review_when_quiet(current: &Current, changes: &Receiver<()>) {
    let mut before = listing(current.folder());
    for _ in 0..MOST_LOOKS {
        std::thread::sleep(QUIET);
        let now = listing(current.folder());
        if now == before {
            break;
        }
        before = now;
    }
    while changes.try_recv().is_ok() {}
    current.refresh();
}
