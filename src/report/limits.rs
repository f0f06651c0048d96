//! The limits in force: number, unit, where it comes from, and which are overridden.

use super::wrap::wrap;
use crate::model::limits::{Limit, Limits};
use serde_json::{Value, json};

/// What the unit C means: beside °C it is easily misread.
const C_RATE: &str =
    "C is current divided by the pack's rated capacity: 0.2 C at 100 Ah is 20 A. It is no temperature.";

/// Every limit whose name begins so, in words; an empty beginning gives all.
#[must_use]
pub fn limits_text(limits: &Limits, begins: &str) -> String {
    let mut out = String::new();
    if limits.in_force().any(|(limit, _)| limit.name.starts_with(begins) && limit.unit.split(' ').any(|w| w == "C")) {
        wrap(&mut out, "", C_RATE);
        out.push('\n');
    }
    let mut condition = "";
    for (limit, value) in limits.in_force().filter(|(limit, _)| limit.name.starts_with(begins)) {
        let (of, _) = limit.name.split_once('.').unwrap_or((limit.name, ""));
        if of != condition {
            let between = if condition.is_empty() { "" } else { "\n" };
            out += &format!("{between}{of}\n");
            condition = of;
        }
        let unit = if limit.unit.is_empty() { String::new() } else { format!(" {}", limit.unit) };
        wrap(&mut out, &format!("  {} = {value}{unit}: ", limit.name), limit.meaning);
        wrap(&mut out, "      from: ", &origin(limit, value));
    }
    out
}

/// The same for programs.
#[must_use]
pub fn limits_json(limits: &Limits) -> String {
    let row = |(limit, value): (&Limit, f64)| {
        json!({
            "name": limit.name,
            "value": value,
            "unit": limit.unit,
            "default": limit.default,
            "bounds": [limit.bounds.0, limit.bounds.1],
            "overridden": value != limit.default,
            "origin": limit.origin.words(),
            "meaning": limit.meaning,
        })
    };
    let rows: Vec<Value> = limits.in_force().map(row).collect();
    let whole = json!({ "schema": super::SCHEMA, "limits": rows });
    serde_json::to_string_pretty(&whole).unwrap_or_else(|_| "{}".into()) + "\n"
}

fn origin(limit: &Limit, value: f64) -> String {
    let origin = limit.origin.words();
    if value == limit.default {
        return origin;
    }
    format!("overridden; the default {} {} is from: {origin}", limit.default, limit.unit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_overridden_limit_says_so_beside_its_default() {
        let mut limits = Limits::default();
        limits.set("cell-overvoltage.notice", 3.75).unwrap();
        let text = limits_text(&limits, "cell-overvoltage.notice");
        assert!(text.starts_with("cell-overvoltage\n  cell-overvoltage.notice = 3.75 V: "), "{text}");
        assert!(text.contains("overridden; the default 3.7 V is from: "), "{text}");
        let all: Value = serde_json::from_str(&limits_json(&limits)).unwrap();
        let overridden = all["limits"].as_array().unwrap().iter().filter(|row| row["overridden"] == true);
        assert_eq!(overridden.count(), 1);
    }
}
