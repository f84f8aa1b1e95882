//! Parse, call, exit code.

use std::io::{IsTerminal, Write};
use std::net::{IpAddr, Ipv4Addr};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Parser;
use indicatif::{ProgressBar, ProgressStyle};
use runtrue::cli::{Arguments, Command, Teeth};
use runtrue::report::{json, terminal, write};
use runtrue::{archive, demo, folder, review, serve, sheet};

/// Runs from which on the work is long enough for a progress bar.
const LONG: usize = 4;

/// What went wrong, in words, and what to do about it.
struct Problem {
    message: String,
    hint: Option<String>,
    code: u8,
}

impl Problem {
    fn new(message: impl ToString, hint: Option<String>) -> Self {
        Self { message: message.to_string(), hint, code: 1 }
    }

    /// To standard error, within the terminal's width; a drawing of several lines as it is.
    fn print(&self) {
        let message = format!("error: {}", self.message);
        eprintln!("{}", if message.contains('\n') { message } else { terminal::wrap(&message, "  ") });
        if let Some(hint) = &self.hint {
            eprintln!("{}", terminal::wrap(&format!("hint: {hint}"), "  "));
        }
    }

    fn wrong_use(message: impl ToString, hint: &str) -> Self {
        Self { message: message.to_string(), hint: Some(hint.to_owned()), code: 2 }
    }
}

fn main() -> ExitCode {
    match call(Arguments::parse().command) {
        Ok(code) => code,
        Err(problem) => {
            problem.print();
            ExitCode::from(problem.code)
        }
    }
}

fn call(command: Command) -> Result<ExitCode, Problem> {
    match command {
        Command::Review { schema: true, .. } => say(&format!("{:#}\n", json::schema().to_value())),
        Command::Review { paths, out, .. } => review_all(&paths, out.as_deref()),
        Command::Read { logs } => read_all(&logs),
        Command::Sheet { folder } => start_sheet(&folder),
        Command::Gears { from, car, pinion, spur, internal, tyre } => gears(from, car, pinion, spur, internal, tyre),
        Command::Convert { log, to, out } => convert(&log, to, out),
        Command::Serve { folder, port, address, no_open } => serve_page(&folder, port, address, !no_open),
        Command::Demo { folder, seed } => {
            demo::weekend::invent(seed)
                .write(&folder)
                .map_err(|e| Problem::new(e, Some("name a folder without a weekend.toml".to_owned())))?;
            say(&format!("An invented weekend is in {0}.\nNow try: runtrue review {0}\n", folder.display()))
        }
    }
}

/// Prints to standard output; a reader that has gone away is no error.
fn say(text: &str) -> Result<ExitCode, Problem> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => Err(Problem::new(e, None)),
        _ => Ok(ExitCode::SUCCESS),
    }
}

fn review_all(paths: &[PathBuf], out: Option<&Path>) -> Result<ExitCode, Problem> {
    let mut any = false;
    for path in paths {
        let folder = match out {
            Some(out) if paths.len() == 1 => out.to_owned(),
            Some(out) => out.join(path.file_name().unwrap_or_default()),
            None if path.is_file() => path.with_extension("report"),
            None => path.join("report"),
        };
        match review_one(path, &folder) {
            Ok(reviewed) => any |= reviewed,
            Err(problem) if paths.len() == 1 => return Err(problem),
            Err(problem) => problem.print(),
        }
    }
    Ok(if any { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// Reviews one weekend; whether any of its runs could be reviewed.
fn review_one(path: &Path, folder: &Path) -> Result<bool, Problem> {
    let bar = ProgressBar::hidden();
    bar.set_style(
        ProgressStyle::with_template("{bar:40} {pos}/{len} runs").unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    let mut progress = |done: usize, count: usize| {
        if count >= LONG && std::io::stderr().is_terminal() {
            bar.set_draw_target(indicatif::ProgressDrawTarget::stderr());
        }
        bar.set_length(count as u64);
        bar.set_position(done as u64);
    };
    let review = review::review(path, &mut progress).map_err(|e| Problem::new(&e, Some(e.hint())))?;
    bar.finish_and_clear();
    let page = write::write(&review, folder)
        .map_err(|e| Problem::new(e, Some("name another folder with `--out`".to_owned())))?;
    say(&format!("{}\nThe report is {}\n", terminal::summary(&review), page.display()))?;
    Ok(review.runs.iter().any(|r| r.outcome.is_ok()))
}

fn serve_page(folder: &Path, port: u16, address: Option<IpAddr>, open: bool) -> Result<ExitCode, Problem> {
    let problem = |e: serve::ServeError| Problem::new(&e, Some(e.hint().to_owned()));
    let address = address.unwrap_or(IpAddr::V4(Ipv4Addr::LOCALHOST));
    let listening = serve::listen(folder, address, port).map_err(problem)?;
    if !address.is_loopback() {
        let warning = format!(
            "warning: others on the network can reach `{address}`. Whoever has the address below, token and all, can read and change this weekend's folder; it goes over the network unencrypted."
        );
        eprintln!("{}", terminal::wrap(&warning, "  "));
    }
    let url = listening.url();
    say(&format!("The page of {}:\n{url}\nIt answers as long as this runs; stop it with Ctrl-C.\n", folder.display()))?;
    if open && let Err(e) = open::that_detached(&url) {
        eprintln!("The browser could not be opened ({e}): open the address above in it.");
    }
    listening.serve().map_err(problem)?;
    Ok(ExitCode::SUCCESS)
}

fn read_all(logs: &[PathBuf]) -> Result<ExitCode, Problem> {
    let mut any = false;
    for path in logs {
        match folder::read_log(path) {
            Ok(read) => {
                any = true;
                say(&terminal::reading(&path.display().to_string(), &read))?;
            }
            Err(e) => Problem::new(&e, e.hint()).print(),
        }
    }
    Ok(if any { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn start_sheet(folder: &Path) -> Result<ExitCode, Problem> {
    let path = folder.join(folder::SHEET);
    if path.exists() {
        return Err(Problem::new(
            format!("`{}` is there already and was left as it is", path.display()),
            Some("edit it, or move it away first".to_owned()),
        ));
    }
    let found = folder::find_logs(folder).map_err(|e| {
        Problem::new(
            format!("`{}` could not be read: {e}", folder.display()),
            Some("name a folder with logs in it".to_owned()),
        )
    })?;
    if found.is_empty() {
        return Err(Problem::new(
            format!("`{}` holds no log", folder.display()),
            Some("put logs ending in `.csv` or `.txt` into it".to_owned()),
        ));
    }
    let text = folder::starter_of(folder, &found);
    archive::write_whole(&path, |out| out.write_all(text.as_bytes()).map_err(|e| e.to_string()))
        .map_err(|e| Problem::new(e, None))?;
    say(&format!(
        "Wrote {} for the {} logs found. Fill in what you know, then:\nruntrue review {}\n",
        path.display(),
        found.len(),
        folder.display()
    ))
}

fn gears(
    from: Option<PathBuf>,
    car: Option<String>,
    pinion: Option<Teeth>,
    spur: Option<Teeth>,
    internal: Option<f64>,
    tyre: Option<f64>,
) -> Result<ExitCode, Problem> {
    const HINT: &str = "such as `--pinion 27-33 --spur 110 --internal 1.9 --tyre 63`, or `--from` a weekend's folder";
    let settings = match from {
        Some(folder) => car_settings(&folder, car.as_deref())?,
        None => sheet::Settings::default(),
    };
    let number = |key: &str| settings.number(key).map(|n| n as u32);
    let around = |teeth: u32, by: u32| (teeth.saturating_sub(by).max(1)..=teeth + by).collect::<Vec<_>>();
    let pinions = pinion.map(|t| t.0).or_else(|| number("pinion").map(|p| around(p, 4)));
    let spurs = spur.map(|t| t.0).or_else(|| number("spur").map(|s| around(s, 2)));
    let (Some(pinions), Some(spurs)) = (pinions, spurs) else {
        return Err(Problem::wrong_use("no pinion or no spur is given", HINT));
    };
    let stated = internal.or(settings.number("internal_ratio"));
    if stated.is_none() {
        eprintln!("Internal ratio not given: 1, direct drive, is assumed.");
    }
    let internal = stated.unwrap_or(1.0);
    let tyre = tyre.or(settings.tyre_mm());
    if !(internal > 0.0 && internal < 100.0) || tyre.is_some_and(|d| !(d > 0.0 && d < 1000.0)) {
        return Err(Problem::wrong_use(
            "the internal ratio or the tyre is out of range",
            "an internal ratio up to 100, a tyre up to 1000 mm",
        ));
    }
    if spurs.len() > 6 {
        return Err(Problem::wrong_use(format!("{} spurs do not fit 80 columns", spurs.len()), "up to 6"));
    }
    say(&terminal::gears(&pinions, &spurs, internal, tyre))
}

fn car_settings(folder: &Path, car: Option<&str>) -> Result<sheet::Settings, Problem> {
    let path = folder.join(folder::SHEET);
    let text = std::fs::read_to_string(&path)
        .map_err(|e| Problem::new(format!("`{}` could not be read: {e}", path.display()), None))?;
    let sheet = sheet::read::read(&text).map_err(|m| Problem::new(&m.drawing, Some(m.hint.clone())))?;
    let names: Vec<&String> = sheet.cars.keys().collect();
    let found = match car {
        Some(car) => sheet.cars.get(car),
        None => sheet.cars.values().next().filter(|_| names.len() == 1),
    };
    let hint =
        format!("`--car` takes one of {}", names.iter().map(|n| format!("`{n}`")).collect::<Vec<_>>().join(", "));
    found.cloned().ok_or_else(|| Problem::wrong_use("which car?", &hint))
}

fn convert(log: &Path, form: archive::Form, out: Option<PathBuf>) -> Result<ExitCode, Problem> {
    let logs = folder::read_log(log).map_err(|e| Problem::new(&e, e.hint()))?;
    let ending = match form {
        archive::Form::Parquet => "parquet",
        archive::Form::Arrow => "arrow",
        archive::Form::Csv => "normalised.csv",
    };
    let base = out.unwrap_or_else(|| log.with_extension(ending));
    for (at, part) in logs.iter().enumerate() {
        let path = if logs.len() == 1 {
            base.clone()
        } else {
            base.with_extension(format!("{}.{}", at + 1, base.extension().unwrap_or_default().to_string_lossy()))
        };
        if path.exists() {
            return Err(Problem::new(
                format!("`{}` is there already and was left as it is", path.display()),
                Some("name another file with `--out`".to_owned()),
            ));
        }
        archive::write_log(part, form, &path).map_err(|e| Problem::new(e, None))?;
        say(&format!("{}: {} rows\n", path.display(), part.rows()))?;
    }
    Ok(ExitCode::SUCCESS)
}
