//! Small sums over rows of numbers in which NaN means that there is none.

/// The middle number; NaN when there is none.
pub(super) fn middle(numbers: &[f32]) -> f64 {
    let mut sorted: Vec<f32> = numbers.iter().copied().filter(|number| !number.is_nan()).collect();
    share(&mut sorted, 0.5)
}

/// The number below which this share of them lies; sorts them. NaN when there is none.
pub(super) fn share(numbers: &mut [f32], share: f64) -> f64 {
    if numbers.is_empty() {
        return f64::NAN;
    }
    let at = ((numbers.len() - 1) as f64 * share) as usize;
    let (_, found, _) = numbers.select_nth_unstable_by(at, f32::total_cmp);
    f64::from(*found)
}

/// A straight line through pairs: slope, level, correlation, deviation of what remains, and number of pairs.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Line {
    pub(super) slope: f64,
    pub(super) level: f64,
    pub(super) together: f64,
    pub(super) rest: f64,
    pub(super) pairs: f64,
}

/// Fits y over x.
pub(super) fn line(pairs: impl Iterator<Item = (f64, f64)>) -> Line {
    let (mut n, mut mx, mut my, mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for (x, y) in pairs.filter(|(x, y)| x.is_finite() && y.is_finite()) {
        n += 1.0;
        let (dx, dy) = (x - mx, y - my);
        mx += dx / n;
        my += dy / n;
        xx += dx * (x - mx);
        yy += dy * (y - my);
        xy += dx * (y - my);
    }
    if n < 8.0 || xx <= 0.0 || yy <= 0.0 {
        return Line { level: my, pairs: n, ..Line::default() };
    }
    let slope = xy / xx;
    let rest = ((yy - slope * xy).max(0.0) / n).sqrt();
    Line { slope, level: my - slope * mx, together: xy / (xx * yy).sqrt(), rest, pairs: n }
}

/// The line through the changes over `lag` points.
pub(super) fn changes(x: &[f32], y: &[f32], lag: usize) -> Line {
    changes_at(x, y, lag, 1)
}

/// The same, looking at one point in `stride`.
pub(super) fn changes_at(x: &[f32], y: &[f32], lag: usize, stride: usize) -> Line {
    let moved = |row: &[f32], at: usize| Some(f64::from(row.get(at + lag)? - row.get(at)?));
    line(
        (0..x.len().min(y.len()).saturating_sub(lag))
            .step_by(stride)
            .filter_map(|at| Some((moved(x, at)?, moved(y, at)?))),
    )
}

/// The line of y over x when what goes with time, its square, and what was there at first and goes again (so much of
/// it remains from one point to the next) is taken from both; one point in `stride`.
pub(super) fn beside_time(x: &[f32], y: &[f32], remains: f64, stride: usize) -> Line {
    let middle = 0.5 * x.len().min(y.len()) as f64;
    let mut sums = [[0.0; 6]; 6];
    let mut n = 0.0;
    for (at, (x, y)) in x.iter().zip(y).enumerate().step_by(stride) {
        if x.is_nan() || y.is_nan() {
            continue;
        }
        n += 1.0;
        let time = at as f64 / middle - 1.0;
        let row = [1.0, time, time * time, remains.powi(at as i32), f64::from(*x), f64::from(*y)];
        for (sums, a) in sums.iter_mut().zip(row) {
            sums.iter_mut().zip(row).for_each(|(sum, b)| *sum += a * b);
        }
    }
    for gone in 0..4 {
        let by = sums[gone];
        let Some(pivot) = by.get(gone).copied().filter(|pivot| *pivot > 1e-9) else { return Line::default() };
        for row in sums.iter_mut().skip(gone + 1) {
            let share = row[gone] / pivot;
            row.iter_mut().zip(by).for_each(|(sum, by)| *sum -= share * by);
        }
    }
    let (xx, xy, yy) = (sums[4][4], sums[4][5], sums[5][5]);
    if n < 8.0 || xx <= 0.0 || yy <= 0.0 {
        return Line { pairs: n, ..Line::default() };
    }
    let rest = ((yy - xy * xy / xx).max(0.0) / n).sqrt();
    Line { slope: xy / xx, level: 0.0, together: xy / (xx * yy).sqrt(), rest, pairs: n }
}

/// Each number of a row by a straight line.
pub(super) fn scaled(row: &[f32], scale: f64, offset: f64) -> Vec<f32> {
    row.iter().map(|number| (f64::from(*number) * scale + offset) as f32).collect()
}
