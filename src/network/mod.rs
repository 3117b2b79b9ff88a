//! Passive parts between amplifier and drivers: the netlist, its voltages and currents.

mod e_series;
mod error;
mod netlist;
mod nodal;
mod number;
mod part;

pub use e_series::ESeries;
pub use error::NetworkError;
pub use netlist::{GROUND, INPUT, Netlist};
pub use nodal::{Loads, Solved};
pub use part::{Condition, Kind, Part};
