//! One file for each kind of result: what it tells, and which of its pictures show what.

pub(super) mod alike;
pub(super) mod average;
pub(super) mod blend;
pub(super) mod boxed;
pub(super) mod compare;
pub(super) mod driver;
pub(super) mod impedance;
pub(super) mod join;
pub(super) mod network;
pub(super) mod response;
pub(super) mod simulation;
