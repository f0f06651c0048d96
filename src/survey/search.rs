//! The search: the likeliest bank, then its temperatures, which may settle the current's scale; and all that it has,
//! named, with what stays open.

use super::amps::Amps;
use super::bits::Run;
use super::fit;
use super::found::{Found, Known, Open, Role};
use super::heat::{Flow, Heat, Share};
use super::keep::Keep;
use super::likeliest::{LikelyBank, Moved, likeliest_bank};
use super::named::{in_bits_of_their_own, of_current, of_pack, of_sensors};
use super::packs::Packs;
use super::sensors;
use super::size;
use super::twins::Twins;
use super::view::{Row, View, views};
use super::volts::Taken;
use super::warm::{self, Warm};
use crate::model::Quantity;

pub(super) fn find(keep: &Keep, known: &Known) -> Found {
    let row = Row::of(keep.seconds());
    let views = views(keep, row);
    let mut found =
        Found { frames: keep.frames, messages: keep.messages.len(), seconds: keep.seconds(), ..Found::default() };
    let bank = match likeliest_bank(&views, row, known) {
        Ok(bank) => bank,
        Err(why) => return nothing(found, why, LISTEN),
    };
    let LikelyBank { packs, mut taken, moved } = bank;
    found.packs = packs.packs.len() as u8;
    for (pack, number) in packs.packs.iter().zip(0..) {
        of_pack(&views, pack, number, &mut found.roles);
    }
    let mut scales = Vec::new();
    if let Some(moved) = moved {
        for amps in &moved.amps {
            taken.add(amps.view, amps.run.mask(views.get(amps.view).map_or(0, View::bytes)));
        }
        let search = SensorSearch { views: &views, packs: &packs, known, row };
        let mut moved = search.warmed(moved, &taken, &found.roles);
        for soc in moved.soc.iter_mut().flatten() {
            let Some(view) = views.get(soc.view) else { continue };
            soc.with(view, moved.sizes.len.max(soc.run.len));
            taken.add(soc.view, soc.run.mask(view.bytes()));
        }
        scales.clone_from(&moved.sizes.open);
        of_current(&views, &moved, &mut found.roles);
        let sensors = search.sensors(&moved, &taken, &found.roles);
        of_sensors(&views, &sensors, &mut found.roles);
    }
    let wanted = std::mem::take(&mut found.roles);
    let cells = count_cells(&wanted);
    let once: Vec<Role> = wanted.into_iter().filter(|role| !keep.is_elsewhere(role.id, role.channel)).collect();
    if count_cells(&once) < cells {
        let why =
            "the ids of its cells are heard on more than one interface, and a bank file does not tell these apart";
        return nothing(found, why, "Survey each interface alone: of a log, the lines that name it");
    }
    found.roles = in_bits_of_their_own(once);
    if count_cells(&found.roles) < cells {
        return nothing(found, "what moves together stands in the bits of something else", LISTEN);
    }
    say_open(&mut found, &scales, known);
    found
}

/// A bank of which no cell is found, or not every one, is none that a bank file could describe.
fn nothing(found: Found, why: &str, settle: &'static str) -> Found {
    let cells = Open { what: Quantity::CellVoltage, why: why.into(), settle };
    Found { packs: 0, roles: Vec::new(), open: vec![cells], ..found }
}

fn count_cells(roles: &[Role]) -> usize {
    roles.iter().filter(|role| role.slot.quantity == Quantity::CellVoltage).count()
}

/// What temperatures are looked for with.
struct SensorSearch<'a> {
    views: &'a [View<'a>],
    packs: &'a Packs,
    known: &'a Known,
    row: Row,
}

impl SensorSearch<'_> {
    /// The scales, when that of the current is open, with what the temperatures say of its heat.
    fn warmed(&self, moved: Moved, taken: &Taken, roles: &[Role]) -> Moved {
        if moved.sizes.amps.is_some() || moved.sizes.likely.is_none() || self.known.capacity.is_none() {
            return moved;
        }
        match sensors::rise(&self.sensors(&moved, taken, roles)) {
            Some(rise) => Moved { sizes: moved.sizes.with_rise(rise), ..moved },
            None => moved,
        }
    }

    /// The temperatures that go with the heat of the current.
    fn sensors(&self, moved: &Moved, taken: &Taken, roles: &[Role]) -> Vec<Vec<Warm>> {
        let Some(twins) = Twins::of(self.views, &self.packs.packs, self.packs.by_choice) else { return Vec::new() };
        let of_run = |view: usize, run: &Run| Some(warm::Own::of(self.views.get(view)?, run));
        let own = moved.amps.iter().filter_map(|amps| of_run(amps.view, &amps.run));
        let own = own.chain(moved.soc.iter().flatten().filter_map(|soc| of_run(soc.view, &soc.run)));
        let own: Vec<warm::Own> = roles.iter().map(Role::own).chain(own).collect();
        let heats = heats(moved, self.known, self.row);
        let (by_choice, celsius) = (self.packs.by_choice, self.known.celsius);
        sensors::find(self.views, &heats, &warm::Where { taken, own: &own, by_choice, twins: &twins, celsius })
    }
}

/// The heat that each pack's current makes.
fn heats(moved: &Moved, known: &Known, row: Row) -> Vec<Heat> {
    let Moved { amps, sizes, .. } = moved;
    let soc = moved.soc.as_deref();
    let own = sizes.likely.zip(known.capacity).map(|(scale, capacity)| scale / capacity);
    let by_soc = sizes.soc.zip(soc.and_then(|soc| soc.first())).map(|((scale, _), soc)| scale * soc.slope);
    let share = own.or(by_soc);
    let likely = sizes.amps.map(|(scale, _)| scale).or(sizes.likely);
    let zero = likely.and_then(|scale| Some(-size::offset(amps, soc, scale)?.as_is(scale) / scale));
    let zero = zero.or(soc.and_then(|soc| soc.first()).map(|soc| soc.zero)).unwrap_or(0.0);
    let soc = |pack: usize| match (sizes.soc, soc.and_then(|soc| soc.get(pack))) {
        (Some((scale, _)), Some(soc)) => fit::scaled(&soc.counts, scale, 0.0),
        _ => Vec::new(),
    };
    let share = Share { of_capacity: share, is_sure: sizes.amps.is_some() || known.capacity.is_none() };
    let heat = |(pack, amps): (usize, &Amps)| {
        let flow = Flow { counts: &amps.counts, zero, slope: amps.slope };
        Heat::new(&flow, share, &soc(pack), row)
    };
    amps.iter().enumerate().map(heat).collect()
}

/// Names every quantity that was looked for and not found.
fn say_open(found: &mut Found, scales: &[f64], known: &Known) {
    for what in [Quantity::PackVoltage, Quantity::Current, Quantity::ReportedSoc, Quantity::Temperature] {
        if found.roles.iter().any(|role| role.slot.quantity == what) {
            continue;
        }
        let why = if what == Quantity::Current && scales.len() > 1 {
            let list: Vec<String> = scales.iter().map(ToString::to_string).collect();
            format!("a field follows the voltage's steps, but a count may be {} A", list.join(" or "))
        } else {
            "no field fits".into()
        };
        found.open.push(open(what, why, known));
    }
}

/// What would settle which fields are cells.
const LISTEN: &str =
    "Listen for an hour in which loads and a charger go on and off; see that the pack's bus is this one";

/// What would settle a quantity that is open.
fn open(what: Quantity, why: String, known: &Known) -> Open {
    let settle = match what {
        Quantity::CellVoltage => LISTEN,
        Quantity::PackVoltage => "Compare with a meter at the pack's terminals while a load goes on and off",
        Quantity::Current if known.capacity.is_some() => {
            "Switch a load of known power on and off, then the charger, and compare with a clamp meter"
        }
        Quantity::Current => {
            "Give --capacity with the Ah printed on one pack; switch a load of known power on and off, then the charger"
        }
        Quantity::ReportedSoc if known.capacity.is_some() => "Listen until a tenth of the charge has gone out or in",
        Quantity::ReportedSoc => "Give --capacity, and listen until a tenth of the charge has gone out or in",
        _ if known.celsius.is_some() => "Listen while a large load warms the bank by some kelvin; half a day is better",
        _ => {
            "Give --celsius with the temperature around the bank, and listen while a large load warms it by some kelvin"
        }
    };
    Open { what, why, settle }
}
