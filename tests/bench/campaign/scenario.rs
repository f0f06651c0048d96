//! A drawn bank as the text of a scenario.

use super::draw::{Drawing, Plan};
use super::faults::{Needs, Unit};
use super::life::{self, Life};
use std::fmt::Write;

impl Drawing {
    /// The plan with its scenario.
    pub(super) fn finish(mut self) -> Plan {
        let lives = life::text(self.life, &self.scale, &mut self.dice);
        let near = self.plan.about.clone();
        if near == "one overnight hold" {
            self.weather.1 = 2.0;
        }
        if self.life == Life::Deep {
            self.soc = 0.30;
        }
        let mut text = format!(
            "about = \"{near}\"\nstart = \"2026-03-01T00:00:00Z\"\ndays = {:.3}\nsample = {}\n\
             weather = {{ mean = {:.2}, swing = {:.2}, differs = {:.1}, clouds = 0.5 }}\n",
            self.plan.days, self.plan.sample, self.weather.0, self.weather.1, self.weather.2
        );
        if self.plan.packs > 1 {
            let _ = writeln!(text, "joint = {{ link_milliohm = {:.3}, diagonal = true }}", self.dice.from(0.02, 0.10));
        }
        text += &lives;
        let n = f64::from(self.plan.cells);
        // a bank that follows the air within two hours is no measure of a sensor in the air: that one is well wrapped
        let wrapped = if self.plan.faults.iter().any(|fault| fault.kind.name == "sensor-in-air") { 0.3 } else { 1.0 };
        self.plan.loss = wrapped * 1.5 * (n / 4.0) * (self.plan.capacity / 100.0).powf(0.7);
        for pack in 0..self.plan.packs {
            self.pack(&mut text, pack, near == "balancing at work");
        }
        let loss = self.dice.from(250.0, 3000.0);
        if self.dice.chance(0.5) {
            let _ = writeln!(text, "[[fault]]\nkind = \"frames-lost\"\nsize = {loss:.0}");
        }
        for fault in &self.plan.faults {
            if matches!(fault.kind.needs, Needs::Weather | Needs::Weak) {
                continue;
            }
            let mut minute = fault.from / 60.0;
            loop {
                let _ = writeln!(
                    text,
                    "[[fault]]\nkind = \"{}\"\npack = {}\npart = {}\nfrom_minute = {minute:.1}\nsize = {:.5}",
                    fault.kind.name,
                    fault.pack + 1,
                    fault.part + 1,
                    fault.size
                );
                if fault.kind.needs != Needs::OnAndOff {
                    break;
                }
                // some minutes on, most of an hour off, so that the bank is not emptied by it
                let _ = writeln!(text, "to_minute = {:.1}", minute + 7.0);
                minute += 61.0;
                if minute >= self.plan.days * 1440.0 {
                    break;
                }
            }
        }
        self.plan.text = text;
        self.plan
    }

    fn pack(&mut self, text: &mut String, pack: u8, balancing: bool) {
        let (plan, four) = (&self.plan, self.scale.four);
        let capacity = plan.capacity;
        let _ = writeln!(
            text,
            "[[pack]]\ncells = {}\ncapacity = {capacity}\nsoc = {:.3}\nloss = {:.3}\n\
             sensors = [{{ role = \"cell\", cell = 1 }}, {{ role = \"cell\", cell = 2 }}, {{ role = \"case\", cell = 3 }}]\n\
             label = {{ charge = {:.1}, discharge = {capacity}, weakest = {:.1}, absorption = {:.3}, float = {:.3} }}",
            plan.cells,
            self.soc,
            plan.loss,
            0.5 * capacity,
            1.2 * capacity,
            14.4 * four,
            13.8 * four
        );
        let skew = if self.dice.chance(0.3) { self.dice.from(0.0, 0.5).min(0.5 * plan.sample) } else { 0.0 };
        let _ = writeln!(
            text,
            "meter = {{ bms_talks = {}, cell_step = {}, cell_noise = {:.5}, current_step = {}, current_noise = {:.4}, \
             current_offset = {:.3}, temperature_step = {}, cells_earlier = {skew:.2} }}",
            plan.cells_told,
            plan.steps.0,
            plan.noise.0,
            plan.steps.1,
            plan.noise.1,
            plan.offset,
            self.dice.pick(&[0.1, 0.5, 1.0])
        );
        let dead = plan.faults.iter().find(|fault| fault.kind.needs == Needs::Imbalance && fault.pack == pack);
        if let Some(fault) = dead {
            let _ = writeln!(text, "cell = [{{ number = {}, behind = -0.005 }}]", fault.part + 1);
            let _ = writeln!(
                text,
                "balance = {{ kind = \"bleed-highest\", amps = {:.3}, threshold = 3.40 }}",
                0.0012 * capacity
            );
        } else if let Some(fault) = plan.faults.iter().find(|one| one.kind.needs == Needs::Bleeding && one.pack == pack)
        {
            let _ = writeln!(text, "cell = [{{ number = {}, behind = -0.01 }}]", fault.part + 1);
        } else if plan.faults.iter().any(|one| one.kind.unit == Unit::OfRun && one.pack == pack) {
            // a small balancer that works at the very top only: it does not bleed from the others what the cell loses
            let _ = writeln!(
                text,
                "balance = {{ kind = \"bleed-highest\", amps = {:.3}, threshold = 3.60 }}",
                0.0001 * capacity
            );
        } else if balancing {
            let _ = writeln!(text, "cell = [{{ number = 2, behind = -0.009 }}]");
            let _ = writeln!(
                text,
                "balance = {{ kind = \"bleed-highest\", amps = {:.3}, threshold = 3.40 }}",
                0.0006 * capacity
            );
        }
        if plan.faults.iter().any(|one| matches!(one.kind.name, "absorption-high" | "equalise")) {
            // a BMS that is set wide: another would end the charge before the charger shows what it holds
            let _ = writeln!(text, "bms = {{ over_volts = 3.95 }}");
        }
        if self.heater {
            let _ = writeln!(text, "heater = {{ watts = {:.1}, on_below = 5, off_above = 10 }}", 40.0 * self.plan.loss);
        }
    }
}
