//! `balance-lead-fault`: a lead by which the BMS reads a cell is open, shared, swapped or has resistance: the reading is
//! wrong, the cell may be well, and the BMS may be blind.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::leads::shared_pair;
use crate::engine::view::LeadFault;
use crate::model::Change;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::LimitId;

const OPEN: u8 = 0;
const SWAPPED: u8 = 1;
const SHARED: u8 = 2;
const OFFSET: u8 = 3;
const RESISTIVE: u8 = 4;

pub(super) const RULE: Rule = Rule {
    code: "balance-lead-fault",
    title: "a balance lead does not show its cell",
    safety: false,
    remembered: true,
    ends_with: &[Change::CellsReplaced, Change::ConnectionsChanged],
    caution: "While it stands, the voltages of these cells are not to be relied on, neither for 'well' nor for 'too low'. The \
              BMS may not see a cell that is charged too high. Leads carry the full voltage of the cells: leave a sealed \
              pack to its maker.",
    source: "signature (constant at all currents and charges): Zheng 2013, J. Power Sources 226:33; an open lead by the sum \
             of the pair: reasoned from the circuit; the limits: judgement of this project",
    page: include_str!("../../../docs/conditions/balance-lead-fault.md"),
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let (pack, view) = (bench.pack.number, bench.view);
    if view.cells.is_empty() {
        court.end(|subject| subject.pack == Some(pack));
        return court.not_judged(Why::NoCellVoltages);
    }
    court.judged();
    let lead = view.lead_faults(bench.limits);
    let shared = shared_pair(view, bench.limits);
    for (index, cell) in view.cells.iter().enumerate() {
        let kinds = Kinds {
            gross: lead.filter(|(at, _)| *at == cell.cell).map(|(_, fault)| fault),
            shared: shared.filter(|(at, _)| *at == index).map(|(_, volts)| volts),
            offset: view.capacity.and_then(|c| bench.pack.estimates.leads.offset(index, c, bench.limits)),
            resistive: bench.pack.estimates.leads.resistive(index),
        };
        if court.has_cases() || kinds.any() {
            judge_cell(bench, court, index, &kinds);
        }
    }
}

/// What a cell's lead may have; of two neighbours the lower one speaks.
struct Kinds {
    gross: Option<LeadFault>,
    shared: Option<f64>,
    offset: Option<f64>,
    resistive: Option<f64>,
}

impl Kinds {
    fn any(&self) -> bool {
        self.gross.is_some() || self.shared.is_some() || self.offset.is_some() || self.resistive.is_some()
    }
}

fn judge_cell(bench: &Bench, court: &mut Court, index: usize, kinds: &Kinds) {
    let Some(cell) = bench.view.cells.get(index) else { return };
    let subject = Subject::cell(bench.pack.number, cell.cell);
    let constant = kinds.offset.is_some() || kinds.resistive.is_some();
    let signs = [
        Sign::new(Severity::Notice, constant, constant),
        Sign::new(Severity::Notice, kinds.shared.is_some(), kinds.shared.is_some())
            .held(bench.limits.get(LimitId::LeadSharedMinutes) * 60.0)
            .read(2, cell.count, 1),
        Sign::new(Severity::Warning, kinds.gross.is_some(), kinds.gross.is_some()).read(2, cell.count, 1),
    ];
    let kind = match kinds {
        Kinds { gross: Some(LeadFault::Open), .. } => OPEN,
        Kinds { gross: Some(LeadFault::Swapped), .. } => SWAPPED,
        Kinds { offset: Some(_), .. } => OFFSET,
        Kinds { resistive: Some(_), .. } => RESISTIVE,
        _ => SHARED,
    };
    let off = kinds.offset.or(kinds.resistive).or(kinds.shared);
    let off = off.or_else(|| bench.view.median.map(|median| cell.volts - median)).unwrap_or_default();
    // One sign a severity: of the two notices the one that is met speaks.
    let notice = if constant { signs[0] } else { signs[1] };
    let facts = [(Fact::OffMillivolts, off * 1e3), (Fact::ReadVolts, cell.volts)];
    court.say(subject, &[notice, signs[2]], &facts);
    if kinds.any() {
        court.kind(subject, kind);
    }
}

fn tell(told: &Told) -> Story {
    let off = told.evidence.get(Fact::OffMillivolts).unwrap_or_default();
    let cell = capital(told.subject);
    let next = told.subject.cell.map_or(0, |cell| cell + 2);
    let text = match told.kind {
        OPEN => format!(
            "{cell} and its neighbour read {:.0} mV apart from the others, one up as far as the other down: their common \
             balance lead looks open. The BMS may be blind here.",
            off.abs()
        ),
        SWAPPED => format!(
            "{cell} reads about twice a cell's voltage and its neighbour none or less than none: two balance leads look \
             swapped. The BMS may be blind here."
        ),
        OFFSET => format!(
            "{cell} reads {:.0} mV {} than the others whatever the current and the charge: its balance lead or its \
             measurement is off, not the cell.",
            off.abs(),
            if off > 0.0 { "more" } else { "less" }
        ),
        RESISTIVE => format!(
            "{cell} and cell {next} move {:.0} mV against each other whenever balancing goes on or off: their common \
             balance lead has resistance.",
            off.abs()
        ),
        _ => format!(
            "{cell} and cell {next} are off by as much up as down, {:.0} mV each: their common balance lead makes poor \
             contact.",
            off.abs()
        ),
    };
    let what_to_do = match told.kind {
        OPEN | SWAPPED => {
            "Stop charging until the leads are put right; a cell that is not seen can be charged too high. Have the \
             connector and the leads of these cells looked at by a qualified person, with the bank isolated."
        }
        _ => {
            "Have the connector and the lead looked at when convenient, with the bank isolated. Compare the reading with a \
             voltmeter at the cell before anything else is concluded from it."
        }
    };
    Story { text, what_to_do: what_to_do.into() }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};
    use crate::model::Quantity;

    /// A day between 90 and 40 % and a hold at the top; `off` is added to what is read.
    fn cycled(off: impl Fn(f64) -> [f64; 4]) -> Story {
        let mut story = Story::new(four_cells());
        story.run(0.0, 8.0 * 3600.0, 5.0, |t, bus| {
            let hour = t / 3600.0;
            let (base, amps) = match hour {
                h if h < 1.0 => (3.45, 3.0),
                h if h < 4.0 => (3.31 - 0.01 * h, -15.0),
                h if h < 7.0 => (3.33 + 0.01 * (h - 4.0), 15.0),
                _ => (3.32, -3.0),
            };
            let mut volts = off(t);
            volts.iter_mut().for_each(|v| *v += base + 0.0005 * (t * 0.3).sin());
            bus.cells(&volts);
            bus.current(amps);
        });
        story
    }

    #[test]
    fn a_constant_offset_is_a_notice_of_the_lead_and_not_of_the_cell() {
        let story = cycled(|_| [0.0, 0.0, 0.025, 0.0]);
        let lines = story.found_of("balance-lead-fault");
        assert_eq!(lines.len(), 1, "{:?}", story.findings());
        assert!(lines[0].starts_with("balance-lead-fault notice cell 3 of pack 1"), "{lines:?}");
        let text = &story.snapshot().findings.iter().find(|f| f.code == "balance-lead-fault").unwrap().text.clone();
        assert!(text.starts_with("Cell 3 of pack 1 reads 25 mV more than the others"), "{text}");
    }

    #[test]
    fn ten_millivolts_and_what_moves_with_charge_or_current_find_nothing() {
        assert!(cycled(|_| [0.0, 0.0, 0.010, 0.0]).found_of("balance-lead-fault").is_empty());
        let behind = |t: f64| [0.0, 0.0, if t < 3600.0 { -0.2 } else { -0.03 }, 0.0];
        assert!(cycled(behind).found_of("balance-lead-fault").is_empty(), "a cell that is behind shows it in the knee");
        let resistance = |t: f64| {
            let millivolts = match t / 3600.0 {
                h if h < 1.0 => 4.0,
                h if h < 4.0 => -20.0,
                h if h < 7.0 => 20.0,
                _ => -4.0,
            };
            [0.0, 0.0, millivolts * 1e-3, 0.0]
        };
        assert!(cycled(resistance).found_of("balance-lead-fault").is_empty());
    }

    /// Near empty a cell that holds less stands low for a sixth of the capacity, as evenly as a lead would have it; full
    /// again it stands with the others.
    #[test]
    fn what_comes_back_only_near_empty_is_the_cell() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 4.0 * 8.0 * 3600.0, 5.0, |t, bus| {
            let hour = (t / 3600.0) % 8.0;
            let (base, amps) = match hour {
                h if h < 4.0 => (3.31 - 0.01 * h, -20.0),
                h if h < 7.5 => (3.27 + 0.01 * (h - 4.0), 22.0),
                _ => (3.45, 3.0),
            };
            let low = if (3.0..4.9).contains(&hour) { -0.018 } else { 0.0 };
            bus.cells(&[base, base + low, base, base]);
            bus.current(amps);
        });
        assert!(story.found_of("balance-lead-fault").is_empty(), "{:?}", story.findings());
    }

    #[test]
    fn an_open_lead_is_a_warning_and_no_word_is_said_of_the_cells_voltages() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 600.0, 1.0, |_, bus| {
            bus.cells(&[3.3, 1.2, 5.4, 3.3]);
            bus.current(-1.0);
        });
        assert_eq!(story.findings(), ["balance-lead-fault warning cell 2 of pack 1 from 1 s to 600 s, active"]);
        assert!(story.snapshot().findings[0].what_to_do.starts_with("Stop charging until the leads are put right"));
    }

    #[test]
    fn swapped_leads_are_told_from_an_open_one() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 600.0, 1.0, |_, bus| {
            bus.cells(&[6.6, -3.3, 6.6, 3.3]);
            bus.current(-1.0);
        });
        let lines = story.findings();
        assert_eq!(lines, ["balance-lead-fault warning cell 2 of pack 1 from 1 s to 600 s, active"]);
        assert!(story.snapshot().findings[0].text.contains("swapped"));
    }

    #[test]
    fn a_shared_lead_comes_and_goes_and_an_unbalanced_pair_is_none() {
        let told = |volts: [f64; 4], amps: f64| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 900.0, 1.0, |_, bus| {
                bus.cells(&volts);
                bus.current(amps);
            });
            story.found_of("balance-lead-fault")
        };
        assert_eq!(
            told([3.3, 3.33, 3.27, 3.3], -2.0),
            ["balance-lead-fault notice cell 2 of pack 1 from 1 s to 900 s, active"]
        );
        assert!(told([3.3, 3.33, 3.30, 3.3], -2.0).is_empty(), "one cell alone");
        assert!(told([3.3, 3.33, 3.27, 3.3], -20.0).is_empty(), "under load");
        assert!(told([3.5, 3.53, 3.47, 3.5], 2.0).is_empty(), "in the knee");
    }

    /// Cells that rise into the knee one after another stand as far above the others as below them for a moment.
    #[test]
    fn cells_that_pass_by_each_other_for_a_minute_share_no_lead() {
        let judged = |secs: f64| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 600.0, 10.0, |t, bus| {
                let apart = if t < secs { 0.03 } else { 0.0 };
                bus.cells(&[3.35, 3.35 - apart, 3.35 + apart, 3.35]);
                bus.current(1.0);
            });
            let pack = &story.engine.packs[0];
            !pack.estimates.leads.any(&pack.view, &story.engine.limits)
        };
        assert!(judged(60.0), "a minute says nothing");
        assert!(!judged(400.0), "held for minutes, they share one, and nothing that they show counts for a day");
    }

    /// Figures of PyBaMM's cells at rest after a full charge: the third lacks 3 Ah, the fourth was full first.
    #[test]
    fn neighbours_that_fall_apart_after_a_full_charge_share_no_lead() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 1200.0, 10.0, |t, bus| {
            let part = t / 1200.0;
            let fall = |from: f64, to: f64| from + (to - from) * part;
            bus.cells(&[fall(3.3846, 3.3726), fall(3.3751, 3.3664), fall(3.3487, 3.3485), fall(3.3974, 3.3811)]);
            bus.current(-0.4);
        });
        assert_eq!(story.found_of("balance-lead-fault"), [""; 0]);
    }

    #[test]
    fn a_lead_with_resistance_shows_only_while_balancing() {
        let told = |volts: f64| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 7200.0, 2.0, |t, bus| {
                let on = (t / 300.0) as i64 % 2 == 1;
                let off = if on { volts } else { 0.0 };
                bus.cells(&[3.46, 3.46 - off, 3.46 + off, 3.46]);
                bus.current(2.0);
                bus.one(Quantity::Balancing, f64::from(u8::from(on)));
            });
            story.found_of("balance-lead-fault")
        };
        let lines = told(0.05);
        assert_eq!(lines, ["balance-lead-fault notice cell 2 of pack 1 from 901 s to 7199 s, active"]);
        assert!(told(0.01).is_empty());
    }
}
