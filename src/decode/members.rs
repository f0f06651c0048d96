//! Which number of a standard is which pack.
//!
//! RV-C: one DC source is the bank, the first that is heard but never chassis (2) or generator start (4); the house
//! bank (1) goes before any other. Its batteries 1 to 16 are packs 1 to 16. A source of which no battery is heard, or
//! battery 1 alone, is pack 1; one with other batteries is the whole bank. IEC 61162-3 does not say which batteries
//! are in parallel: without a bank file the lowest instance is pack 1 and others, such as a starter battery, are not
//! read; a bank file says which instance is which pack, or has several packs and so instance 0 as pack 1 and so on.

use super::reader::Choice;
use super::standard::{Group, Of, Part};
use crate::model::{MAX_CELLS, MAX_PACKS};
use serde::{Deserialize, Serialize};

/// The house bank's DC source.
const HOUSE: u8 = 1;
/// DC sources that are no house banks: chassis, generator start.
const NO_HOUSE: [u8; 2] = [2, 4];

/// Where the values of a message belong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Where {
    /// To a pack, its cells counted on from `cells`.
    Pack { pack: u8, cells: u8 },
    /// To the whole bank.
    Bank,
    /// To nothing that is read.
    Nowhere,
}

/// Which battery instance of IEC 61162-3 each pack of the bank file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Instances([u8; MAX_PACKS]);

/// No instance.
const NONE: u8 = u8::MAX;

impl Default for Instances {
    fn default() -> Self {
        Self([NONE; MAX_PACKS])
    }
}

impl Instances {
    /// From the instances of the packs in their order.
    pub(super) fn of(told: &[u8]) -> Self {
        let mut all = Self::default();
        all.0.iter_mut().zip(told).for_each(|(instance, told)| *instance = *told);
        all
    }

    /// Whether they are said.
    pub(super) fn are_told(&self) -> bool {
        *self != Self::default()
    }

    /// The pack that an instance is.
    fn pack(&self, instance: u8) -> Option<u8> {
        let at = self.0.iter().position(|one| *one == instance && *one != NONE);
        at.map(|at| at as u8)
    }

    /// The instance that a pack is: as it is said, or else the number of the pack from 0.
    pub(super) fn instance(&self, pack: u8) -> u8 {
        self.0.get(usize::from(pack)).copied().filter(|one| *one != NONE).unwrap_or(pack)
    }
}

/// What has been heard of an interface's numbers.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Members {
    /// RV-C: the DC source that is the bank.
    source: Option<u8>,
    /// RV-C: battery n, a bit each, belongs to another DC source.
    foreign: u16,
    /// Packs that were heard, a bit each: of RV-C the batteries of the bank.
    batteries: u16,
    /// RV-C: cells of a module, by pack; 0 where not told.
    modules: [u8; MAX_PACKS],
    /// IEC 61162-3: the lowest instance.
    lowest: Option<u8>,
    /// Numbers that were heard and are not read: DC sources, or instances; the first sixteen.
    passed_over: Vec<u8>,
    /// A cell of a later module came, and how many cells a module has did not.
    module_unknown: bool,
}

impl Members {
    /// Where a message belongs.
    pub(super) fn place(&mut self, group: &Group, data: &[u8], choice: Choice) -> Where {
        let byte = |at: usize| data.get(at).copied().unwrap_or(u8::MAX);
        let found = match group.of {
            Of::Source => self.source(byte(0)),
            Of::Battery => self.battery(byte(0), Some(byte(1))),
            Of::Cell => self.battery(byte(0), None),
            Of::Instance => self.instance(byte(if group.fast && group.group == 0x1_F212 { 1 } else { 0 }), choice),
        };
        match (found, group.part) {
            (Where::Pack { pack, .. }, Some(Part::Modules)) => self.learn_modules(pack, byte(4)),
            (Where::Pack { pack, .. }, Some(Part::Cell)) => return self.in_module(pack, byte(1)),
            _ => {}
        }
        found
    }

    fn source(&mut self, number: u8) -> Where {
        if !self.is_bank(number) {
            self.pass_over(number);
            return Where::Nowhere;
        }
        if self.batteries & !1 == 0 { Where::Pack { pack: 0, cells: 0 } } else { Where::Bank }
    }

    /// Whether a DC source is the bank; the first that may be is taken.
    fn is_bank(&mut self, number: u8) -> bool {
        if !(1..=250).contains(&number) || NO_HOUSE.contains(&number) {
            return false;
        }
        if let Some(before) = self.source.filter(|known| *known != number && number == HOUSE) {
            self.pass_over(before);
            self.source = Some(HOUSE);
            self.batteries = 0;
        }
        *self.source.get_or_insert(number) == number
    }

    fn battery(&mut self, number: u8, source: Option<u8>) -> Where {
        let pack = number.wrapping_sub(1);
        if usize::from(pack) >= MAX_PACKS {
            return Where::Nowhere;
        }
        let bit = 1_u16 << pack;
        if let Some(source) = source.filter(|source| (1..=250).contains(source)) {
            let ours = self.is_bank(source);
            self.foreign = if ours { self.foreign & !bit } else { self.foreign | bit };
            if !ours {
                self.pass_over(source);
            }
        }
        if self.foreign & bit > 0 {
            return Where::Nowhere;
        }
        self.batteries |= bit;
        Where::Pack { pack, cells: 0 }
    }

    fn learn_modules(&mut self, pack: u8, cells: u8) {
        if let Some(known) = self.modules.get_mut(usize::from(pack)).filter(|_| (1..=MAX_CELLS as u8).contains(&cells))
        {
            *known = cells;
        }
    }

    /// A cell of a module: those of earlier modules come before it.
    fn in_module(&mut self, pack: u8, module: u8) -> Where {
        let cells = self.modules.get(usize::from(pack)).copied().unwrap_or(0);
        let before = module.checked_sub(1).and_then(|before| before.checked_mul(cells));
        match before {
            Some(_) if module > 1 && cells == 0 => {
                self.module_unknown = true;
                Where::Nowhere
            }
            Some(before) if usize::from(before) < MAX_CELLS => Where::Pack { pack, cells: before },
            _ => Where::Nowhere,
        }
    }

    fn instance(&mut self, number: u8, choice: Choice) -> Where {
        if number > 252 {
            return Where::Nowhere;
        }
        let several = choice.packs.filter(|packs| *packs > 1);
        let pack = match several {
            _ if choice.instances.are_told() => choice.instances.pack(number),
            Some(packs) => Some(number).filter(|number| usize::from(*number) < packs.min(MAX_PACKS)),
            None => {
                if let Some(before) = self.lowest.filter(|lowest| number < *lowest) {
                    self.pass_over(before);
                    self.lowest = Some(number);
                }
                (*self.lowest.get_or_insert(number) == number).then_some(0)
            }
        };
        let Some(pack) = pack else {
            self.pass_over(number);
            return Where::Nowhere;
        };
        self.batteries |= 1_u16.checked_shl(u32::from(pack)).unwrap_or(0);
        Where::Pack { pack, cells: 0 }
    }

    fn pass_over(&mut self, number: u8) {
        if self.passed_over.len() < MAX_PACKS
            && (1..=250).contains(&number) | (number == 0)
            && let Err(at) = self.passed_over.binary_search(&number)
        {
            self.passed_over.insert(at, number);
        }
    }

    /// Number that is read as the bank: the DC source, or the lowest instance.
    pub(super) fn read(&self) -> Option<u8> {
        self.source.or(self.lowest)
    }

    /// Whether something of a pack was heard.
    pub(super) fn has(&self, pack: u8) -> bool {
        self.batteries & 1_u16.checked_shl(u32::from(pack)).unwrap_or(0) > 0
    }

    /// Numbers that were heard and are not read.
    pub(super) fn passed_over(&self) -> &[u8] {
        &self.passed_over
    }

    /// Whether cells of later modules came of which nobody can say which they are.
    pub(super) fn module_unknown(&self) -> bool {
        self.module_unknown
    }

    /// Whether a state from elsewhere is no larger than it can be.
    pub(super) fn is_in_bounds(&self) -> bool {
        self.passed_over.len() <= MAX_PACKS
    }
}
