//! What each command does: reads its arguments, calls the library, prints for people or for programs.

mod season;

use std::io::{IsTerminal, Read, Write};
use std::net::{IpAddr, Ipv4Addr};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::CommandFactory;
use indicatif::{ProgressBar, ProgressStyle};
use runtrue::cli::{Arguments, Command, Format, Teeth};
use runtrue::import;
use runtrue::log::Log;
use runtrue::report::{json, terminal, write};
use runtrue::{archive, demo, folder, review, serve, sheet};
use serde_json::{Value, json};

/// Runs from which on the work is long enough for a progress bar.
const LONG: usize = 4;
/// The path that stands for standard input or output.
const STANDARD: &str = "-";

/// How results are printed.
#[derive(Clone, Copy)]
pub struct Out {
    pub format: Format,
    pub quiet: bool,
    pub verbose: bool,
}

/// What went wrong, in words, and what to do about it.
pub struct Problem {
    message: String,
    hint: Option<String>,
    pub code: u8,
}

impl Problem {
    fn new(message: impl ToString, hint: Option<String>) -> Self {
        Self { message: message.to_string(), hint, code: 1 }
    }

    fn wrong_use(message: impl ToString, hint: &str) -> Self {
        Self { message: message.to_string(), hint: Some(hint.to_owned()), code: 2 }
    }

    /// To standard error: for people within the terminal's width, a drawing of several lines as it is.
    pub fn print(&self, out: Out) {
        if out.format == Format::Json {
            eprintln!("{}", json!({ "error": { "message": self.message, "hint": self.hint } }));
            return;
        }
        let message = format!("error: {}", self.message);
        eprintln!("{}", if message.contains('\n') { message } else { terminal::wrap(&message, "  ") });
        if let Some(hint) = &self.hint {
            eprintln!("{}", terminal::wrap(&format!("hint: {hint}"), "  "));
        }
    }
}

/// Does what `command` asks for.
pub fn call(command: Command, out: Out) -> Result<ExitCode, Problem> {
    match command {
        Command::Review { schema: true, .. } => print(format!("{:#}\n", json::schema().to_value())),
        Command::Review { paths, out: folder, .. } => review_all(&paths, folder.as_deref(), out),
        Command::Read { logs } => read_all(&logs, out),
        Command::Sheet { schema: true, .. } => print(format!("{:#}\n", sheet::schema::schema())),
        Command::Sheet { folder, .. } => start_sheet(&folder.unwrap_or_default(), out),
        Command::Gears { from, car, pinion, spur, internal, tyre } => {
            gears(from, car, pinion, spur, internal, tyre, out)
        }
        Command::Convert { log, to, out: file } => convert(&log, to, file, out),
        Command::Serve { folder, port, address, no_open } => serve_page(&folder, port, address, !no_open, out),
        Command::Completions { shell } => {
            let mut text = Vec::new();
            clap_complete::generate(shell, &mut Arguments::command(), "runtrue", &mut text);
            print(text)
        }
        Command::Man { folder } => {
            std::fs::create_dir_all(&folder)
                .and_then(|()| clap_mangen::generate_to(Arguments::command(), &folder))
                .map_err(|e| Problem::new(format!("`{}` could not be written to: {e}", folder.display()), None))?;
            say(out, || format!("The manual pages are in {}\n", folder.display()), || json!({ "folder": folder }))
        }
        Command::Season { schema: true, .. } => print(format!("{:#}\n", season::schema())),
        Command::Season { paths, out: root, only, .. } => season::gather(&paths, &root, only, out),
        Command::Demo { folder, seed, season } => invent(&folder, seed, season, out),
    }
}

fn invent(folder: &Path, seed: u64, season: Option<u8>, out: Out) -> Result<ExitCode, Problem> {
    let problem = |e: std::io::Error| Problem::new(e, Some("name a folder without a weekend.toml".to_owned()));
    let Some(weekends) = season else {
        demo::alder_quay::invent(seed).write(folder).map_err(problem)?;
        let text = || format!("An invented weekend is in {0}.\nNow try: runtrue review {0}\n", folder.display());
        return say(out, text, || json!({ "folder": folder, "seed": seed }));
    };
    let rounds = demo::season::invent(seed, weekends);
    if let Some(there) = rounds.iter().map(|r| folder.join(&r.folder)).find(|f| f.join(folder::SHEET).exists()) {
        let message = format!("`{}` holds a weekend already; nothing was written", there.display());
        return Err(Problem::new(message, Some("name another folder".to_owned())));
    }
    for round in rounds {
        round.weekend.write(&folder.join(&round.folder)).map_err(problem)?;
    }
    let text = || format!("An invented season is in {0}.\nNow try: runtrue season {0}\n", folder.display());
    say(out, text, || json!({ "folder": folder, "seed": seed, "weekends": weekends }))
}

/// Prints a result: text unless there is to be quiet, or JSON.
fn say(out: Out, text: impl FnOnce() -> String, value: impl FnOnce() -> Value) -> Result<ExitCode, Problem> {
    match out.format {
        Format::Json => print(format!("{}\n", value())),
        Format::Text if out.quiet => Ok(ExitCode::SUCCESS),
        Format::Text => print(text()),
    }
}

/// Prints to standard output; a reader that has gone away is no error.
fn print(text: impl AsRef<[u8]>) -> Result<ExitCode, Problem> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_ref()).and_then(|()| out.flush()) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => Err(Problem::new(e, None)),
        _ => Ok(ExitCode::SUCCESS),
    }
}

/// The log at `path`, or the one on standard input.
fn read_log(path: &Path) -> Result<Vec<Log>, Problem> {
    let problem = |e: import::ReadError| Problem::new(&e, e.hint());
    if path != Path::new(STANDARD) {
        return folder::read_log(path).map_err(problem);
    }
    let mut bytes = Vec::new();
    std::io::stdin().lock().read_to_end(&mut bytes).map_err(|e| Problem::new(format!("standard input: {e}"), None))?;
    import::read_bytes(Path::new("standard input"), &bytes, &import::columns::Hints::default()).map_err(problem)
}

fn review_all(paths: &[PathBuf], folder: Option<&Path>, out: Out) -> Result<ExitCode, Problem> {
    let mut any = false;
    for path in paths {
        let folder = match folder {
            Some(folder) if paths.len() == 1 => folder.to_owned(),
            Some(folder) => folder.join(path.file_name().unwrap_or_default()),
            None if path.is_file() => path.with_extension("report"),
            None => path.join("report"),
        };
        match review_one(path, &folder, out) {
            Ok(reviewed) => any |= reviewed,
            Err(problem) if paths.len() == 1 => return Err(problem),
            Err(problem) => problem.print(out),
        }
    }
    Ok(if any { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// Reviews one weekend; whether any of its runs could be reviewed.
fn review_one(path: &Path, folder: &Path, out: Out) -> Result<bool, Problem> {
    let bar = ProgressBar::hidden();
    bar.set_style(
        ProgressStyle::with_template("{bar:40} {pos}/{len} runs").unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    let progress = |done: usize, count: usize| {
        if count >= LONG && !out.quiet && out.format == Format::Text && std::io::stderr().is_terminal() {
            bar.set_draw_target(indicatif::ProgressDrawTarget::stderr());
        }
        bar.set_length(count as u64);
        bar.set_position(done as u64);
    };
    let review = review::review(path, &progress).map_err(|e| Problem::new(&e, Some(e.hint())))?;
    bar.finish_and_clear();
    let page = write::write(&review, folder)
        .map_err(|e| Problem::new(e, Some("name another folder with `--out`".to_owned())))?;
    let text = || {
        let read = if out.verbose { terminal::how_read(&review) } else { String::new() };
        format!("{}\n{read}The report is {}\n", terminal::summary(&review), page.display())
    };
    // The file's own text: a program may take either.
    match out.format {
        Format::Json => print(json::text(&review))?,
        Format::Text => say(out, text, || Value::Null)?,
    };
    Ok(review.runs.iter().any(|r| r.outcome.is_ok()))
}

fn serve_page(folder: &Path, port: u16, address: Option<IpAddr>, open: bool, out: Out) -> Result<ExitCode, Problem> {
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
    let text =
        || format!("The page of {}:\n{url}\nIt answers as long as this runs; stop it with Ctrl-C.\n", folder.display());
    // The address is no chatter: without it the page cannot be opened.
    say(Out { quiet: out.quiet && open, ..out }, text, || json!({ "folder": folder, "url": url }))?;
    if open && let Err(e) = open::that_detached(&url) {
        eprintln!("The browser could not be opened ({e}): open the address above in it.");
    }
    listening.serve().map_err(problem)?;
    Ok(ExitCode::SUCCESS)
}

fn read_all(logs: &[PathBuf], out: Out) -> Result<ExitCode, Problem> {
    let mut any = false;
    for path in logs {
        let name = path.display().to_string();
        match read_log(path) {
            Ok(read) => {
                any = true;
                let value = || json!({ "log": name, "runs": read.iter().map(|l| &l.reading).collect::<Vec<_>>() });
                say(out, || terminal::reading(&name, &read), value)?;
            }
            Err(problem) => problem.print(out),
        }
    }
    Ok(if any { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn start_sheet(folder: &Path, out: Out) -> Result<ExitCode, Problem> {
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
    let text = || {
        format!(
            "Wrote {} for the {} logs found. Fill in what you know, then:\nruntrue review {}\n",
            path.display(),
            found.len(),
            folder.display()
        )
    };
    say(out, text, || json!({ "sheet": path, "runs": found.len() }))
}

fn gears(
    from: Option<PathBuf>,
    car: Option<String>,
    pinion: Option<Teeth>,
    spur: Option<Teeth>,
    internal: Option<f64>,
    tyre: Option<f64>,
    out: Out,
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
    if stated.is_none() && !out.quiet {
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
    if spurs.len() > 6 && out.format == Format::Text {
        return Err(Problem::wrong_use(format!("{} spurs do not fit 80 columns", spurs.len()), "up to 6"));
    }
    // A table is all that is asked for: there is nothing to be quiet about.
    let value = || {
        let rows = runtrue::measure::gearing::table(&pinions, &spurs, internal, tyre);
        let cell = |pinion: u32, (spur, (ratio, rollout)): (&u32, (f64, Option<f64>))| json!({ "pinion": pinion, "spur": spur, "ratio": ratio, "rollout_mm": rollout });
        rows.into_iter().flat_map(|(p, cells)| spurs.iter().zip(cells).map(move |c| cell(p, c))).collect()
    };
    say(Out { quiet: false, ..out }, || terminal::gears(&pinions, &spurs, internal, tyre), value)
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

fn convert(log: &Path, form: archive::Form, file: Option<PathBuf>, out: Out) -> Result<ExitCode, Problem> {
    let logs = read_log(log)?;
    let ending = match form {
        archive::Form::Parquet => "parquet",
        archive::Form::Arrow => "arrow",
        archive::Form::Csv => "normalised.csv",
    };
    let standard = Path::new(STANDARD);
    if file.is_none() && log == standard {
        return Err(Problem::wrong_use("standard input has no place of its own", "name the file with `--out`"));
    }
    let base = file.unwrap_or_else(|| log.with_extension(ending));
    if base == standard {
        let [one] = logs.as_slice() else {
            let message = format!("the log holds {} runs, standard output just one", logs.len());
            return Err(Problem::wrong_use(message, "name a file with `--out`"));
        };
        let mut bytes = Vec::new();
        archive::log_as(one, form, &mut bytes).map_err(|e| Problem::new(e, None))?;
        return print(&bytes);
    }
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
        let text = || format!("{}: {} rows\n", path.display(), part.rows());
        say(out, text, || json!({ "file": path, "rows": part.rows() }))?;
    }
    Ok(ExitCode::SUCCESS)
}
