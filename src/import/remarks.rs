//! Every remark on how a log was read: what it is about, and its sentence and hint, in one place.

use std::fmt::Display;

use crate::log::Channel;
use crate::notice::{Notice, NoticeCode, Severity, Tally};

/// Something that was left out, repaired or guessed while a log was read. `thiserror` is here for the sentence beside
/// its variant alone: a remark is not an error.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(crate) enum Remark<'a> {
    // The file.
    #[error("blank characters at the end of the file, as a power cut leaves them, were left out")]
    PaddedFile,
    #[error("some characters could not be read as {encoding} and show as `\u{fffd}`")]
    DamagedText { encoding: &'a str },
    #[error("a quotation mark is opened and never closed; quotation marks were read as plain text")]
    StrayQuote,
    #[error("the worksheet `{name}` was read; the others were not: {others}")]
    Worksheet { name: &'a str, others: &'a str },

    // Its rows.
    #[error("lines that are not rows of readings were left out, such as `{first_seen}`")]
    NotARow { first_seen: &'a str },
    #[error("rows with more than {width} cells were left out, such as `{first_seen}`")]
    TooManyCells { width: usize, first_seen: &'a str },
    #[error("rows with fewer than {width} cells were kept as far as they go, such as `{first_seen}`")]
    TooFewCells { width: usize, first_seen: &'a str },
    #[error("the last row breaks off and was left out")]
    CutRow,

    // What the sheet says.
    #[error("`[import]` names the column `{column}`, which this log does not have")]
    ImportColumn { column: &'a str, columns: &'a str },
    #[error("`[import]` names the channel `{channel}`, which does not exist")]
    ImportChannel { channel: &'a str },
    #[error("`[import]` names the unit `{unit}`, which is not known")]
    ImportUnit { unit: &'a str },

    // Which column is which channel.
    #[error("`{first}` and `{second}` both look like {}; `{kept}` was used", channel.label())]
    TwoColumns { first: &'a str, second: &'a str, kept: &'a str, channel: Channel },
    #[error("`{column}` is zero throughout; the electrical rpm was used instead")]
    IdleColumn { column: &'a str },
    #[error("`{column}` was used for {} because its values look like it", channel.label())]
    ChannelFromValues { column: &'a str, channel: Channel },
    #[error(
        "`{column}` was used for {} because its values look like it; `{other}` would fit nearly as well",
        channel.label()
    )]
    ChannelNearlyTold { column: &'a str, channel: Channel, other: &'a str },
    #[error("`{column}` was used for current because its values look like it; it may as well be a throttle in %")]
    CurrentOrThrottle { column: &'a str },
    #[error("`{column}` was used for {} because of its unit", channel.label())]
    ChannelFromUnit { column: &'a str, channel: Channel },
    #[error("columns that were kept but not used: {columns}")]
    UnusedColumns { columns: &'a str },
    #[error("`{column}` does not say whose temperature it is; it was used for {}", channel.label())]
    WhoseTemperature { column: &'a str, channel: Channel },

    // Units.
    #[error("`{column}` names no unit; its values look like {unit}")]
    UnitFromValues { column: &'a str, unit: &'a str },
    #[error("`{column}` names no unit; by the revs and the rollout it is in {unit}")]
    UnitFromRevs { column: &'a str, unit: &'a str },
    #[error("`{column}` names no unit, and revs and rollout do not tell which; it was not used for {}", channel.label())]
    SpeedWithoutUnit { column: &'a str, channel: Channel },
    #[error("`{column}` names no unit; its steps look like {unit}")]
    UnitFromSteps { column: &'a str, unit: &'a str },
    #[error("`{column}` would be far too small in {unit}; its decimal mark was read as a thousands separator")]
    ThousandsFromValues { column: &'a str, unit: &'a str },
    #[error("the unit of `{column}` does not fit {} and was ignored", channel.label())]
    UnitDoesNotFit { column: &'a str, channel: Channel },
    #[error("the unit of `{column}` is not one of {}; the column was not used for it", channel.label())]
    RuledOutByUnit { column: &'a str, channel: Channel },
    #[error("`{column}` never passes {highest:.0} rpm: is it written in tens or hundreds?")]
    SlowRevs { column: &'a str, highest: f64 },
    #[error("`{column}` counts electrical turns; a motor with two poles was assumed")]
    PolesAssumed { column: &'a str },

    // Its values.
    #[error("`{column}` ({}): numbers that stand for \"no reading\" were left out", channel.label())]
    FullScaleMark { column: &'a str, channel: Channel },
    #[error("`{column}` ({}): what the motor takes has a minus in this file; the sign was turned", channel.label())]
    SignTurned { column: &'a str, channel: Channel },
    #[error("`{column}` ({}) has a minus throughout; the sign was turned", channel.label())]
    MinusThroughout { column: &'a str, channel: Channel },
    #[error("`{column}` ({}) is below zero in many rows, as of a motor that turns backwards; its amount was used", channel.label())]
    RevsBackwards { column: &'a str, channel: Channel },
    #[error(
        "`{column}` ({}): values outside {} to {} {} were left out",
        channel.label(), channel.plausible().start(), channel.plausible().end(), channel.unit()
    )]
    OutOfRange { column: &'a str, channel: Channel },
    #[error("`{column}` ({}) has no readings", channel.label())]
    NoValues { column: &'a str, channel: Channel },
    #[error("`{column}` ({}) has cells without a reading{}", channel.label(), such_as(first_seen))]
    MissingCells { column: &'a str, channel: Channel, first_seen: &'a str },
    #[error("`{column}` ({}): cells that are not a number were left out{}", channel.label(), such_as(first_seen))]
    UnreadableCells { column: &'a str, channel: Channel, first_seen: &'a str },

    // Time.
    #[error("the log has no clock; time was counted at {rate_hz} rows a second, so lost rows cannot be seen")]
    TimeFromRate { rate_hz: f64 },
    #[error("time was counted from the row numbers in `{column}`, at {rate_hz} rows a second")]
    TimeFromIndex { column: &'a str, rate_hz: f64 },
    #[error("the time of some rows was missing or out of place; it was worked out from the rows beside them")]
    TimeFilled,
    #[error("rows without a usable time were left out")]
    TimeMissing,
    #[error("rows with the same time as the row before were left out")]
    RepeatedTime,
    #[error("the clock counts in steps of {step_s} s with several rows in each; the rows were spread evenly")]
    CoarseClock { step_s: f64 },
    #[error("the clock passed midnight")]
    PastMidnight,
    #[error("the twelve-hour clock passed noon or midnight")]
    PastNoon,
    #[error("the date changed at midnight, with day and month in an order that is not clear")]
    UnclearDate,
    #[error("the clock's counter started again from zero after {full_s} s")]
    ClockWrapped { full_s: f64 },
    #[error("the clock jumped back by {back_s:.3} s; the rows after it were moved on")]
    ClockSetBack { back_s: f64 },
    #[error("rows are missing: the clock runs on without them")]
    LostRows,
    #[error("the file holds {runs} runs and was split")]
    SeveralRuns { runs: usize },
}

fn such_as(first_seen: &str) -> impl Display {
    if first_seen.is_empty() { String::new() } else { format!(", such as `{first_seen}`") }
}

impl Remark<'_> {
    /// The remark as a notice of something that happened once, on no line in particular.
    pub(crate) fn notice(&self) -> Notice {
        Notice {
            code: self.code(),
            severity: self.severity(),
            message: self.to_string(),
            line: None,
            count: 1,
            hint: self.hint(),
        }
    }

    /// The remark as a notice of what was counted; `None` where it never happened.
    pub(crate) fn tallied(&self, tally: &Tally) -> Option<Notice> {
        (tally.count > 0).then(|| self.notice().counted(tally.first_line, tally.count))
    }

    fn code(&self) -> NoticeCode {
        match self {
            Remark::PaddedFile => NoticeCode::PaddedFile,
            Remark::DamagedText { .. } => NoticeCode::DamagedText,
            Remark::StrayQuote => NoticeCode::StrayQuote,
            Remark::Worksheet { .. } => NoticeCode::Worksheet,
            Remark::NotARow { .. } => NoticeCode::NotARow,
            Remark::TooManyCells { .. } => NoticeCode::TooManyCells,
            Remark::TooFewCells { .. } => NoticeCode::TooFewCells,
            Remark::CutRow => NoticeCode::CutRow,
            Remark::ImportColumn { .. } => NoticeCode::ImportColumn,
            Remark::ImportChannel { .. } => NoticeCode::ImportChannel,
            Remark::ImportUnit { .. } => NoticeCode::ImportUnit,
            Remark::TwoColumns { .. } => NoticeCode::TwoColumns,
            Remark::IdleColumn { .. } => NoticeCode::IdleColumn,
            Remark::ChannelFromValues { .. }
            | Remark::ChannelNearlyTold { .. }
            | Remark::CurrentOrThrottle { .. }
            | Remark::ChannelFromUnit { .. }
            | Remark::WhoseTemperature { .. } => NoticeCode::ChannelFromValues,
            Remark::UnusedColumns { .. } => NoticeCode::UnusedColumns,
            Remark::UnitFromValues { .. }
            | Remark::UnitFromRevs { .. }
            | Remark::UnitFromSteps { .. }
            | Remark::ThousandsFromValues { .. } => NoticeCode::UnitFromValues,
            Remark::UnitDoesNotFit { .. } | Remark::RuledOutByUnit { .. } | Remark::SpeedWithoutUnit { .. } => {
                NoticeCode::UnitDoesNotFit
            }
            Remark::SlowRevs { .. } => NoticeCode::SlowRevs,
            Remark::PolesAssumed { .. } => NoticeCode::PolesAssumed,
            Remark::FullScaleMark { .. } => NoticeCode::FullScaleMark,
            Remark::SignTurned { .. } | Remark::MinusThroughout { .. } => NoticeCode::SignTurned,
            Remark::RevsBackwards { .. } => NoticeCode::RevsBackwards,
            Remark::OutOfRange { .. } => NoticeCode::OutOfRange,
            Remark::NoValues { .. } => NoticeCode::NoValues,
            Remark::MissingCells { .. } => NoticeCode::MissingCells,
            Remark::UnreadableCells { .. } => NoticeCode::UnreadableCells,
            Remark::TimeFromRate { .. } => NoticeCode::TimeFromRate,
            Remark::TimeFromIndex { .. } => NoticeCode::TimeFromIndex,
            Remark::TimeFilled => NoticeCode::TimeFilled,
            Remark::TimeMissing => NoticeCode::TimeMissing,
            Remark::RepeatedTime => NoticeCode::RepeatedTime,
            Remark::CoarseClock { .. } => NoticeCode::CoarseClock,
            Remark::PastMidnight | Remark::PastNoon | Remark::UnclearDate => NoticeCode::PastMidnight,
            Remark::ClockWrapped { .. } => NoticeCode::ClockWrapped,
            Remark::ClockSetBack { .. } => NoticeCode::ClockSetBack,
            Remark::LostRows => NoticeCode::LostRows,
            Remark::SeveralRuns { .. } => NoticeCode::SeveralRuns,
        }
    }

    fn severity(&self) -> Severity {
        match self {
            Remark::IdleColumn { .. }
            | Remark::Worksheet { .. }
            | Remark::UnusedColumns { .. }
            | Remark::UnitFromSteps { .. }
            | Remark::TimeFromIndex { .. }
            | Remark::PastMidnight
            | Remark::PastNoon
            | Remark::UnclearDate
            | Remark::ClockWrapped { .. }
            | Remark::SeveralRuns { .. } => Severity::Note,
            _ => Severity::Warning,
        }
    }

    fn hint(&self) -> Option<String> {
        let hint = match self {
            Remark::DamagedText { .. } => {
                "if names look wrong, write the file's `encoding` under `[import]` in the sheet"
            }
            Remark::Worksheet { .. } => "if another one holds the log, save that worksheet as a file of its own",
            Remark::ImportColumn { columns, .. } => return Some(format!("its columns are {columns}")),
            Remark::ImportChannel { .. } => {
                let known: Vec<&str> = Channel::ALL.iter().map(|c| c.name()).collect();
                let known = known.join("`, `");
                return Some(format!("channels are `{known}`, `erpm`, `index`, `date`, `ignore`"));
            }
            Remark::ImportUnit { .. } => "write it as `V`, `mA`, `°F`, `krpm`, `km/h` or the like",
            Remark::RuledOutByUnit { .. } => {
                "if it is, write the column with its `channel` and `unit` under `[import]` in the sheet"
            }
            Remark::UnusedColumns { .. } => "if one of them is a channel, name it under `[import]` in the sheet",
            Remark::TwoColumns { .. } => "name the right one under `[import]` in the sheet",
            Remark::ChannelFromValues { channel: Channel::Time, .. } => return None,
            Remark::ChannelFromValues { .. }
            | Remark::ChannelNearlyTold { .. }
            | Remark::CurrentOrThrottle { .. }
            | Remark::ChannelFromUnit { .. }
            | Remark::WhoseTemperature { .. } => "to be sure, name the column under `[import]` in the sheet",
            Remark::UnitFromValues { .. } => "to be sure, write its unit under `[import]` in the sheet",
            Remark::SpeedWithoutUnit { .. } => {
                "write its unit under `[import]` in the sheet, or enter gears and tyre there"
            }
            Remark::ThousandsFromValues { .. } => {
                "if that is wrong, write the column with its `scale` under `[import]` in the sheet"
            }
            Remark::SlowRevs { .. } => "if so, write the column with its `scale` under `[import]` in the sheet",
            Remark::PolesAssumed { .. } => "enter the motor's `poles` in the sheet",
            _ => return None,
        };
        Some(hint.to_owned())
    }
}

/// One remark of each kind, for tests that read all sentences.
#[cfg(test)]
pub(crate) fn one_of_each() -> Vec<Remark<'static>> {
    let (column, channel) = ("Temp1", Channel::MotorTemperature);
    vec![
        Remark::PaddedFile,
        Remark::DamagedText { encoding: "UTF-8" },
        Remark::StrayQuote,
        Remark::Worksheet { name: "Data", others: "`Chart`" },
        Remark::NotARow { first_seen: "# marker" },
        Remark::TooManyCells { width: 6, first_seen: "0.1,2,3,4,5,6,7" },
        Remark::TooFewCells { width: 6, first_seen: "0.1,2" },
        Remark::CutRow,
        Remark::ImportColumn { column: "Drehzahl", columns: "`Time`, `RPM`" },
        Remark::ImportChannel { channel: "revs" },
        Remark::ImportUnit { unit: "furlongs" },
        Remark::TwoColumns { first: "Temp1", second: "Temp2", kept: "Temp1", channel },
        Remark::IdleColumn { column: "RPM" },
        Remark::ChannelFromValues { column, channel },
        Remark::ChannelFromValues { column: "column 1", channel: Channel::Time },
        Remark::ChannelNearlyTold { column: "column 5", channel, other: "column 6" },
        Remark::CurrentOrThrottle { column: "column 5" },
        Remark::ChannelFromUnit { column: "I1 [A]", channel: Channel::Current },
        Remark::UnusedColumns { columns: "`SoC`, `latitude`" },
        Remark::WhoseTemperature { column, channel },
        Remark::UnitFromValues { column, unit: "°F" },
        Remark::UnitFromRevs { column: "Speed", unit: "mph" },
        Remark::SpeedWithoutUnit { column: "Speed", channel: Channel::GroundSpeed },
        Remark::UnitFromSteps { column: "Time", unit: "ms" },
        Remark::ThousandsFromValues { column: "RPM", unit: "1/min" },
        Remark::UnitDoesNotFit { column, channel },
        Remark::RuledOutByUnit { column: "Voltage [A]", channel: Channel::Voltage },
        Remark::SlowRevs { column: "RPM", highest: 431.0 },
        Remark::PolesAssumed { column: "eRPM" },
        Remark::FullScaleMark { column, channel },
        Remark::SignTurned { column: "Curr", channel: Channel::Current },
        Remark::MinusThroughout { column: "Volt", channel: Channel::Voltage },
        Remark::RevsBackwards { column: "RPM", channel: Channel::Rpm },
        Remark::OutOfRange { column, channel },
        Remark::NoValues { column, channel },
        Remark::MissingCells { column, channel, first_seen: "" },
        Remark::MissingCells { column, channel, first_seen: "--" },
        Remark::UnreadableCells { column, channel, first_seen: "oops" },
        Remark::TimeFromRate { rate_hz: 20.0 },
        Remark::TimeFromIndex { column: "No", rate_hz: 20.0 },
        Remark::TimeFilled,
        Remark::TimeMissing,
        Remark::RepeatedTime,
        Remark::CoarseClock { step_s: 1.0 },
        Remark::PastMidnight,
        Remark::PastNoon,
        Remark::UnclearDate,
        Remark::ClockWrapped { full_s: 65.536 },
        Remark::ClockSetBack { back_s: 3.2 },
        Remark::LostRows,
        Remark::SeveralRuns { runs: 2 },
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All sentences and hints, to be read from top to bottom.
    #[test]
    fn sentences() {
        let lines: String = one_of_each()
            .iter()
            .map(|remark| {
                let notice = remark.notice();
                let code = serde_json::to_value(notice.code).unwrap();
                let hint = notice.hint.map_or(String::new(), |hint| format!("\n    hint: {hint}"));
                format!("{}: {}{hint}\n", code.as_str().unwrap(), notice.message)
            })
            .collect();
        insta::assert_snapshot!(lines);
    }
}
