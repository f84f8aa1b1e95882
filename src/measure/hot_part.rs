//! The parts of the car that get hot, their channels and limits.

use crate::log::Channel;
use crate::sheet::{DEFAULT_CONTROLLER_C, DEFAULT_MOTOR_C, Settings};

/// A part of the car that gets hot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HotPart {
    /// The motor.
    Motor,
    /// The controller.
    Controller,
}

impl HotPart {
    /// The channel of its temperature.
    pub fn channel(self) -> Channel {
        match self {
            Self::Motor => Channel::MotorTemperature,
            Self::Controller => Channel::ControllerTemperature,
        }
    }

    /// What it is called.
    pub fn words(self) -> &'static str {
        match self {
            Self::Motor => "motor",
            Self::Controller => "controller",
        }
    }

    /// Path of its limit on the sheet.
    pub fn limit_key(self) -> &'static str {
        match self {
            Self::Motor => "limits.motor_c",
            Self::Controller => "limits.esc_c",
        }
    }

    /// The limit on the sheet, else the default.
    pub fn limit(self, settings: &Settings) -> Limit {
        let default_c = match self {
            Self::Motor => DEFAULT_MOTOR_C,
            Self::Controller => DEFAULT_CONTROLLER_C,
        };
        let stated = settings.number(self.limit_key());
        Limit { celsius: stated.unwrap_or(default_c), stated: stated.is_some() }
    }
}

/// The limit of a part's temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// The limit, °C.
    pub celsius: f64,
    /// Whether it is the user's own; else it is a default.
    pub stated: bool,
}
