//! Ranges: `1..16` in numbers, `Cell{1..16}` in names.

use super::reader::{Reader, Table, whole_of};

/// Names or numbers that a range may make.
const MOST: usize = 512;

/// The numbers of a range, either way round; none when there are too many.
fn range(text: &str) -> Option<Vec<u64>> {
    let (from, to) = text.split_once("..")?;
    let (from, to): (u64, u64) = (from.trim().parse().ok()?, to.trim().parse().ok()?);
    if from.abs_diff(to) >= MOST as u64 {
        return None;
    }
    Some(if from <= to { (from..=to).collect() } else { (to..=from).rev().collect() })
}

/// Every name that a pattern stands for, in order; the last range counts fastest. `{01..16}` keeps its noughts.
pub(super) fn names(pattern: &str) -> Option<Vec<String>> {
    let Some((before, rest)) = pattern.split_once('{') else { return Some(vec![pattern.to_owned()]) };
    let (inside, after) = rest.split_once('}')?;
    let width = inside.split("..").next().filter(|from| from.starts_with('0')).map_or(0, str::len);
    let (numbers, after) = (range(inside)?, names(after)?);
    if numbers.len() * after.len() > MOST {
        return None;
    }
    let name = |number: &u64| after.iter().map(move |end| format!("{before}{number:0width$}{end}")).collect::<Vec<_>>();
    Some(numbers.iter().flat_map(name).collect())
}

/// Raw numbers of a switch in rising order: numbers and ranges, alone or in an array.
pub(super) fn ranges(reader: &mut Reader, table: &Table, key: &str) -> Vec<(u64, u64)> {
    let mut found = Vec::new();
    for value in reader.many(table, key) {
        let pair = whole_of(value.get_ref()).map(|number| (number, number)).or_else(|| {
            let (low, high) = value.get_ref().as_str()?.split_once("..")?;
            Some((low.trim().parse().ok()?, high.trim().parse().ok()?)).filter(|(low, high): &(u64, u64)| low <= high)
        });
        match pair.filter(|_| found.len() < MOST) {
            Some(pair) => found.push(pair),
            None => reader.wrong(key, value, "a whole number, a range such as \"4..6\", or an array of these"),
        }
    }
    found.sort_unstable();
    found
}

/// Numbers of packs, cells or sensors as a person counts them, from 1 to `most`.
pub(super) fn numbers(reader: &mut Reader, table: &Table, key: &str, most: usize) -> Option<Vec<u8>> {
    table.get(key)?;
    let mut found = Vec::new();
    for value in reader.many(table, key) {
        let some = whole_of(value.get_ref()).map(|number| vec![number]);
        let some = some.or_else(|| value.get_ref().as_str().and_then(range)).unwrap_or_default();
        let good = !some.is_empty() && some.iter().all(|number| (1..=most as u64).contains(number));
        if !good || found.len() + some.len() > MOST {
            reader.wrong(
                key,
                value,
                format!("a number from 1 to {most}, a range such as \"1..4\", or an array of these"),
            );
            return None;
        }
        found.extend(some.iter().map(|number| (*number - 1) as u8));
    }
    Some(found)
}
