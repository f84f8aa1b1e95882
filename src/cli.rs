//! The commands' arguments.

use std::path::PathBuf;

use clap::{Parser, Subcommand};

use crate::archive::Form;

/// How results are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum Format {
    /// For people
    #[default]
    Text,
    /// For programs: one JSON document a result; errors too, on standard error
    Json,
}

/// Reads a model racing car's controller logs, laps and setup sheet and answers what the car really did.
#[derive(Debug, Parser)]
#[command(version, about, max_term_width = 80, arg_required_else_help = true)]
pub struct Arguments {
    /// How results are printed
    #[arg(long, global = true, value_enum, default_value_t, hide_default_value = true)]
    pub format: Format,
    /// Print errors alone
    #[arg(short, long, global = true)]
    pub quiet: bool,
    /// Print how each log was read as well, and which weekends a season had to review
    #[arg(short, long, global = true, conflicts_with = "quiet")]
    pub verbose: bool,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Review weekends or lone logs: the summary here, pages and tables in a folder
    Review {
        /// Weekends' folders or logs
        #[arg(required_unless_present = "schema")]
        paths: Vec<PathBuf>,
        /// Where the report goes; `report` in the weekend's folder otherwise
        #[arg(long, value_name = "DIR")]
        out: Option<PathBuf>,
        /// Print the JSON Schema of review.json and stop
        #[arg(long)]
        schema: bool,
    },
    /// Show how logs were understood: encoding, columns, units, what was repaired
    Read {
        /// Logs; `-` is standard input
        #[arg(required = true)]
        logs: Vec<PathBuf>,
    },
    /// Write a starter weekend.toml for a folder of logs; never over another
    Sheet {
        /// The folder
        #[arg(required_unless_present = "schema")]
        folder: Option<PathBuf>,
        /// Print the JSON Schema of weekend.toml and stop
        #[arg(long)]
        schema: bool,
    },
    /// Print FDR and rollout over pinions and spurs
    Gears {
        /// Take spur, pinion, internal ratio and tyre from this weekend's sheet
        #[arg(long, value_name = "DIR")]
        from: Option<PathBuf>,
        /// The car on that sheet
        #[arg(long, requires = "from")]
        car: Option<String>,
        /// Pinions: one, a list or a range, such as 27,28 or 27-33
        #[arg(long, value_parser = teeth)]
        pinion: Option<Teeth>,
        /// Spurs: one, a list or a range
        #[arg(long, value_parser = teeth)]
        spur: Option<Teeth>,
        /// Internal ratio; 1 for direct drive
        #[arg(long)]
        internal: Option<f64>,
        /// Tyre diameter, mm
        #[arg(long, value_name = "MM")]
        tyre: Option<f64>,
    },
    /// Write the normalised log, units in the field metadata
    Convert {
        /// The log; `-` is standard input
        log: PathBuf,
        /// Form
        #[arg(long)]
        to: Form,
        /// The file; beside the log otherwise, never over another; `-` is standard output
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
    /// Open a weekend's page in the browser: drop logs on it, fill in the sheet
    Serve {
        /// The weekend's folder; made if it is not there
        folder: PathBuf,
        /// The port; a free one otherwise
        #[arg(long, default_value_t = 0, hide_default_value = true)]
        port: u16,
        /// An address other than this machine's own 127.0.0.1: others on the network can then reach the page
        #[arg(long, value_name = "IP")]
        address: Option<std::net::IpAddr>,
        /// Print the address and leave the browser alone
        #[arg(long)]
        no_open: bool,
    },
    /// Gather reviewed weekends into one data set and answer what they tell together
    Season {
        /// Weekends' folders, or folders of them
        #[arg(required_unless_present = "schema")]
        paths: Vec<PathBuf>,
        /// Where the data set is; weekends that are in it already stay
        #[arg(long, value_name = "DIR", default_value = "season")]
        out: PathBuf,
        /// Take weekends that are not named out of the data set
        #[arg(long)]
        only: bool,
        /// Print the tables' columns and the JSON Schema of season.json and stop
        #[arg(long)]
        schema: bool,
    },
    /// Print the completions for a shell
    Completions {
        /// The shell
        shell: clap_complete::Shell,
    },
    /// Write a manual page for each command into a folder
    Man {
        /// The folder; made if it is not there
        folder: PathBuf,
    },
    /// Write an invented weekend with its truth beside it
    Demo {
        /// A folder without a sheet
        folder: PathBuf,
        /// Another seed, another weekend
        #[arg(long, default_value_t = 1)]
        seed: u64,
        /// A season instead: so many weekends, each in a folder of its own
        #[arg(long, value_name = "WEEKENDS", value_parser = clap::value_parser!(u8).range(1..=12))]
        season: Option<u8>,
    },
}

/// Numbers of teeth.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Teeth(pub Vec<u32>);

fn teeth(text: &str) -> Result<Teeth, String> {
    crate::measure::gearing::teeth(text).map(Teeth)
}
