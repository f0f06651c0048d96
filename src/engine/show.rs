//! The engine's state as a [`Snapshot`]: a copy for screens, reports and scripts.

use super::case::Case;
use super::estimate::{cold, which};
use super::pack::Pack;
use super::rule::{Judge, RULES, Told, Why};
use super::{Engine, answer, cause, estimate, verdict};
use crate::model::Estimate;
use crate::model::bank::{PackSpec, SourceKind, SourceState};
use crate::model::finding::{Evidence, Explanation, Fact, Finding, NotJudged, Subject};
use crate::model::limits::LimitId;
use crate::model::snapshot::{CellView, Motion, PackView, Snapshot, SourceView};
use crate::model::{BankEvent, PackDays, Quantity, Slot, Stamp, ranges};
use std::sync::LazyLock;

impl Engine {
    /// The days of every pack.
    #[must_use]
    pub fn days(&self) -> Vec<PackDays> {
        let of_pack = |pack: &Pack| {
            let days = pack.estimates.hours.days(&pack.estimates.charge);
            PackDays { pack: pack.number, has_capacity: pack.view.capacity.is_some(), days }
        };
        self.packs.iter().map(of_pack).collect()
    }

    /// A copy of everything that is known now.
    #[must_use]
    pub fn snapshot(&self) -> Snapshot {
        let mut snapshot = Snapshot {
            now: (self.now != Stamp::MIN).then(|| self.now.plus_nanos(self.offset)),
            bank: self.bank.clone(),
            packs: self.packs.iter().map(|pack| self.show_pack(pack)).collect(),
            sources: self.show_sources(),
            bank_current: self.state.current.shown(self.now, self.limits.get(LimitId::StalePeriods)),
            bank_voltage: self.state.voltage.shown(self.now, self.limits.get(LimitId::StalePeriods)),
            findings: self.findings(),
            not_judged: self.not_judged(),
            estimates: self.packs.iter().flat_map(|pack| self.estimates(pack)).collect(),
            episodes: self.cases.episodes().to_vec(),
            quality: self.quality.show(),
            notes: self.quality.notes().to_vec(),
            events: self.happened(),
            heard: self.heard_slots(),
            buses: Vec::new(), // what the buses speak, the decoder knows
            ..Snapshot::default()
        };
        snapshot.causes = cause::causes(&snapshot.findings);
        // What may be behind a story is told where the story begins, once.
        for (finding, cause) in snapshot.findings.iter_mut().zip(&snapshot.causes) {
            if cause.is_some() {
                finding.explanations.clear();
            }
        }
        snapshot.verdict = verdict::verdict(&snapshot, &self.limits);
        snapshot.answers = answer::answers(&snapshot, &self.limits);
        snapshot
    }

    /// Every measured value that has been heard.
    fn heard_slots(&self) -> Vec<Slot> {
        let of_packs = self.packs.iter().flat_map(|pack| {
            let balancing = pack.balancing.iter().enumerate();
            let balancing =
                balancing.map(|(at, gauge)| (Slot::at(pack.number, Quantity::CellBalancing, at as u8), gauge));
            pack.gauges().chain(balancing)
        });
        let of_bank = [(Quantity::BankCurrent, &self.state.current), (Quantity::BankVoltage, &self.state.voltage)];
        let of_bank = of_bank.map(|(quantity, gauge)| (Slot::of(0, quantity), gauge));
        let first = Quantity::SourceKind as usize;
        let of_sources = self.state.sources.iter().enumerate().flat_map(|(at, gauges)| {
            let slots = Quantity::ALL.iter().skip(first).map(move |quantity| Slot::at(0, *quantity, at as u8));
            slots.zip(gauges)
        });
        let all = of_packs.chain(of_bank).chain(of_sources);
        all.filter(|(_, gauge)| gauge.count() > 0).map(|(slot, _)| slot).collect()
    }

    fn show_pack(&self, pack: &Pack) -> PackView {
        let periods = self.limits.get(LimitId::StalePeriods);
        let shown = |quantity| pack.gauge(quantity).shown(self.now, periods);
        let view = &pack.view;
        let cells = pack.cells.iter().enumerate().map(|(index, gauge)| {
            let voltage = gauge.shown(self.now, periods);
            let delta_mv = voltage.now().zip(view.median).map(|(v, median)| (v - median) * 1000.0);
            let balancing = pack.balancing.get(index).and_then(|gauge| gauge.switch(self.now, periods));
            CellView { voltage, delta_mv, balancing, remark: None }
        });
        PackView {
            cells: cells.collect(),
            sensors: pack.sensors.iter().map(|gauge| gauge.shown(self.now, periods)).collect(),
            median_v: view.median,
            current: shown(Quantity::Current),
            motion: self.motion(pack),
            pack_voltage: shown(Quantity::PackVoltage),
            bus_voltage: shown(Quantity::BusVoltage),
            reported_soc: shown(Quantity::ReportedSoc),
            switches: view.switches,
            fine_now: cold::fine_now(pack, self.spec(pack), &self.limits),
        }
    }

    fn estimates(&self, pack: &Pack) -> Vec<Estimate> {
        let mut rows = estimate::rows(pack, self.spec(pack), self.now, &self.limits);
        for row in &mut rows {
            row.as_of = row.as_of.map(|engine| engine.plus_nanos(self.offset));
        }
        rows.extend(self.stress_rows(pack));
        rows
    }

    /// The pack as described; an empty description when nobody said anything.
    fn spec(&self, pack: &Pack) -> &PackSpec {
        self.spec_of(pack.subject())
    }

    fn spec_of(&self, subject: Subject) -> &PackSpec {
        static NOTHING: LazyLock<PackSpec> = LazyLock::new(PackSpec::default);
        subject.pack.and_then(|pack| self.bank.packs.get(usize::from(pack))).unwrap_or(&NOTHING)
    }

    fn stress_rows(&self, pack: &Pack) -> Vec<Estimate> {
        let as_of = (pack.view.now != Stamp::default()).then(|| pack.view.now.plus_nanos(self.offset));
        let mut rows = pack.estimates.stress.rows(pack, self.spec(pack), &self.limits);
        rows.extend(pack.estimates.habits.rows(pack, self.spec(pack), &self.limits));
        rows.extend(self.state.sharing.rows(pack));
        rows.into_iter().map(|row| Estimate { as_of, ..row }).collect()
    }

    fn motion(&self, pack: &Pack) -> Motion {
        let band = pack.view.dead_band(&self.limits);
        match pack.view.current {
            None => Motion::NotKnown,
            Some(current) if current.amps > band => Motion::Charging,
            Some(current) if current.amps < -band => Motion::Drawing,
            Some(_) => Motion::Resting,
        }
    }

    fn show_sources(&self) -> Vec<SourceView> {
        let periods = self.limits.get(LimitId::StalePeriods);
        let show = |gauges: &[super::Gauge; super::SOURCE_GAUGES]| {
            let code = |at: usize| gauges[at].now(self.now, periods).map(|n| n as u8);
            SourceView {
                kind: code(0).and_then(SourceKind::from_code).unwrap_or_default().word(),
                state: code(1).and_then(SourceState::from_code).unwrap_or_default().word(),
                current: gauges[2].shown(self.now, periods),
                offer: gauges[3].shown(self.now, periods),
            }
        };
        self.state.sources.iter().map(show).collect()
    }

    fn findings(&self) -> Vec<Finding> {
        let standing = self.cases.found().filter_map(|(rule, subject, case)| self.finding(rule, subject, case));
        let ended = self.cases.ended().iter().filter_map(|ended| {
            let found = self.finding(ended.rule, ended.subject, &ended.case)?;
            Some(found_before(found, &ended.by))
        });
        let mut findings: Vec<Finding> = standing.chain(ended).collect();
        findings.sort_by_key(|f| (std::cmp::Reverse(f.severity), !f.active, f.rule, f.subject));
        findings
    }

    fn finding(&self, rule: u16, subject: Subject, case: &Case) -> Option<Finding> {
        let row = RULES.get(usize::from(rule))?;
        let severity = case.worst?;
        let told = Told {
            subject,
            severity,
            active: case.is_active(),
            evidence: &case.evidence,
            kind: case.kind,
            case,
            spec: self.spec_of(subject),
            limits: &self.limits,
        };
        let story = (row.tell)(&told);
        Some(Finding {
            rule,
            code: row.code,
            severity,
            subject,
            first: case.first.wall,
            last: case.last.wall,
            active: case.is_active(),
            acknowledged: case.acknowledged,
            episodes: case.episodes,
            total_secs: case.total_secs,
            evidence: case.evidence.clone(),
            text: story.text,
            what_to_do: story.what_to_do,
            caution: row.caution,
            source: row.source,
            explanations: self.explain(row.code, subject, &case.evidence),
            ended_by: None,
        })
    }

    /// What may be behind a finding about a cell, or about the cell that came to its limit first.
    fn explain(&self, code: &str, subject: Subject, evidence: &Evidence) -> Vec<Explanation> {
        let pack = subject.pack.and_then(|pack| self.packs.get(usize::from(pack)));
        let cell = subject.cell.or_else(|| (evidence.get(Fact::FirstCell)? as u8).checked_sub(1));
        pack.map_or_else(Vec::new, |pack| which::explain(code, pack, cell, &self.limits))
    }

    fn not_judged(&self) -> Vec<NotJudged> {
        let mut list = Vec::new();
        for (rule, row) in RULES.iter().enumerate() {
            let of_packs = self.packs.iter().map(|pack| (pack.subject(), pack.answers.get(rule)));
            let of_bank = [(Subject::BANK, self.answers.get(rule))];
            let answers: Vec<_> = match row.judge {
                Judge::Pack(_) => of_packs.collect(),
                Judge::Bank(_) => of_bank.into_iter().collect(),
            };
            for (subject, answer) in answers {
                if let Some(mut why) = answer.and_then(|answer| answer.words(self.now, &self.limits)) {
                    if answer.and_then(|answer| answer.why) == Some(Why::SomeCellsMissing) {
                        why.push_str(&self.missing_cells(subject).unwrap_or_default());
                    }
                    list.push(NotJudged { code: row.code, why, subject });
                }
            }
        }
        list
    }

    /// ': cells 3–5, 9 of pack 1', as the last tick saw it.
    fn missing_cells(&self, subject: Subject) -> Option<String> {
        let pack = self.packs.get(usize::from(subject.pack?))?;
        let least = self.spec(pack).span.cell.0.map_or(0.0, |volts| volts.get());
        let is_there = |cell: &u8| pack.view.cells.iter().any(|seen| seen.cell == *cell && seen.volts > least);
        let missing: Vec<u8> = (0..pack.view.cells_in_series).filter(|cell| !is_there(cell)).collect();
        let word = match missing.len() {
            0 => return None,
            1 => "cell",
            _ => "cells",
        };
        let cells = ranges(missing.iter().map(|cell| usize::from(*cell) + 1));
        Some(format!(": {word} {cells} of {}", pack.subject()))
    }
}

/// A finding that work on the bank ended, in words that lay it to nothing that is there now.
fn found_before(found: Finding, event: &BankEvent) -> Finding {
    Finding {
        text: format!("Before {event}: {}", found.text),
        what_to_do: "Nothing, unless it comes again.".into(),
        caution: "",
        explanations: Vec::new(),
        ended_by: Some(event.clone()),
        ..found
    }
}
