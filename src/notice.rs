//! Remarks on how an input was read, and failures of a single run: data here, shown by each surface in its own way.

use schemars::JsonSchema;
use serde::Serialize;

/// How much a notice matters to the figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// For completeness: nothing was lost or guessed.
    Note,
    /// Something was left out, repaired or guessed.
    Warning,
}

/// What kind of remark a notice is. In JSON it is its name in kebab case: `MissingCells` is `missing-cells`. These
/// names are published: kinds may be added, none renamed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum NoticeCode {
    /// Blank characters at the end of the file were left out.
    PaddedFile,
    /// Characters that do not exist in the file's encoding.
    DamagedText,
    /// A quotation mark that is never closed.
    StrayQuote,
    /// Which worksheet of a workbook was read.
    Worksheet,
    /// Lines that are not rows of readings.
    NotARow,
    /// Rows with more cells than columns.
    TooManyCells,
    /// Rows with fewer cells than columns.
    TooFewCells,
    /// A last row that breaks off.
    CutRow,
    /// `[import]` names a column that the log does not have.
    ImportColumn,
    /// `[import]` names a channel that does not exist.
    ImportChannel,
    /// `[import]` names a unit that is not known.
    ImportUnit,
    /// Two columns for one channel.
    TwoColumns,
    /// A column of rpm that is zero throughout.
    IdleColumn,
    /// A channel was told from its values, not from its header.
    ChannelFromValues,
    /// Columns that were kept but not used.
    UnusedColumns,
    /// A unit was told from the values.
    UnitFromValues,
    /// The unit of a column does not fit its channel.
    UnitDoesNotFit,
    /// Rpm so low that tens or hundreds may be meant.
    SlowRevs,
    /// Electrical rpm without the motor's number of poles.
    PolesAssumed,
    /// Numbers that stand for "no reading".
    FullScaleMark,
    /// A current written with the opposite sign.
    SignTurned,
    /// Revs of a motor that turns backwards.
    RevsBackwards,
    /// Values that no such car reaches.
    OutOfRange,
    /// A channel without any reading.
    NoValues,
    /// Cells that say there is no reading.
    MissingCells,
    /// Cells that are not a number.
    UnreadableCells,
    /// Time was counted by rows.
    TimeFromRate,
    /// Time was counted by row numbers.
    TimeFromIndex,
    /// Missing times were worked out from the rows beside them.
    TimeFilled,
    /// Rows without a usable time.
    TimeMissing,
    /// Rows with the time of the row before.
    RepeatedTime,
    /// A clock coarser than the rows.
    CoarseClock,
    /// A clock that passed midnight or noon.
    PastMidnight,
    /// A counter that started again from zero.
    ClockWrapped,
    /// A clock that jumped back.
    ClockSetBack,
    /// Rows that are missing between others.
    LostRows,
    /// Several runs in one file.
    SeveralRuns,
    /// Lines of a lap list that were passed over.
    ListLines,
    /// A lap list whose passings are out of order.
    ListOrder,
    /// A lap list that could not be read.
    NoLapList,
    /// A lap list that a run has by its name: the sheet names none.
    ListByName,
    /// A lap list that no run has.
    ListWithoutRun,
    /// A lap list that does not fit its log.
    ListDoesNotFit,
    /// No laps could be found.
    NoLaps,
    /// A mistake on the sheet.
    Sheet,
    /// A log that no run of the sheet names.
    NotOnTheSheet,
    /// A log that was converted from another one in the folder.
    ConvertedCopy,
    /// Logs that the sheet leaves out.
    LeftOut,
    /// A packed file, or a file in one, that was not read.
    PackedFile,
}

/// A remark on a result that holds, with a caveat. An error means that there is no result.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Notice {
    /// What kind of remark it is.
    pub code: NoticeCode,
    /// How much it matters.
    pub severity: Severity,
    /// One sentence, literals in backticks, without a final full stop.
    pub message: String,
    /// First line of the file it happened on, counted from 1.
    pub line: Option<u64>,
    /// How often it happened.
    pub count: u64,
    /// What to do about it.
    pub hint: Option<String>,
}

impl Notice {
    /// A note that happened once.
    pub fn note(code: NoticeCode, message: impl Into<String>) -> Self {
        Self { code, severity: Severity::Note, message: message.into(), line: None, count: 1, hint: None }
    }

    /// A warning that happened once.
    pub fn warning(code: NoticeCode, message: impl Into<String>) -> Self {
        Self { severity: Severity::Warning, ..Self::note(code, message) }
    }

    /// The same notice with the first line it happened on and how often.
    pub fn counted(mut self, first_line: Option<u64>, count: u64) -> Self {
        self.line = first_line;
        self.count = count;
        self
    }

    /// The same notice with advice.
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// The sentence as people read it: what happened, how often and on which line first.
    pub fn text(&self) -> String {
        let message = &self.message;
        match (self.count, self.line) {
            (0 | 1, None) => message.clone(),
            (0 | 1, Some(line)) => format!("{message} (line {line})"),
            (count, None) => format!("{message} ({count} in all)"),
            (count, Some(line)) => format!("{message} ({count} in all, the first on line {line})"),
        }
    }
}

/// Why a run could not be reviewed.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Failure {
    /// What failed, where, and the value seen.
    pub message: String,
    /// What to do about it.
    pub hint: Option<String>,
}

/// Counts how often something happened and remembers the first place.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Tally {
    /// How often.
    pub count: u64,
    /// Line of the first time, counted from 1.
    pub first_line: Option<u64>,
    /// What was seen the first time.
    pub first_seen: String,
}

impl Tally {
    /// Counts one more; `seen` is called the first time only, so that nothing is copied for the others.
    pub fn add(&mut self, line: u64, seen: impl FnOnce() -> String) {
        if self.count == 0 {
            self.first_line = Some(line);
            self.first_seen = seen();
        }
        self.count += 1;
    }

    /// Adds what was counted on later lines.
    pub fn append(&mut self, later: Tally) {
        if self.count == 0 {
            *self = later;
        } else {
            self.count += later.count;
        }
    }
}

/// `text` made safe to print on one line: control characters as escapes, cut after `most` characters.
pub fn printable(text: &str, most: usize) -> String {
    let mut out = String::new();
    for (count, c) in text.chars().enumerate() {
        if count == most {
            out.push('…');
            break;
        }
        if c.is_control() || is_bidi_control(c) || is_noncharacter(c) {
            out.extend(c.escape_default());
        } else {
            out.push(c);
        }
    }
    out
}

/// Marks that reorder text on screen (Unicode Standard Annex 9) and can make a name look like another.
fn is_bidi_control(c: char) -> bool {
    matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Characters that Unicode keeps for the inside of a program (The Unicode Standard, 23.7); `units::marks` uses them.
fn is_noncharacter(c: char) -> bool {
    matches!(c, '\u{fdd0}'..='\u{fdef}')
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case(None, 1, "a remark")]
    #[case(Some(7), 1, "a remark (line 7)")]
    #[case(None, 3, "a remark (3 in all)")]
    #[case(Some(7), 3, "a remark (3 in all, the first on line 7)")]
    fn what_happened_then_how_often(#[case] line: Option<u64>, #[case] count: u64, #[case] text: &str) {
        assert_eq!(Notice::note(NoticeCode::Sheet, "a remark").counted(line, count).text(), text);
    }

    /// The names of the published format.
    #[test]
    fn codes_are_written_in_kebab_case() {
        let written = |code| serde_json::to_value(code).unwrap();
        assert_eq!(written(NoticeCode::NotARow), "not-a-row");
        assert_eq!(written(NoticeCode::NotOnTheSheet), "not-on-the-sheet");
        assert_eq!(written(NoticeCode::Sheet), "sheet");
    }
}
