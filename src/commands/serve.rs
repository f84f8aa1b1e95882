//! `serve`: opens a weekend's page in the browser.

use std::net::{IpAddr, Ipv4Addr};
use std::process::ExitCode;

use runtrue::report::terminal;
use runtrue::serve::{ServeError, listen};
use serde_json::json;

use super::output::{Output, Problem};
use crate::cli::ServeArguments;

pub fn run(arguments: &ServeArguments, output: Output) -> Result<ExitCode, Problem> {
    let problem = |e: ServeError| Problem::new(&e).hint(e.hint());
    let address = arguments.address.unwrap_or(IpAddr::V4(Ipv4Addr::LOCALHOST));
    let listening = listen(&arguments.folder, address, arguments.port).map_err(problem)?;
    if !address.is_loopback() {
        let warning = format!(
            "warning: others on the network can reach `{address}`. Anyone who has the whole address below can read and \
             change this weekend's folder. The connection is not encrypted."
        );
        eprintln!("{}", terminal::wrap(&warning, "  "));
    }
    let url = listening.url();
    let folder = &arguments.folder;
    let invitation = listening.invitation();
    let text = || {
        let for_others = invitation.as_ref().map_or_else(String::new, |(url, code)| {
            format!("On another device open\n{url}\n{}\n", code.as_deref().unwrap_or_default())
        });
        format!("The page of {} is at\n{url}\n{for_others}Press Ctrl-C here to stop it.\n", folder.display())
    };
    let opens = !arguments.no_open;
    // Where no browser opens, the address is the result: `--quiet` does not silence it.
    Output { quiet: output.quiet && opens, ..output }
        .say(text, || json!({ "folder": folder, "url": url, "url_for_others": invitation.as_ref().map(|i| &i.0) }))?;
    if opens && let Err(e) = listening.opener().and_then(open::that_detached) {
        eprintln!("No browser could be opened here ({}). Open the address above in one.", e.kind());
    }
    listening.serve().map_err(problem)?;
    Ok(ExitCode::SUCCESS)
}
