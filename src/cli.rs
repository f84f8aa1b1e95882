//! The arguments of the commands; their comments are the help that `--help` and the manual pages print.

use std::net::IpAddr;
use std::path::PathBuf;

use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, Parser, Subcommand, ValueEnum};
use runtrue::gear_chart::teeth;
use runtrue::storage::LogFormat;
use runtrue::units::{Units, number_in};

/// Reads a model racing car's controller logs, lap times and setup sheet, and answers what the car really did.
#[derive(Debug, Parser)]
#[command(version, max_term_width = 80, arg_required_else_help = true)]
pub struct Arguments {
    /// How results are printed
    #[arg(long, global = true, value_enum, default_value_t, hide_default_value = true)]
    pub format: OutputFormat,
    /// Print errors only
    #[arg(short, long, global = true)]
    pub quiet: bool,
    /// Also print how each log was read, and which weekends `season` had to review
    #[arg(short, long, global = true, conflicts_with = "quiet")]
    pub verbose: bool,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// How results are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub enum OutputFormat {
    /// For people
    #[default]
    Text,
    /// For programs: one JSON document for each result; errors are JSON too, on standard error
    Json,
}

/// In which units figures are shown
#[derive(Debug, Clone, Copy, Args)]
pub struct ShownIn {
    /// Show temperatures, lengths and speeds in these units: metric, or us for °F, ft, in and mph; if not given, as
    /// the sheet says, else metric. JSON and tables stay metric
    #[arg(long, value_name = "UNITS", value_parser = PossibleValuesParser::new(Units::NAMES).map(|name| Units::named(&name).unwrap_or_default()))]
    pub units: Option<Units>,
}

/// What to do. The help of a command is the comment of its arguments.
#[derive(Debug, Subcommand)]
pub enum Command {
    Review(ReviewArguments),
    Read(ReadArguments),
    Sheet(SheetArguments),
    Gears(GearsArguments),
    Ahead(AheadArguments),
    Convert(ConvertArguments),
    Serve(ServeArguments),
    Season(SeasonArguments),
    Completions(CompletionsArguments),
    Man(ManArguments),
    Demo(DemoArguments),
}

/// Review weekends or single logs: prints a summary, writes pages and tables
#[derive(Debug, Args)]
pub struct ReviewArguments {
    /// Weekend folders or logs
    #[arg(required_unless_present = "schema")]
    pub paths: Vec<PathBuf>,
    /// Folder for the report; if not given, `report` in the weekend's folder
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print the JSON Schema of review.json and stop
    #[arg(long)]
    pub schema: bool,
    #[command(flatten)]
    pub shown: ShownIn,
}

/// Show how logs were read: encoding, columns, units, repairs
#[derive(Debug, Args)]
pub struct ReadArguments {
    /// Logs; `-` reads standard input
    #[arg(required = true)]
    pub logs: Vec<PathBuf>,
    #[command(flatten)]
    pub shown: ShownIn,
}

/// Write a starter weekend.toml for a folder of logs; an existing one is not changed
#[derive(Debug, Args)]
pub struct SheetArguments {
    /// Folder with the logs
    #[arg(required_unless_present = "schema")]
    pub folder: Option<PathBuf>,
    /// Print the JSON Schema of weekend.toml and stop
    #[arg(long)]
    pub schema: bool,
    #[command(flatten)]
    pub shown: ShownIn,
}

/// Print a gear chart: FDR and rollout of pinions and spurs
#[derive(Debug, Args)]
#[command(after_help = "Example: runtrue gears --pinion 28-34 --spur 116 --internal 1.85 --tyre 63")]
pub struct GearsArguments {
    /// Take spur, pinion, internal ratio and tyre from this weekend's sheet
    #[arg(long, value_name = "DIR")]
    pub from: Option<PathBuf>,
    /// Car on that sheet, if it has several
    #[arg(long, requires = "from")]
    pub car: Option<String>,
    /// Pinion teeth: one number, a list or a range, such as 31 or 30,31 or 28-34
    #[arg(long, value_name = "TEETH", value_parser = read_teeth)]
    pub pinion: Option<Teeth>,
    /// Spur teeth: one number, a list or a range
    #[arg(long, value_name = "TEETH", value_parser = read_teeth)]
    pub spur: Option<Teeth>,
    /// Internal ratio; 1 for direct drive
    #[arg(long, value_name = "RATIO")]
    pub internal: Option<f64>,
    /// Tyre diameter, mm or with its unit, such as 2.48in
    #[arg(long, value_name = "MM", value_parser = |text: &str| read_number(text, "mm"))]
    pub tyre: Option<f64>,
    #[command(flatten)]
    pub shown: ShownIn,
}

/// Work out a race with other air, length, gears or start, by one run of a weekend
#[derive(Debug, Args)]
#[command(after_help = "Example: runtrue ahead alder-quay --run t2 --air 39 --race 480")]
pub struct AheadArguments {
    /// Weekend folder or log
    pub folder: PathBuf,
    /// Run that the race is worked out from, if there are several
    #[arg(long, value_name = "ID")]
    pub run: Option<String>,
    /// Air, °C or with its unit, such as 75°F
    #[arg(long, value_name = "°C", allow_hyphen_values = true, value_parser = |text: &str| read_number(text, "°C"))]
    pub air: Option<f64>,
    /// Length of the race, s or with its unit, such as 8min
    #[arg(long, value_name = "S", conflicts_with = "laps", value_parser = |text: &str| read_number(text, "s"))]
    pub race: Option<f64>,
    /// Laps of the race, in place of its length
    #[arg(long, value_name = "N")]
    pub laps: Option<u32>,
    /// Pinion teeth
    #[arg(long, value_name = "TEETH")]
    pub pinion: Option<u32>,
    /// Spur teeth
    #[arg(long, value_name = "TEETH")]
    pub spur: Option<u32>,
    /// Motor and controller at the start, °C or with its unit
    #[arg(long, value_name = "°C", allow_hyphen_values = true, value_parser = |text: &str| read_number(text, "°C"))]
    pub start: Option<f64>,
    #[command(flatten)]
    pub shown: ShownIn,
}

/// Write a log as Parquet, Arrow or CSV, with its units
#[derive(Debug, Args)]
pub struct ConvertArguments {
    /// Log; `-` reads standard input
    pub log: PathBuf,
    /// Format to write
    #[arg(long, value_name = "FORMAT")]
    pub to: LogFormat,
    /// File to write, never over an existing one; if not given, next to the log; `-` is standard output
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// Open a weekend in the browser: drop logs on the page, fill in the sheet
#[derive(Debug, Args)]
pub struct ServeArguments {
    /// Weekend folder; it is made if it does not exist
    pub folder: PathBuf,
    /// Port; if not given, any free one
    #[arg(long, default_value_t = 0, hide_default_value = true)]
    pub port: u16,
    /// Address in place of 127.0.0.1, so that others on the network can open the page
    #[arg(long, value_name = "IP")]
    pub address: Option<IpAddr>,
    /// Print the address and do not open the browser
    #[arg(long)]
    pub no_open: bool,
}

/// Collect reviewed weekends into one data set and answer what they show together
///
/// Each weekend's `report/review.json` is read; a weekend is reviewed again where that is missing or older than its
/// logs.
#[derive(Debug, Args)]
pub struct SeasonArguments {
    /// Weekend folders, or folders that hold them
    #[arg(required_unless_present = "schema")]
    pub paths: Vec<PathBuf>,
    /// Folder of the data set; weekends that are already in it stay
    #[arg(long, value_name = "DIR", default_value = "season")]
    pub out: PathBuf,
    /// Remove weekends from the data set that are not named here
    #[arg(long)]
    pub only: bool,
    /// Print the columns of the tables and the JSON Schema of season.json and stop
    #[arg(long)]
    pub schema: bool,
    #[command(flatten)]
    pub shown: ShownIn,
}

/// Print the completion script of a shell
#[derive(Debug, Args)]
pub struct CompletionsArguments {
    /// Shell
    pub shell: clap_complete::Shell,
}

/// Write a manual page for each command
#[derive(Debug, Args)]
pub struct ManArguments {
    /// Folder for the pages; it is made if it does not exist
    pub folder: PathBuf,
}

/// Write an invented weekend to try the program on, with the true answers beside it
#[derive(Debug, Args)]
pub struct DemoArguments {
    /// New or empty folder to write to; a demo that is unchanged may be written again
    pub folder: PathBuf,
    /// Any number: each gives a different weekend
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Write a season of this many weekends, each in a folder of its own
    #[arg(long, value_name = "WEEKENDS", value_parser = clap::value_parser!(u8).range(1..=12))]
    pub season: Option<u8>,
}

/// Numbers of teeth. In a type of its own, since clap reads an option of a `Vec` as one that may be repeated.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Teeth(pub Vec<u32>);

/// A number, in the unit of this symbol or with its own.
fn read_number(text: &str, symbol: &str) -> Result<f64, String> {
    number_in(text, symbol).map(|written| written.value).map_err(|why| why.hint(symbol))
}

fn read_teeth(text: &str) -> Result<Teeth, String> {
    teeth(text).map(Teeth)
}
