//! What was found, as roles: where each value stands, and why.

use super::fit;
use super::found::{Role, When};
use super::keep::Key;
use super::likeliest::Moved;
use super::packs::{self, Pack};
use super::size;
use super::view::{Choice, View};
use super::warm::{self, Warm};
use crate::layout::{Field, Order};
use crate::model::{MAX_SENSORS, Quantity, Slot};

/// A pack's cells, and the voltage that sums them up.
pub(super) fn of_pack(views: &[View], pack: &Pack, number: u8, roles: &mut Vec<Role>) {
    for (cell, index) in pack.cells.iter().zip(0..) {
        let Some(view) = views.get(cell.view) else { continue };
        let field = cell.run.field(view.bytes(), cell.usual.scale, cell.usual.offset);
        roles.push(view.role(Slot::at(number, Quantity::CellVoltage, index), field, cell.together).because(format!(
            "moves with the other cells ({:.2} of 1), {:.3} V in the middle",
            cell.together,
            fit::middle(&cell.volts)
        )));
    }
    if let Some(volts) = &pack.volts
        && let Some(view) = views.get(volts.view)
    {
        let field = volts.run.field(view.bytes(), volts.usual.scale, volts.usual.offset);
        roles.push(view.role(Slot::of(number, Quantity::PackVoltage), field, volts.together).because(format!(
            "is the sum of {} cells to within {:.2} %",
            volts.cells,
            100.0 * packs::apart(pack, volts)
        )));
    }
}

/// The packs' currents and states of charge, each when its scale is known.
pub(super) fn of_current(views: &[View], moved: &Moved, roles: &mut Vec<Role>) {
    let Moved { amps, soc, sizes } = moved;
    if let Some((scale, sure)) = sizes.amps
        && let Some(offset) = size::offset(amps, soc.as_deref(), scale)
    {
        for (amps, number) in amps.iter().zip(0..) {
            let Some(view) = views.get(amps.view) else { continue };
            let sign = amps.slope.signum();
            let run = amps.with(view, offset.above);
            let field = run.field(view.bytes(), sign * scale, sign * offset.amps);
            roles.push(view.role(Slot::of(number, Quantity::Current), field, sure * amps.together).because(format!(
                "the cells' voltage follows its steps ({:.2} of 1) as through {:.2} mΩ a cell",
                amps.together,
                1e3 * amps.slope.abs() / scale
            )));
        }
    }
    if let Some((scale, sure)) = sizes.soc {
        for (soc, number) in soc.iter().flatten().zip(0..) {
            let Some(view) = views.get(soc.view) else { continue };
            let field = soc.run.field(view.bytes(), scale, 0.0);
            roles.push(
                view.role(Slot::of(number, Quantity::ReportedSoc), field, sure * soc.together)
                    .because(format!("follows the current's integral ({:.3} of 1)", soc.together)),
            );
        }
    }
}

/// The packs' sensors, each with its number in every pack.
pub(super) fn of_sensors(views: &[View], sensors: &[Vec<Warm>], roles: &mut Vec<Role>) {
    if sensors.len() > MAX_SENSORS {
        return; // more than a pack can have: a counter was taken for a multiplexor
    }
    for (sensor, index) in sensors.iter().zip(0..) {
        for (warm, number) in sensor.iter().zip(0..) {
            let Some(view) = views.get(warm.view) else { continue };
            let field = warm.run.field(view.bytes(), warm.usual.scale, warm.usual.offset);
            let slot = Slot::at(number, Quantity::Temperature, index);
            roles.push(
                view.role(slot, field, warm.sure * warm.together)
                    .because(format!("rises with the heat of the current ({:.2} of 1)", warm.together)),
            );
        }
    }
}

/// The roles that stand in bits of their own: none in those by which its own frames are told, and none in those of
/// another of the same frames. A bank file with such a one would be refused; what it was to say stays open.
pub(super) fn in_bits_of_their_own(roles: Vec<Role>) -> Vec<Role> {
    let mut kept: Vec<Role> = Vec::new();
    for role in roles {
        let is_in = |other: &Role| {
            let excluded = role
                .when
                .iter()
                .zip(&other.when)
                .any(|(one, other)| one.field == other.field && one.number != other.number);
            other.id == role.id && !excluded && role.field.meets(&other.field)
        };
        let on_switch = role.when.iter().any(|when| role.field.meets(&when.field));
        if !on_switch && !kept.iter().any(is_in) {
            kept.push(role);
        }
    }
    kept
}

impl View<'_> {
    fn role(&self, slot: Slot, field: Field, confidence: f64) -> Role {
        let Key { channel, id, bytes } = self.key;
        let when = self.choice.map(|Choice { run, number }| When { field: run.field(self.bytes(), 1.0, 0.0), number });
        Role { slot, channel, id, bytes, when, field, confidence, evidence: String::new() }
    }
}

impl Role {
    pub(super) fn own(&self) -> warm::Own {
        let key = Key { channel: self.channel, id: self.id, bytes: self.bytes };
        let Field { start, len, order, .. } = self.field;
        let up = match order {
            Order::Big => start % 8 + 1,
            Order::Little => 8 - start % 8,
        };
        let is_wide = u16::from(len) > up;
        warm::Own { key, big: is_wide.then_some(order == Order::Big) }
    }

    fn because(mut self, evidence: String) -> Self {
        self.evidence = evidence;
        self
    }
}
