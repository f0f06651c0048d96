//! Names of single signals, as in `pack1_cell3_voltage_v`, and how many decimals each has.

use crate::layout::own::{BANK_SENDER, FRAMES};
use crate::model::{Quantity, Slot};
use std::fmt::Write;

/// Decimals of a signal of which no field is known.
const USUAL_DECIMALS: usize = 6;

/// Name of a signal with its unit at the end; packs, cells, sensors and sources count from 1.
#[must_use]
pub fn signal_name(slot: Slot) -> String {
    let mut name = String::with_capacity(40);
    let (pack, index) = (u16::from(slot.pack) + 1, u16::from(slot.index) + 1);
    let quantity = slot.quantity.name();
    // Writing to a string cannot fail.
    let _ = match slot.quantity {
        Quantity::CellVoltage | Quantity::CellBalancing => {
            write!(name, "pack{pack}_cell{index}_{}", quantity.trim_start_matches("cell_"))
        }
        Quantity::LinkResistance => write!(name, "pack{pack}_cell{index}_{quantity}"),
        Quantity::Temperature => write!(name, "pack{pack}_sensor{index}_{quantity}"),
        Quantity::SensorRole | Quantity::SensorCell => {
            write!(name, "pack{pack}_sensor{index}_{}", quantity.trim_start_matches("sensor_"))
        }
        Quantity::SourceKind
        | Quantity::SourceState
        | Quantity::SourceCurrent
        | Quantity::SourceOffer
        | Quantity::SourceVoltage => write!(name, "source{index}_{}", quantity.trim_start_matches("source_")),
        Quantity::BankCurrent | Quantity::BankVoltage => write!(name, "{quantity}"),
        Quantity::PackCount => write!(name, "bank_{quantity}"),
        Quantity::SenderFrames | Quantity::SenderUptime if slot.pack == BANK_SENDER => write!(name, "bank_{quantity}"),
        _ => write!(name, "pack{pack}_{quantity}"),
    };
    if !slot.quantity.unit().is_empty() {
        name.push('_');
        name.push_str(&slot.quantity.unit().to_ascii_lowercase());
    }
    name
}

/// Decimals that a quantity has in our own format: as many as the step of its field.
#[must_use]
pub fn decimals(quantity: Quantity) -> usize {
    let fields = FRAMES.iter().flat_map(|frame| frame.fields);
    let scale = fields.filter(|own| own.quantity == quantity).map(|own| own.field.scale).reduce(f64::min);
    scale.map_or(USUAL_DECIMALS, |scale| (0..9).find(|&n| is_whole(scale * 10_f64.powi(n))).unwrap_or(9) as usize)
}

fn is_whole(number: f64) -> bool {
    (number - number.round()).abs() < 1e-6 && number.round() >= 1.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn names_count_from_one_and_end_in_their_unit() {
        let names = [
            Slot::at(0, Quantity::CellVoltage, 2),
            Slot::at(1, Quantity::Temperature, 0),
            Slot::of(0, Quantity::Current),
            Slot::of(0, Quantity::BankCurrent),
            Slot::at(0, Quantity::SourceState, 1),
            Slot::at(0, Quantity::SensorRole, 3),
            Slot::at(0, Quantity::CellBalancing, 31),
            Slot::of(16, Quantity::SenderUptime),
            Slot::of(0, Quantity::ReportedSoc),
            Slot::at(0, Quantity::LinkResistance, 0),
        ]
        .map(signal_name);
        assert_eq!(
            names,
            [
                "pack1_cell3_voltage_v",
                "pack2_sensor1_temperature_degc",
                "pack1_current_a",
                "bank_current_a",
                "source2_state",
                "pack1_sensor4_role",
                "pack1_cell32_balancing",
                "bank_sender_uptime_s",
                "pack1_reported_soc_fraction",
                "pack1_cell1_link_resistance_mohm",
            ]
        );
    }

    #[test]
    fn no_two_quantities_share_a_name() {
        let names: BTreeSet<String> = Quantity::ALL.iter().map(|q| signal_name(Slot::of(0, *q))).collect();
        assert_eq!(names.len(), Quantity::ALL.len());
    }

    #[test]
    fn decimals_are_those_of_the_wire() {
        let of =
            [Quantity::CellVoltage, Quantity::Temperature, Quantity::PackVoltage, Quantity::PackCount].map(decimals);
        assert_eq!(of, [4, 2, 3, 0]);
        assert_eq!(decimals(Quantity::CellVoltageStep), 5);
    }
}
