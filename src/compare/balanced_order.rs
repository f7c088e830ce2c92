//! Orders of riding that balance time and what one run leaves to the next (a warm tyre, a tired rider).
//!
//! Given the number of set-ups and of rounds; gives an order of runs in which every set-up is ridden once a round. It knows no
//! plan and no ride.
//!
//! In a Williams design each set-up follows every other equally often. One rider rides its rows one after the other, so rows are
//! ridden with their mirror images, which takes a steady drift out of every comparison.

/// Rows of a Williams design: one square for an even number of set-ups, two for an odd one.
///
/// The first row is 0, 1, n−1, 2, n−2, …, the others add 1, 2, … to it (mod n); for odd n the rows mirrored are the second
/// square. Source: Williams 1949, Aust. J. Sci. Res. A 2:149, sections 3 and 4 (construction from memory, balance tested).
///
/// ```
/// let four = loopwright::compare::balanced_order::williams(4);
/// assert_eq!(four[0], [0, 1, 3, 2]);
/// assert_eq!(four.len(), 4);
/// assert_eq!(loopwright::compare::balanced_order::williams(5).len(), 10);
/// ```
pub fn williams(setups: usize) -> Vec<Vec<usize>> {
    let place = |i: usize| if i % 2 == 1 { i.div_ceil(2) } else { (setups - i / 2) % setups };
    let first: Vec<usize> = (0..setups).map(place).collect();
    let square: Vec<Vec<usize>> = (0..setups).map(|by| first.iter().map(|s| (s + by) % setups).collect()).collect();
    if setups.is_multiple_of(2) {
        return square;
    }
    let mirrored: Vec<Vec<usize>> = square.iter().map(|row| row.iter().rev().copied().collect()).collect();
    [square, mirrored].concat()
}

/// How often each set-up is ridden right after each other one: `[before][after]`.
pub fn carry_over(order: &[usize], setups: usize) -> Vec<Vec<usize>> {
    let mut counts = vec![vec![0; setups]; setups];
    for pair in order.windows(2) {
        if pair[0] < setups && pair[1] < setups {
            counts[pair[0]][pair[1]] += 1;
        }
    }
    counts
}

/// Largest less smallest number of times that one set-up follows another one.
pub fn carry_over_gap(order: &[usize], setups: usize) -> usize {
    let counts = carry_over(order, setups);
    let of_others = || (0..setups).flat_map(|a| (0..setups).filter(move |b| *b != a).map(move |b| (a, b)));
    let all = || of_others().map(|(a, b)| counts[a][b]);
    all().max().unwrap_or(0) - all().min().unwrap_or(0)
}

/// An order of `rounds` rounds: rows of the design each followed by its mirror image, so that with an even number of rounds a
/// steady drift cancels in every difference. Of the rows not ridden yet the one is taken that leaves carry-over most even; two
/// set-ups give A B B A.
///
/// ```
/// use loopwright::compare::balanced_order::balanced;
/// assert_eq!(balanced(2, 2), [0, 1, 1, 0]);
/// assert_eq!(balanced(4, 2), [0, 1, 3, 2, 2, 3, 1, 0]);
/// ```
pub fn balanced(setups: usize, rounds: usize) -> Vec<usize> {
    if setups < 2 {
        return vec![0; setups * rounds];
    }
    let mut rows = williams(setups);
    let mut order: Vec<usize> = Vec::with_capacity(setups * rounds);
    for round in 0..rounds {
        let next = if round % 2 == 1 {
            order[(round - 1) * setups..].iter().rev().copied().collect()
        } else {
            if rows.is_empty() {
                rows = williams(setups);
            }
            let cost = |row: &Vec<usize>| {
                let pair: Vec<usize> = order.iter().chain(row).copied().chain(row.iter().rev().copied()).collect();
                carry_over_gap(&pair, setups)
            };
            let best = (0..rows.len()).min_by_key(|i| cost(&rows[*i])).unwrap_or(0);
            let row = rows.remove(best);
            // Its mirror image comes next by itself.
            rows.retain(|other| other.iter().rev().ne(row.iter()));
            row
        };
        order.extend::<Vec<usize>>(next);
    }
    order
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::order::drift_left;

    #[test]
    fn in_a_williams_design_each_set_up_follows_each_other_equally_often_and_stands_everywhere() {
        // The two properties that define the design (Williams 1949).
        for n in 2..=12 {
            let rows = williams(n);
            let each = if n % 2 == 0 { 1 } else { 2 };
            let mut follows = vec![vec![0; n]; n];
            let mut stands = vec![vec![0; n]; n];
            for row in &rows {
                for (place, s) in row.iter().enumerate() {
                    stands[place][*s] += 1;
                }
                for (a, counts) in carry_over(row, n).iter().enumerate() {
                    counts.iter().enumerate().for_each(|(b, c)| follows[a][b] += c);
                }
            }
            for a in 0..n {
                assert!((0..n).all(|b| a == b || follows[a][b] == each), "{n}: {follows:?}");
                assert!((0..n).all(|s| stands[a][s] == each), "{n}: {stands:?}");
            }
        }
    }

    #[test]
    fn there_and_back_cancels_a_steady_drift_for_every_pair_and_rides_each_set_up_once_a_round() {
        for n in 2..=9 {
            for rounds in [2, 4, 6] {
                let order = balanced(n, rounds);
                assert_eq!(order.len(), n * rounds);
                for round in order.chunks(n) {
                    let mut sorted = round.to_vec();
                    sorted.sort_unstable();
                    assert_eq!(sorted, (0..n).collect::<Vec<_>>());
                }
                for a in 0..n {
                    for b in (0..n).filter(|b| *b != a) {
                        let label = |s: &usize| {
                            if *s == a {
                                0
                            } else if *s == b {
                                1
                            } else {
                                2
                            }
                        };
                        let labels: Vec<usize> = order.iter().map(label).collect();
                        assert!(drift_left(&labels, 1).abs() < 1e-9, "{n} {rounds} {a} {b}");
                    }
                }
            }
        }
    }

    #[test]
    fn many_rounds_leave_carry_over_more_even_than_the_same_row_again() {
        for n in 3..=8 {
            // A whole design, each row with its mirror image.
            let rounds = if n % 2 == 0 { n } else { 2 * n };
            let there_and_back: Vec<usize> =
                (0..rounds).flat_map(|r| (0..n).map(move |s| if r % 2 == 0 { s } else { n - 1 - s })).collect();
            let (ours, plain) = (carry_over_gap(&balanced(n, rounds), n), carry_over_gap(&there_and_back, n));
            assert!(ours < plain, "{n}: {ours} {plain}");
        }
    }

    #[test]
    fn nothing_to_order_gives_nothing_and_one_set_up_rides_alone() {
        assert!(balanced(0, 3).is_empty() && balanced(3, 0).is_empty());
        assert_eq!(balanced(1, 3), [0, 0, 0]);
    }
}
