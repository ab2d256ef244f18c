//! What a scale shows of counts, by its table and settings: the lookup and the
//! correction of hysteresis that the device applies.

use scalewright_protocol::hysteresis::Plays;
use scalewright_protocol::message::State;
use scalewright_protocol::settings::Settings;
use scalewright_protocol::table::Place;

use crate::quantise::{HostTable, first_q8, quantum_g};

/// A table under its settings. All it says is of a load that was put on the
/// empty pan, net of zero.
#[derive(Clone, Copy, Debug)]
pub struct Face<'a> {
    /// The table.
    pub table: &'a HostTable,
    /// The settings.
    pub settings: &'a Settings,
}

impl Face<'_> {
    /// Mass at net counts, quanta: what a state calls `mass`.
    #[must_use]
    pub fn mass(&self, net_q8: i64) -> i32 {
        let by_table = self.table.lookup_q8(net_q8).mass;
        by_table.wrapping_sub(self.taken_off(by_table))
    }

    /// What hysteresis takes off a mass of the table, quanta, when the load came
    /// from empty.
    #[must_use]
    pub fn taken_off(&self, by_table: i32) -> i32 {
        let Settings { max, loop_gain, .. } = *self.settings;
        Plays::exercised().correction(by_table, max, loop_gain)
    }

    /// Mass at net counts, g.
    #[must_use]
    pub fn mass_g(&self, net_q8: i64) -> f64 {
        f64::from(self.mass(net_q8)) * quantum_g(self.settings.quantum_ug)
    }

    /// What this table would say of the load of a state, g: the same signal, zero
    /// and correction of hysteresis. `None` where the scale itself names no mass.
    #[must_use]
    pub fn of_state_g(&self, state: &State) -> Option<f64> {
        state.mass?;
        let net_q8 = i64::from(state.smooth_q8) - (i64::from(state.zero_counts) << 8);
        let by_table = self.table.lookup_q8(net_q8).mass;
        let mass = by_table.wrapping_sub(state.correction);
        Some(f64::from(mass) * quantum_g(self.settings.quantum_ug))
    }

    /// The indication at net counts, g: rounded to d, a tie away from zero.
    #[must_use]
    pub fn indication_g(&self, net_q8: i64) -> f64 {
        let d = f64::from(self.settings.d.max(1));
        let steps = (f64::from(self.mass(net_q8)) / d).round();
        steps * d * quantum_g(self.settings.quantum_ug)
    }

    /// Net counts in q8 from which on the scale reads `mass_g`, above zero; `None`
    /// where it never does. Corrected by less than it is steep, a mass never falls
    /// while counts rise.
    #[must_use]
    pub fn net_q8_at(&self, mass_g: f64) -> Option<i64> {
        let wanted = (mass_g / quantum_g(self.settings.quantum_ug)).round();
        let found = first_q8(self.table, |q8| f64::from(self.mass(q8)) >= wanted)?;
        (self.table.lookup_q8(found).place != Place::Beyond).then_some(found)
    }
}
