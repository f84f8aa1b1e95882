//! Watches the folder: a changed file is reviewed once it stands still.

use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

use notify::{Event, EventKind, PollWatcher, RecommendedWatcher, RecursiveMode, Watcher};

use super::current::{Current, listing};
use crate::folder::folder_identity;

/// How long sizes and times must stand still, ms: recorders' software writes a log in one go.
const STILL: Duration = Duration::from_millis(250);
/// How often is looked before a log that goes on growing is reviewed as it stands.
const LOOKS: usize = 12;
/// How often a folder is looked through that cannot tell of its changes, such as some network drives.
const POLL: Duration = Duration::from_secs(2);

/// Watches the folder of `current` on a thread of its own and keeps the review fresh.
///
/// # Errors
/// If the folder can be watched in no way.
pub fn watch(current: Arc<Current>) -> notify::Result<()> {
    let (tell, changes) = channel();
    let heard = move |event: notify::Result<Event>| {
        let read_only = matches!(&event, Ok(e) if matches!(e.kind, EventKind::Access(_)));
        if !read_only {
            // The other end is gone when the program ends.
            let _ = tell.send(());
        }
    };
    let mut watcher = Some(watcher(current.folder(), heard.clone())?);
    std::thread::Builder::new().name("watch".to_owned()).spawn(move || {
        let mut watched = folder_identity(current.folder());
        loop {
            match changes.recv_timeout(POLL) {
                Ok(()) => follow(&current, &changes),
                Err(RecvTimeoutError::Disconnected) => return,
                Err(RecvTimeoutError::Timeout) => {}
            }
            // A folder that was taken away and came back is another one, which nobody watches yet.
            let now = folder_identity(current.folder());
            if now != watched {
                drop(watcher.take());
                watcher = now.and_then(|_| self::watcher(current.folder(), heard.clone()).ok());
                watched = now.filter(|_| watcher.is_some());
                current.refresh();
            }
        }
    })?;
    Ok(())
}

fn watcher(
    folder: &Path,
    heard: impl Fn(notify::Result<Event>) + Send + Clone + 'static,
) -> notify::Result<Box<dyn Watcher + Send>> {
    // A link may lead to a whole drive.
    let own = notify::Config::default().with_follow_symlinks(false);
    let told = RecommendedWatcher::new(heard.clone(), own).and_then(|mut w| {
        w.watch(folder, RecursiveMode::Recursive)?;
        Ok(Box::new(w) as Box<dyn Watcher + Send>)
    });
    told.or_else(|_| {
        let mut w = PollWatcher::new(heard, own.with_poll_interval(POLL))?;
        w.watch(folder, RecursiveMode::Recursive)?;
        Ok(Box::new(w) as Box<dyn Watcher + Send>)
    })
}

/// Waits until the files stand still, and reviews them.
fn follow(current: &Current, changes: &Receiver<()>) {
    let mut before = listing(current.folder());
    for _ in 0..LOOKS {
        std::thread::sleep(STILL);
        let now = listing(current.folder());
        if now == before {
            break;
        }
        before = now;
    }
    while changes.try_recv().is_ok() {}
    current.refresh();
}
