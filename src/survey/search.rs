//! The search: cells first, then what follows from them.

use super::amps::{self, Amps};
use super::bits::Run;
use super::cells::{self, Cell};
use super::fit;
use super::found::{Found, Known, Open, Role, When};
use super::heat::{Flow, Heat, Share};
use super::keep::{Keep, Key};
use super::packs::{self, Pack, Packs};
use super::sensors;
use super::size::{self, Sizes};
use super::soc::{self, Soc};
use super::twins::Twins;
use super::view::{Choice, Row, View, views};
use super::volts::{self, Taken};
use super::warm::{self, Warm};
use crate::layout::{Field, Order};
use crate::model::{MAX_SENSORS, Quantity, Slot};

pub(super) fn find(keep: &Keep, known: &Known) -> Found {
    let row = Row::of(keep.seconds());
    let views = views(keep, row);
    let mut found =
        Found { frames: keep.frames, messages: keep.messages.len(), seconds: keep.seconds(), ..Found::default() };
    let heard = match heard(&views, row, known) {
        Ok(heard) => heard,
        Err(why) => {
            found.open.push(open(Quantity::CellVoltage, why.into(), known));
            return found;
        }
    };
    let Heard { packs, mut taken, current } = heard;
    found.packs = packs.packs.len() as u8;
    for (pack, number) in packs.packs.iter().zip(0..) {
        of_pack(&views, pack, number, &mut found.roles);
    }
    let mut scales = Vec::new();
    if let Some(sized) = current {
        for amps in &sized.0 {
            taken.add(amps.view, amps.run.mask(views.get(amps.view).map_or(0, View::bytes)));
        }
        let bank = Bank { views: &views, packs: &packs, known, row };
        let (amps, mut soc, sizes) = bank.warmed(sized, &taken, &found.roles);
        for soc in soc.iter_mut().flatten() {
            let Some(view) = views.get(soc.view) else { continue };
            soc.with(view, sizes.len.max(soc.run.len));
            taken.add(soc.view, soc.run.mask(view.bytes()));
        }
        scales.clone_from(&sizes.open);
        of_current(&views, (&amps, soc.as_deref()), &sizes, &mut found.roles);
        let sensors = bank.sensors((&amps, soc.as_deref(), &sizes), &taken, &found.roles);
        of_sensors(&views, &sensors, &mut found.roles);
    }
    found.roles = in_bits_of_their_own(std::mem::take(&mut found.roles));
    say_open(&mut found, &scales, known);
    found
}

/// The roles that stand in bits of their own: none in those by which its own frames are told, and none in those of
/// another of the same frames. A bank file with such a one would be refused; what it was to say stays open.
fn in_bits_of_their_own(roles: Vec<Role>) -> Vec<Role> {
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

/// The packs with what speaks for them.
struct Heard {
    packs: Packs,
    /// Bits of cells and voltages.
    taken: Taken,
    current: Option<Sized>,
}

/// The packs by their changes over minutes, or else by those over longer, and then only with a voltage of each that is
/// the sum of its cells: much that is slow goes alike. What is missing when there are none.
fn heard(views: &[View], row: Row, known: &Known) -> Result<Heard, &'static str> {
    let mut why = "no four fields move together between 2.0 and 3.9 V";
    for lag in [cells::LAG, cells::LONG_LAG] {
        let Some(packs) = likeliest(views, lag) else { continue };
        let taken = taken(views, &packs);
        let mean = cells::mean(packs.packs.iter().map(|pack| &pack.mean[..]));
        let current = current(views, &packs, &taken, (&mean, row), known);
        let is_summed = lag == cells::LAG || packs.packs.iter().all(|pack| pack.volts.is_some());
        if is_summed && is_spoken_for(&packs, current.as_ref()) {
            return Ok(Heard { packs, taken, current });
        }
        // cells for which nothing else speaks are something that happens to read alike
        why = "nothing sums them up, and no current moves them";
    }
    Err(why)
}

/// What the currents and states of charge are, with their scales: of all that it may be, that of which the scales go
/// together best.
type Sized = (Vec<Amps>, Option<Vec<Soc>>, Sizes);

/// How alike the changes of current and voltage are at least when nothing else speaks for the cells.
const ANSWERS: f64 = 0.7;
/// The same of a current that makes the capacity together with a state of charge.
const ANSWERS_WHOLE: f64 = 0.6;
/// The same of a current whose scale is open.
const ANSWERS_ALONE: f64 = 0.85;
/// The same of any current that does not go together with a state of charge, whatever speaks for the cells.
const LEAST_ANSWER: f64 = 0.55;
/// How alike cells and their sum move at least, on average, when no current of a known scale does.
const WITHOUT_CURRENT: f64 = 0.6;
/// Cells with larger counts than this, V, are too easily met by chance for a current alone to speak for them.
const FINE: f64 = 0.002;
/// A state of charge for which less than this speaks is none.
const LEAST_WEIGHT: f64 = 2e-4;
/// How much a current counts for which no state of charge gives the scale.
const ALONE: f64 = 0.02;

fn current(views: &[View], packs: &Packs, taken: &Taken, (mean, row): (&[f32], Row), known: &Known) -> Option<Sized> {
    let twins = Twins::of(views, &packs.packs, packs.by_choice)?;
    let mut best: Option<(f64, Sized)> = None;
    for (score, amps) in amps::find(views, mean, taken, &twins) {
        let mut taken = taken.clone();
        for amps in &amps {
            taken.add(amps.view, amps.run.mask(views.get(amps.view).map_or(0, View::bytes)));
        }
        let (weight, soc, sizes) = sized(views, &amps, soc::find(views, &amps, row, &taken, &twins), (mean, known));
        let weight = weight * score.powi(4);
        let is_sized = sizes.amps.is_some() && sizes.soc.is_some();
        if !is_sized && amps.iter().any(|amps| amps.together < LEAST_ANSWER) {
            continue;
        }
        if best.as_ref().is_none_or(|(most, _)| weight > *most) {
            best = Some((weight, (amps, soc, sizes)));
        }
    }
    best.map(|(_, sized)| sized)
}

/// The state of charge, if any, whose scale goes best with that of the current, and these scales.
fn sized(
    views: &[View],
    amps: &[Amps],
    socs: Vec<Vec<Soc>>,
    (mean, known): (&[f32], &Known),
) -> (f64, Option<Vec<Soc>>, Sizes) {
    let sizes = |soc: Option<&[Soc]>| {
        let first = soc.and_then(|soc| soc.first());
        let lengths = first.and_then(|soc| Some(soc.lengths(views.get(soc.view)?))).unwrap_or_default();
        size::find(&size::Seen { amps, soc, mean, lengths: &lengths }, known)
    };
    let of_each = socs.into_iter().map(|soc| {
        let sizes = sizes(Some(&soc));
        (sizes.weight * soc::LEAST_OFF / soc::off(&soc), soc, sizes)
    });
    match of_each.max_by(|a, b| a.0.total_cmp(&b.0)).filter(|(weight, ..)| *weight > LEAST_WEIGHT) {
        Some((weight, soc, sizes)) => (weight, Some(soc), sizes),
        None => {
            let sizes = sizes(None);
            (ALONE * sizes.weight, None, sizes)
        }
    }
}

/// What temperatures are looked for with.
struct Bank<'a> {
    views: &'a [View<'a>],
    packs: &'a Packs,
    known: &'a Known,
    row: Row,
}

impl Bank<'_> {
    /// The scales, when that of the current is open, with what the temperatures say of its heat.
    fn warmed(&self, (amps, soc, sizes): Sized, taken: &Taken, roles: &[Role]) -> Sized {
        if sizes.amps.is_some() || sizes.likely.is_none() || self.known.capacity.is_none() {
            return (amps, soc, sizes);
        }
        let sensors = self.sensors((&amps, soc.as_deref(), &sizes), taken, roles);
        let sizes = match sensors::rise(&sensors) {
            Some(rise) => sizes.with_rise(rise),
            None => sizes,
        };
        (amps, soc, sizes)
    }

    /// The temperatures that go with the heat of the current.
    fn sensors(
        &self,
        (amps, soc, sizes): (&[Amps], Option<&[Soc]>, &Sizes),
        taken: &Taken,
        roles: &[Role],
    ) -> Vec<Vec<Warm>> {
        let Some(twins) = Twins::of(self.views, &self.packs.packs, self.packs.by_choice) else { return Vec::new() };
        let of_run = |view: usize, run: &Run| Some(warm::Own::of(self.views.get(view)?, run));
        let own = amps.iter().filter_map(|amps| of_run(amps.view, &amps.run));
        let own = own.chain(soc.unwrap_or(&[]).iter().filter_map(|soc| of_run(soc.view, &soc.run)));
        let own: Vec<warm::Own> = roles.iter().map(Role::own).chain(own).collect();
        let heats = heats((amps, soc), sizes, self.known, self.row);
        let (by_choice, celsius) = (self.packs.by_choice, self.known.celsius);
        sensors::find(self.views, &heats, &warm::Where { taken, own: &own, by_choice, twins: &twins, celsius })
    }
}

fn of_sensors(views: &[View], sensors: &[Vec<Warm>], roles: &mut Vec<Role>) {
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

/// The likeliest set of cells by their changes over so many points, divided into packs.
fn likeliest(views: &[View], lag: usize) -> Option<Packs> {
    let mut best: Option<(f64, Packs)> = None;
    for (score, cells) in cells::find(views, lag) {
        let Some((fit, packs)) = bank(views, &cells, lag) else { continue };
        let score = score * (1.0 + fit);
        if best.as_ref().is_none_or(|(most, _)| score > *most) {
            best = Some((score, packs));
        }
    }
    best.map(|(_, packs)| packs)
}

/// Whether a pack's cells and the voltage that sums them up, if there is one, move so much alike that nothing else need
/// speak for them, and not all the same: copies of one number are no cells.
fn is_one_thing(pack: &Pack) -> bool {
    let cells = pack.cells.iter().map(|cell| cell.together).sum::<f64>() / pack.cells.len().max(1) as f64;
    let copies = pack.cells.windows(2).all(|pair| pair[0].volts == pair[1].volts);
    cells > WITHOUT_CURRENT && !copies && pack.volts.as_ref().is_none_or(|volts| volts.together > WITHOUT_CURRENT)
}

/// Whether anything but their likeness speaks for the cells: a voltage that is their sum, or a current that moves them.
fn is_spoken_for(packs: &Packs, current: Option<&Sized>) -> bool {
    if packs.packs.iter().any(|pack| pack.volts.is_some()) {
        let is_sized = current.is_some_and(|(.., sizes)| sizes.amps.is_some());
        return is_sized || packs.packs.iter().all(is_one_thing);
    }
    let Some((amps, _, sizes)) = current else { return false };
    let is_coarse = packs.packs.iter().flat_map(|pack| &pack.cells).any(|cell| cell.usual.scale > FINE);
    let least = match (sizes.amps, sizes.soc) {
        (Some(_), Some(_)) => ANSWERS_WHOLE,
        _ if is_coarse => return false,
        (Some(_), None) => ANSWERS,
        (None, _) => ANSWERS_ALONE,
    };
    amps.iter().all(|amps| amps.together > least)
}

/// What would settle a quantity that is open.
fn open(what: Quantity, why: String, known: &Known) -> Open {
    let settle = match what {
        Quantity::CellVoltage => {
            "Listen for an hour in which loads and a charger go on and off; see that the pack's bus is this one"
        }
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

/// The heat that each pack's current makes.
fn heats((amps, soc): (&[Amps], Option<&[Soc]>), sizes: &Sizes, known: &Known, row: Row) -> Vec<Heat> {
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

fn taken(views: &[View], packs: &Packs) -> Taken {
    let mut taken = Taken::default();
    for pack in &packs.packs {
        let cells = pack.cells.iter().map(|cell| (cell.view, cell.run));
        for (view, run) in cells.chain(pack.volts.iter().map(|volts| (volts.view, volts.run))) {
            taken.add(view, run.mask(views.get(view).map_or(0, View::bytes)));
        }
    }
    for (view, run) in &packs.beyond {
        taken.add(*view, run.mask(views.get(*view).map_or(0, View::bytes)));
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
        for (soc, number) in soc.unwrap_or(&[]).iter().zip(0..) {
            let Some(view) = views.get(soc.view) else { continue };
            let field = soc.run.field(view.bytes(), scale, 0.0);
            roles.push(
                view.role(Slot::of(number, Quantity::ReportedSoc), field, sure * soc.together)
                    .because(format!("follows the current's integral ({:.3} of 1)", soc.together)),
            );
        }
    }
}

/// The packs that these cells make, and how well it fits.
fn bank(views: &[View], cells: &[Cell], lag: usize) -> Option<(f64, Packs)> {
    let mut taken = Taken::default();
    for cell in cells {
        taken.add(cell.view, cell.run.mask(views.get(cell.view).map_or(0, View::bytes)));
    }
    let volts = volts::find(views, cells, &taken, lag);
    packs::divide(views, cells, &volts)
}

fn of_pack(views: &[View], pack: &Pack, number: u8, roles: &mut Vec<Role>) {
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

impl View<'_> {
    fn role(&self, slot: Slot, field: Field, confidence: f64) -> Role {
        let Key { channel, id, bytes } = self.key;
        let when = self.choice.map(|Choice { run, number }| When { field: run.field(self.bytes(), 1.0, 0.0), number });
        Role { slot, channel, id, bytes, when, field, confidence, evidence: String::new() }
    }
}

impl Role {
    fn own(&self) -> warm::Own {
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
