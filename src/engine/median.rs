//! The one median of the engine: of an even number it is the middle between the two in the middle.

/// The median; the values are left in order. None of nothing.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => None,
        n if n % 2 == 1 => values.get(middle).copied(),
        _ => Some((values.get(middle - 1)? + values.get(middle)?) / 2.0),
    }
}

/// The median of at most `N`, without room on the heap; those beyond are left out.
pub(super) fn median_of<const N: usize>(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let mut all = [0.0; N];
    let mut count = 0;
    for (place, value) in all.iter_mut().zip(values) {
        *place = value;
        count += 1;
    }
    median(all.get_mut(..count)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_an_even_number_it_lies_between_the_two_in_the_middle() {
        assert_eq!(median(&mut []), None);
        assert_eq!(median(&mut [3.0]), Some(3.0));
        assert_eq!(median(&mut [60.0, 20.0]), Some(40.0));
        assert_eq!(median_of::<4>([9.0, 1.0, 5.0]), Some(5.0));
    }
}
