//! What an estimator looks at beside the pack's own view.

use super::minute::Allowed;
use crate::engine::BankState;
use crate::engine::view::View;
use crate::model::PackSpec;
use crate::model::limits::Limits;

/// What estimators look at beside the pack's own view.
pub struct Around<'a> {
    /// The pack at the tick before.
    pub before: &'a View,
    /// The pack as described.
    pub spec: &'a PackSpec,
    /// The limits in force.
    pub limits: &'a Limits,
    /// What belongs to the whole bank.
    pub bank: &'a BankState,
    /// Current of the other packs together, A; none when there is no other that is heard.
    pub others: Option<f64>,
    /// Limits of cells and temperatures, as the pack reports them or as is usual.
    pub allowed: Allowed,
}
