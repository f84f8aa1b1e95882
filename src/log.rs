//! One log: an Arrow record batch with units and provenance in its schema.

use std::collections::HashMap;
use std::ops::RangeInclusive;
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, Float64Array, RecordBatch, StringArray};
use arrow::buffer::{BooleanBuffer, NullBuffer};
use arrow::datatypes::{DataType, Field, Schema};
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use crate::notice::Notice;

/// Name and version of a normalised log's columns, in its metadata.
pub const FORMAT: &str = "runtrue log 1";

/// What a column of a log measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Channel {
    /// Time since the log's first row, s.
    Time,
    /// Motor speed, turns a minute.
    Rpm,
    /// Voltage of the pack at the controller, V.
    Voltage,
    /// Current from the pack, A.
    Current,
    /// Motor temperature as its sensor reads it, °C.
    MotorTemperature,
    /// Controller temperature, °C.
    ControllerTemperature,
    /// Throttle, % of full demand; brake negative.
    Throttle,
    /// Speed of the driven wheels' tread, m/s.
    WheelSpeed,
    /// Speed of the car over ground, m/s.
    GroundSpeed,
    /// Air temperature, °C.
    Ambient,
}

impl Channel {
    /// Every channel, in the order in which a log keeps them.
    pub const ALL: [Channel; 10] = [
        Channel::Time,
        Channel::Rpm,
        Channel::Voltage,
        Channel::Current,
        Channel::MotorTemperature,
        Channel::ControllerTemperature,
        Channel::Throttle,
        Channel::WheelSpeed,
        Channel::GroundSpeed,
        Channel::Ambient,
    ];

    /// The channel's key in the sheet and in JSON.
    pub fn name(self) -> &'static str {
        match self {
            Channel::Time => "time",
            Channel::Rpm => "rpm",
            Channel::Voltage => "voltage",
            Channel::Current => "current",
            Channel::MotorTemperature => "motor_temperature",
            Channel::ControllerTemperature => "controller_temperature",
            Channel::Throttle => "throttle",
            Channel::WheelSpeed => "wheel_speed",
            Channel::GroundSpeed => "ground_speed",
            Channel::Ambient => "ambient",
        }
    }

    /// The channel in a sentence.
    pub fn label(self) -> &'static str {
        match self {
            Channel::MotorTemperature => "motor temperature",
            Channel::ControllerTemperature => "controller temperature",
            Channel::WheelSpeed => "wheel speed",
            Channel::GroundSpeed => "ground speed",
            Channel::Ambient => "air temperature",
            plain => plain.name(),
        }
    }

    /// The channel named `name`, as [`Channel::name`] writes it.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.name() == name)
    }

    /// Name of the column in a normalised log; it carries the unit.
    pub fn field(self) -> &'static str {
        match self {
            Channel::Time => "time_s",
            Channel::Rpm => "rpm",
            Channel::Voltage => "voltage_v",
            Channel::Current => "current_a",
            Channel::MotorTemperature => "motor_c",
            Channel::ControllerTemperature => "controller_c",
            Channel::Throttle => "throttle_pct",
            Channel::WheelSpeed => "wheel_speed_m_s",
            Channel::GroundSpeed => "ground_speed_m_s",
            Channel::Ambient => "ambient_c",
        }
    }

    /// Unit of a normalised log, in UCUM-like plain spelling.
    pub fn unit(self) -> &'static str {
        match self {
            Channel::Time => "s",
            Channel::Rpm => "1/min",
            Channel::Voltage => "V",
            Channel::Current => "A",
            Channel::MotorTemperature | Channel::ControllerTemperature | Channel::Ambient => "°C",
            Channel::Throttle => "%",
            Channel::WheelSpeed | Channel::GroundSpeed => "m/s",
        }
    }

    /// Values outside are not readings of a model car's recorder and are left out with a notice.
    /// Common practice, no source: several times what such a car reaches.
    pub fn plausible(self) -> RangeInclusive<f64> {
        match self {
            Channel::Time => f64::NEG_INFINITY..=f64::INFINITY,
            Channel::Rpm => 0.0..=400_000.0,
            Channel::Voltage => 0.0..=100.0,
            Channel::Current => -500.0..=1000.0,
            Channel::MotorTemperature | Channel::ControllerTemperature | Channel::Ambient => -40.0..=300.0,
            Channel::Throttle => -150.0..=150.0,
            Channel::WheelSpeed | Channel::GroundSpeed => -5.0..=120.0,
        }
    }
}

/// Where a channel came from.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ChannelSource {
    /// The channel.
    pub channel: Channel,
    /// The column's header as written, or `column N` without a header.
    pub column: String,
    /// The unit in the file.
    pub unit: String,
    /// Factor from the file's unit to the channel's own; `null` where the conversion is more than a factor.
    pub scale: Option<f64>,
}

/// How a log was understood, for the report.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Reading {
    /// Lines of data in the file (or in this part of it), kept or not.
    pub rows_in: u64,
    /// Rows of the normalised log.
    pub rows_kept: u64,
    /// Rows a second: one over the mean step, lost rows left out.
    pub rate_hz: f64,
    /// From the first to the last row, s.
    pub duration_s: f64,
    /// Character encoding, by its WHATWG name.
    pub encoding: String,
    /// Character between cells.
    pub delimiter: String,
    /// Decimal mark.
    pub decimal: String,
    /// Columns understood as channels.
    pub channels: Vec<ChannelSource>,
    /// What was left out, repaired or guessed.
    pub notices: Vec<Notice>,
}

/// A column that is not a channel, kept under its own name.
#[derive(Debug, Clone, PartialEq)]
pub enum Extra {
    /// Numbers; NaN where missing.
    Numbers(Vec<f64>),
    /// Text as written.
    Text(Vec<String>),
}

/// One normalised log: rows in order of time, the first at zero, NaN where a cell is missing.
#[derive(Debug, Clone)]
pub struct Log {
    batch: RecordBatch,
    channels: Vec<Channel>,
    /// How it was read.
    pub reading: Reading,
}

impl Log {
    /// Builds a log from its channels (time first) in their own units, and its other columns by name. All have one
    /// value a row.
    ///
    /// # Errors
    /// If the columns differ in length.
    pub fn new(
        channels: Vec<(Channel, Vec<f64>)>,
        extras: Vec<(String, Extra)>,
        reading: Reading,
    ) -> Result<Self, arrow::error::ArrowError> {
        let (order, values): (Vec<Channel>, Vec<Vec<f64>>) = channels.into_iter().unzip();
        let mut columns: Vec<ArrayRef> = values.into_par_iter().map(|v| Arc::new(with_nulls(v)) as ArrayRef).collect();
        let mut fields = Vec::new();
        for channel in &order {
            let source = reading.channels.iter().find(|s| s.channel == *channel);
            let mut metadata = HashMap::from([("unit".to_owned(), channel.unit().to_owned())]);
            if let Some(source) = source {
                metadata.insert("source_column".to_owned(), source.column.clone());
                metadata.insert("source_unit".to_owned(), source.unit.clone());
            }
            fields.push(Field::new(channel.field(), DataType::Float64, true).with_metadata(metadata));
        }
        for (name, extra) in extras {
            let name = free_name(&name, &fields);
            match extra {
                Extra::Numbers(values) => {
                    fields.push(Field::new(name, DataType::Float64, true));
                    columns.push(Arc::new(with_nulls(values)));
                }
                Extra::Text(values) => {
                    fields.push(Field::new(name, DataType::Utf8, true));
                    columns.push(Arc::new(StringArray::from(values)));
                }
            }
        }
        let metadata = HashMap::from([
            ("format".to_owned(), FORMAT.to_owned()),
            ("encoding".to_owned(), reading.encoding.clone()),
            ("rows_in".to_owned(), reading.rows_in.to_string()),
        ]);
        let schema = Arc::new(Schema::new(fields).with_metadata(metadata));
        Ok(Self { batch: RecordBatch::try_new(schema, columns)?, channels: order, reading })
    }

    /// The Arrow record batch: float64 columns with `unit` in their metadata.
    pub fn batch(&self) -> &RecordBatch {
        &self.batch
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.batch.num_rows()
    }

    /// The channel's values in its own unit, NaN where missing; `None` where the log does not have it.
    pub fn channel(&self, channel: Channel) -> Option<&[f64]> {
        let column = self.channels.iter().position(|&c| c == channel)?;
        self.batch.column(column).as_any().downcast_ref::<Float64Array>().map(|a| a.values().as_ref())
    }

    /// The same log with channels left out where `kept` gives `None`, and blank outside the times (s) that it gives;
    /// the rest is shared, not copied. Time stays.
    pub fn masked(&self, kept: impl Fn(Channel) -> Option<Option<RangeInclusive<f64>>>) -> Self {
        let mut left_out = Vec::new();
        let mut batch = self.batch.clone();
        for (index, channel) in self.channels.iter().enumerate().filter(|(_, c)| **c != Channel::Time) {
            match kept(*channel) {
                None => left_out.push(index),
                Some(None) => {}
                Some(Some(times)) => {
                    let values = self.channel(*channel).unwrap_or(&[]).iter().zip(self.time());
                    let inside = values.map(|(v, t)| if times.contains(t) { *v } else { f64::NAN }).collect();
                    batch = with_column(&batch, index, inside);
                }
            }
        }
        let stays = |index: &usize| !left_out.contains(index);
        let columns: Vec<usize> = (0..batch.num_columns()).filter(stays).collect();
        let channels = (0..self.channels.len()).filter(stays).map(|index| self.channels[index]).collect();
        // Indices within the batch, so the projection does not fail.
        let batch = batch.project(&columns).unwrap_or(batch);
        Self { batch, channels, reading: self.reading.clone() }
    }

    /// The same log with other values in a channel that it has.
    pub fn with_channel(&self, channel: Channel, values: Vec<f64>) -> Self {
        let Some(index) = self.channels.iter().position(|&c| c == channel) else { return self.clone() };
        Self {
            batch: with_column(&self.batch, index, values),
            channels: self.channels.clone(),
            reading: self.reading.clone(),
        }
    }

    /// Seconds since the first row, increasing.
    pub fn time(&self) -> &[f64] {
        self.channel(Channel::Time).unwrap_or(&[])
    }
}

/// The batch with other values in a column of numbers.
fn with_column(batch: &RecordBatch, index: usize, values: Vec<f64>) -> RecordBatch {
    let mut columns = batch.columns().to_vec();
    columns[index] = Arc::new(with_nulls(values));
    // Of the same length and type, so it does not fail.
    RecordBatch::try_new(batch.schema(), columns).unwrap_or_else(|_| batch.clone())
}

/// NaN stays in the values and is marked null, so that a slice and an Arrow reader see the same gaps.
fn with_nulls(values: Vec<f64>) -> Float64Array {
    let is_there = |row: usize| !values[row].is_nan();
    let has_gaps = values.iter().any(|v| v.is_nan());
    let nulls = has_gaps.then(|| NullBuffer::new(BooleanBuffer::collect_bool(values.len(), is_there)));
    Float64Array::new(values.into(), nulls)
}

/// `wanted`, or with a number behind it where another column has that name already.
fn free_name(wanted: &str, taken: &[Field]) -> String {
    let free = |name: &str| taken.iter().all(|f| f.name() != name);
    if free(wanted) {
        return wanted.to_owned();
    }
    (2..).map(|n| format!("{wanted} ({n})")).find(|name| free(name)).unwrap_or_default()
}
