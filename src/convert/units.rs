//! The unit at the end of a heading.

/// Heading without its unit, and the unit: `Cell 1 [mV]`, `Cell 1 (mV)`.
pub(super) fn split(heading: &str) -> (&str, Option<&str>) {
    let heading = heading.trim();
    let brackets = [('[', ']'), ('(', ')')];
    brackets
        .iter()
        .find_map(|(open, close)| {
            let (name, unit) = heading.strip_suffix(*close)?.rsplit_once(*open)?;
            Some((name.trim(), Some(unit.trim())))
        })
        .unwrap_or((heading, None))
}
