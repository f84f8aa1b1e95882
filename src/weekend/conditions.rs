//! The conditions in which a part got as hot as it did, and the race under others.

use crate::measure::forecast::Scene;
use crate::measure::heat::Heat;

/// Loss in iron and bearings goes with the speed to about this power, between friction and hysteresis (1) and eddy
/// currents (2).
pub(super) const SPIN_POWER: f64 = 1.5;

/// One run's conditions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Conditions {
    /// Air, °C.
    pub air: f64,
    /// How far above the air the part started, K.
    pub above: f64,
    /// Cooling, 1/s.
    pub cooling: f64,
    /// Mean copper load, A².
    pub copper: f64,
    /// Mean speed of the motor, rad/s; 1 where it is not known.
    pub spin: f64,
}

impl Conditions {
    /// Those of a run in air of `air_c`, whose part cools with `cooling`; `None` without a start or a fitted model.
    pub fn new(heat: &Heat, air_c: f64, cooling: f64) -> Option<Self> {
        heat.warming.as_ref()?;
        let spin = if heat.load.omega > 0.0 { heat.load.omega } else { 1.0 };
        Some(Self { air: air_c, above: heat.start_c? - air_c, cooling, copper: heat.load.copper, spin })
    }

    /// A race of `race_s` under these conditions, for the model of a run that had `base`.
    pub fn scene(&self, base: &Self, race_s: f64) -> Scene {
        Scene {
            start_c: self.air + self.above,
            air_c: self.air,
            copper: self.copper / base.copper,
            spin: (self.spin / base.spin).powf(SPIN_POWER),
            cooling: self.cooling / base.cooling,
            seconds: race_s,
        }
    }
}
