//! Plain structs for the pages and the terminal: every figure worded here, nothing computed in a template.

mod ahead;
mod answer;
mod answers;
mod cells;
mod evidence;
mod figures;
mod mark;
mod names;
mod remarks;
pub mod run;
pub mod season;
mod settings;
mod time_went;
mod trace;
mod trace_laps;
mod trace_link;
mod trace_numbers;
mod trends;
mod verdicts;
pub mod weekend;

pub use ahead::{AheadView, ahead};
pub use answer::{AnswerView, ChartView, KeyFigure};
pub use cells::{Cell, RowView};
pub use evidence::DoubtView;
pub use mark::Mark;
pub use names::{log_name, page_name, sign_name, weekend_name};
pub use remarks::{ErrorView, FindingView, NoticeView, notice};
pub use run::{RunView, next_cells, next_heads, run};
pub use season::{SeasonView, season};
pub use time_went::{TimeView, time_went};
pub use trace_link::TraceLink;
pub use trends::{TrendView, Unanswered};
pub use weekend::{RunRow, WeekendView, weekend};
