//! One column of a table on its way from cells to values.

use super::clock;
use super::dialect::Layout;
use super::numbers::{NumberForm, is_missing};
use super::units::Unit;
use super::vocabulary;
use crate::notice::{Tally, printable};

/// Characters shown of a cell that was left out.
const SHOWN: usize = 20;

/// What a column's cells are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Numbers, with or without their unit.
    Numbers,
    /// Times of the day, with or without a date.
    Clock,
    /// Dates.
    Date,
    /// Anything else.
    Text,
}

/// A cell of a row.
#[derive(Debug, Clone, Copy, Default)]
pub struct Cell<'t> {
    /// As it is written.
    pub text: &'t [u8],
    /// Its value in its column, `None` where it is none or has no column.
    pub value: Option<f64>,
    /// Digits behind the decimal mark, where the column is one of numbers.
    pub decimals: usize,
}

/// A column as read.
#[derive(Debug)]
pub struct Column {
    /// What its cells are.
    pub kind: Kind,
    /// Numbers, or seconds; NaN where there is none. Empty for text.
    pub values: Vec<f64>,
    /// Cells of a text column.
    pub text: Vec<String>,
    /// The unit written behind its numbers.
    pub cell_unit: Option<Unit>,
    /// Cells that say that there is no reading.
    pub missing: Tally,
    /// Cells that are neither a reading nor say that there is none.
    pub unreadable: Tally,
    /// How many decimals its numbers have; `None` before the first.
    decimals: Option<Decimals>,
}

/// The decimals of a column's numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Decimals {
    /// Of the first number.
    first: usize,
    /// Whether all have as many.
    alike: bool,
}

impl Column {
    /// An empty column of the kind that the layout's sample shows at `index`, with room for `rows`.
    pub fn from_sample(index: usize, layout: &Layout, rows: usize) -> Self {
        let cells: Vec<&str> = layout
            .sample
            .iter()
            .filter_map(|r| r.cells.get(index))
            .map(String::as_str)
            .filter(|c| !is_missing(c.as_bytes()))
            .collect();
        let mostly = |test: &dyn Fn(&str) -> bool| cells.iter().filter(|c| test(c)).count() * 2 >= cells.len();
        let cell_unit = |c: &str| layout.form.parse_with_unit(c).and_then(|(_, u)| vocabulary::unit(u));
        let is_number = |c: &str| layout.form.parse(c.as_bytes()).is_some() || cell_unit(c).is_some();
        let kind = if cells.is_empty() || mostly(&is_number) {
            Kind::Numbers
        } else if mostly(&|c| clock::parse(c).is_some()) {
            Kind::Clock
        } else if mostly(&|c| clock::parse_date(c).is_some()) {
            Kind::Date
        } else {
            Kind::Text
        };
        let unit = if kind == Kind::Numbers { cells.iter().find_map(|c| cell_unit(c)) } else { None };
        Self::new(kind, unit, rows)
    }

    fn new(kind: Kind, cell_unit: Option<Unit>, rows: usize) -> Self {
        let (values, text) = match kind {
            Kind::Text => (Vec::new(), Vec::with_capacity(rows)),
            _ => (Vec::with_capacity(rows), Vec::new()),
        };
        Self { kind, values, text, cell_unit, missing: Tally::default(), unreadable: Tally::default(), decimals: None }
    }

    /// An empty column of the same kind with room for `rows`.
    pub fn empty(&self, rows: usize) -> Self {
        Self::new(self.kind, self.cell_unit, rows)
    }

    /// Whether every number of the column was written with three decimals.
    pub fn all_three_decimals(&self) -> bool {
        self.decimals == Some(Decimals { first: 3, alike: true })
    }

    /// Whether `cell` has other decimals than all numbers before it: it may be cut off.
    pub fn breaks_off(&self, cell: &[u8], form: NumberForm) -> bool {
        self.decimals.is_some_and(|usual| usual.alike && form.decimals(cell) != usual.first)
    }

    /// Adds what was read of later lines.
    pub fn append(&mut self, mut later: Column) {
        self.values.append(&mut later.values);
        self.text.append(&mut later.text);
        self.missing.append(later.missing);
        self.unreadable.append(later.unreadable);
        self.decimals = match (self.decimals, later.decimals) {
            (Some(own), Some(later)) => {
                Some(Decimals { first: own.first, alike: own.alike && later.alike && own.first == later.first })
            }
            (own, later) => own.or(later),
        };
    }

    /// Takes the cell of one row, `None` where the row ends before it.
    #[inline]
    pub fn push(&mut self, cell: Option<Cell>, line: u64) {
        let cell = cell.unwrap_or_default();
        if self.kind == Kind::Text {
            self.text.push(String::from_utf8_lossy(cell.text).into_owned());
            return;
        }
        match cell.value {
            Some(_) if self.kind == Kind::Numbers => {
                let usual = self.decimals.unwrap_or(Decimals { first: cell.decimals, alike: true });
                self.decimals = Some(Decimals { alike: usual.alike && usual.first == cell.decimals, ..usual });
            }
            Some(_) => {}
            None => self.count_unread(cell.text, line),
        }
        self.values.push(cell.value.unwrap_or(f64::NAN));
    }

    #[cold]
    fn count_unread(&mut self, cell: &[u8], line: u64) {
        let tally = if is_missing(cell) { &mut self.missing } else { &mut self.unreadable };
        tally.add(line, || printable(&String::from_utf8_lossy(cell), SHOWN));
    }

    /// The value of a cell: a number in the column's unit, or seconds; `None` where it is not one.
    pub fn parse(&self, cell: &[u8], form: NumberForm) -> Option<f64> {
        let text = || std::str::from_utf8(cell).ok();
        match self.kind {
            Kind::Numbers => form.parse(cell).or_else(|| {
                let (value, unit) = form.parse_with_unit(text()?)?;
                let unit = vocabulary::unit(unit)?;
                // A recorder may change units as values grow: 950 mA, 1.2 A.
                let own = self.cell_unit.filter(|own| own.quantity == unit.quantity)?;
                Some((unit.convert(value) - own.offset) / own.scale)
            }),
            Kind::Clock => clock::parse(text()?),
            Kind::Date => clock::parse_date(text()?),
            Kind::Text => None,
        }
    }
}
