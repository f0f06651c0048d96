//! What was found, as data.

use super::amps::Amps;
use super::cells::{self, Cell};
use super::keep::{Keep, Key};
use super::packs::{self, Pack, Packs};
use super::size::Sizes;
use super::soc::Soc;
use super::view::{Choice, Row, View, views};
use super::volts::{self, Taken};
use super::{amps, size, soc, warm};
use crate::layout::Field;
use crate::model::{Id, Quantity, Slot};

/// What the person knows about the bank already; everything is optional.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Known {
    /// Rated capacity of one pack, Ah, as printed on it.
    pub capacity: Option<f64>,
    /// How warm it is around the bank, °C.
    pub celsius: Option<f64>,
}

/// Which frames of a message carry a value: those in which a field has this number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct When {
    /// The field that chooses.
    pub field: Field,
    /// Its number.
    pub number: u64,
}

impl When {
    /// Whether a frame with this data is chosen.
    #[must_use]
    pub fn holds(&self, data: &[u8]) -> bool {
        self.field.get(data) == Some(self.number)
    }
}

/// A value of the bank, and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Role {
    /// Whose value it is.
    pub slot: Slot,
    /// Interface, in the order in which interfaces were first seen.
    pub channel: u8,
    /// Id of the message.
    pub id: Id,
    /// Bytes of the message.
    pub bytes: u8,
    /// Which of its frames carry the value.
    pub when: Option<When>,
    /// The bits, with scale and offset.
    pub field: Field,
    /// How sure, 0 to 1.
    pub confidence: f64,
    /// Why, in a sentence.
    pub evidence: String,
}

/// What was found.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Found {
    /// Data frames heard.
    pub frames: u64,
    /// Seconds from the first to the last.
    pub seconds: f64,
    /// The values of the bank.
    pub roles: Vec<Role>,
}

pub(super) fn find(keep: &Keep, known: &Known) -> Found {
    let row = Row::of(keep.seconds());
    let views = views(keep, row);
    let mut found = Found { frames: keep.frames, seconds: keep.seconds(), roles: Vec::new() };
    let mut best: Option<(f64, Packs)> = None;
    for (score, cells) in cells::find(&views) {
        let Some((fit, packs)) = bank(&views, &cells) else { continue };
        let score = score * (1.0 + fit);
        if best.as_ref().is_none_or(|(most, _)| score > *most) {
            best = Some((score, packs));
        }
    }
    let Some((_, packs)) = best else { return found };
    for (pack, number) in packs.packs.iter().zip(0..) {
        of_pack(&views, pack, number, &mut found.roles);
    }
    let mut taken = taken(&views, &packs.packs);
    let mean = cells::mean(packs.packs.iter().map(|pack| &pack.mean[..]));
    if let Some(amps) = amps::find(&views, &mean, packs.packs.len(), &taken, packs.by_choice) {
        for amps in &amps {
            taken.add(amps.view, amps.run.mask(views.get(amps.view).map_or(0, View::bytes)));
        }
        let mut soc = soc::find(&views, &amps, row, &taken, packs.by_choice);
        let first = soc.as_ref().and_then(|soc| soc.first());
        let lengths = first.and_then(|soc| Some(soc.lengths(views.get(soc.view)?))).unwrap_or_default();
        let seen = size::Seen { amps: &amps, soc: soc.as_deref(), mean: &mean, lengths: &lengths };
        let sizes = size::find(&seen, known);
        for soc in soc.iter_mut().flatten() {
            let Some(view) = views.get(soc.view) else { continue };
            soc.with(view, sizes.len.max(soc.run.len));
            taken.add(soc.view, soc.run.mask(view.bytes()));
        }
        of_current(&views, (&amps, soc.as_deref()), &sizes, &mut found.roles);
        let heats = heats((&amps, soc.as_deref()), &sizes, known, row);
        let ids: Vec<u32> = found.roles.iter().map(|role| role.id.key()).collect();
        let sensors = warm::find(&views, &heats, known.celsius, &taken, &ids, packs.by_choice);
        for (sensor, index) in sensors.iter().zip(0..) {
            for (warm, number) in sensor.iter().zip(0..) {
                let Some(view) = views.get(warm.view) else { continue };
                let field = warm.run.field(view.bytes(), warm.usual.scale, warm.usual.offset);
                let slot = Slot::at(number, Quantity::Temperature, index);
                found.roles.push(view.role(slot, field, warm.sure * warm.together));
            }
        }
    }
    found
}

/// The heat that each pack's current makes.
fn heats((amps, soc): (&[Amps], Option<&[Soc]>), sizes: &Sizes, known: &Known, row: Row) -> Vec<warm::Heat> {
    let own = sizes.amps.zip(known.capacity).map(|((scale, _), capacity)| scale / capacity);
    let by_soc = sizes.soc.zip(soc.and_then(|soc| soc.first())).map(|((scale, _), soc)| scale * soc.slope);
    let share = own.or(by_soc);
    let zero = sizes.amps.and_then(|(scale, _)| Some(-size::offset(amps, soc, scale)? / scale));
    let zero = zero.or(soc.and_then(|soc| soc.first()).map(|soc| soc.zero)).unwrap_or(0.0);
    amps.iter().map(|amps| warm::Heat::new(amps, zero, share, row)).collect()
}

fn taken(views: &[View], packs: &[Pack]) -> Taken {
    let mut taken = Taken::default();
    for pack in packs {
        let cells = pack.cells.iter().map(|cell| (cell.view, cell.run));
        for (view, run) in cells.chain(pack.volts.iter().map(|volts| (volts.view, volts.run))) {
            taken.add(view, run.mask(views.get(view).map_or(0, View::bytes)));
        }
    }
    taken
}

fn of_current(views: &[View], (amps, soc): (&[Amps], Option<&[Soc]>), sizes: &Sizes, roles: &mut Vec<Role>) {
    if let Some((scale, sure)) = sizes.amps
        && let Some(offset) = size::offset(amps, soc, scale)
    {
        for (amps, number) in amps.iter().zip(0..) {
            let Some(view) = views.get(amps.view) else { continue };
            let sign = amps.slope.signum();
            let field = amps.run.field(view.bytes(), sign * scale, sign * offset);
            roles.push(view.role(Slot::of(number, Quantity::Current), field, sure * amps.together));
        }
    }
    if let Some((scale, sure)) = sizes.soc {
        for (soc, number) in soc.unwrap_or(&[]).iter().zip(0..) {
            let Some(view) = views.get(soc.view) else { continue };
            let field = soc.run.field(view.bytes(), scale, 0.0);
            roles.push(view.role(Slot::of(number, Quantity::ReportedSoc), field, sure * soc.together));
        }
    }
}

/// The packs that these cells make, and how well it fits.
fn bank(views: &[View], cells: &[Cell]) -> Option<(f64, Packs)> {
    let mut taken = Taken::default();
    for cell in cells {
        taken.add(cell.view, cell.run.mask(views.get(cell.view).map_or(0, View::bytes)));
    }
    let volts = volts::find(views, cells, &taken);
    packs::divide(views, cells, &volts)
}

fn of_pack(views: &[View], pack: &Pack, number: u8, roles: &mut Vec<Role>) {
    for (cell, index) in pack.cells.iter().zip(0..) {
        let Some(view) = views.get(cell.view) else { continue };
        let field = cell.run.field(view.bytes(), cell.usual.scale, cell.usual.offset);
        roles.push(view.role(Slot::at(number, Quantity::CellVoltage, index), field, cell.together));
    }
    if let Some(volts) = &pack.volts
        && let Some(view) = views.get(volts.view)
    {
        let field = volts.run.field(view.bytes(), volts.usual.scale, volts.usual.offset);
        roles.push(view.role(Slot::of(number, Quantity::PackVoltage), field, volts.together));
    }
}

impl View<'_> {
    fn role(&self, slot: Slot, field: Field, confidence: f64) -> Role {
        let Key { channel, id, bytes } = self.key;
        let when = self.choice.map(|Choice { run, number }| When { field: run.field(self.bytes(), 1.0, 0.0), number });
        Role { slot, channel, id, bytes, when, field, confidence, evidence: String::new() }
    }
}
