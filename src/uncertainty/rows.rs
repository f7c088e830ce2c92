//! The rows of all laps of a projected Jacobian or of projected instruments.
//!
//! Given per lap the few columns it touches itself, and the step means that were taken out of every lap; gives products.
//! A run has parameters of its own, so with many runs nearly every column of a lap is only what the step means put
//! there, the same in all laps. Kept apart, work and memory grow with the laps and not with laps times parameters.

use nalgebra::{DMatrix, DMatrixView, DVector};

/// Rows of one lap: its own columns, less a multiple of what is common to all laps.
#[derive(Debug, Clone)]
pub struct LapRows {
    /// Rows × own columns.
    pub own: DMatrix<f64>,
    /// Parameter of each own column.
    pub parameters: Vec<usize>,
    /// How often the common part is taken off: the square root of the lap's weight.
    pub root: f64,
    /// Rows that the lap does not have; they are 0 in all columns.
    pub missing: Vec<usize>,
}

impl LapRows {
    /// A matrix with a row for each of the lap's, less those it does not have.
    fn own_rows(&self, mut matrix: DMatrix<f64>) -> DMatrix<f64> {
        self.missing.iter().for_each(|row| matrix.row_mut(*row).fill(0.0));
        matrix
    }
}

/// Rows of all laps.
#[derive(Debug, Clone)]
pub struct Rows {
    pub laps: Vec<LapRows>,
    /// Rows of one lap × parameters; no rows when nothing is common.
    pub common: DMatrix<f64>,
    /// Number of parameters.
    pub parameters: usize,
}

impl Rows {
    /// Laps that share nothing.
    pub fn separate(laps: impl Iterator<Item = DMatrix<f64>>, parameters: usize) -> Rows {
        let laps = laps
            .map(|own| LapRows { parameters: (0..own.ncols()).collect(), own, root: 0.0, missing: Vec::new() })
            .collect();
        Rows { laps, common: DMatrix::zeros(0, parameters), parameters }
    }

    /// Rows of a lap, all columns.
    pub fn block(&self, lap: usize) -> DMatrix<f64> {
        let LapRows { own, parameters, root, .. } = &self.laps[lap];
        let mut out = match *root == 0.0 {
            true => DMatrix::zeros(own.nrows(), self.parameters),
            false => &self.common * -*root,
        };
        for (&parameter, values) in parameters.iter().zip(own.column_iter()) {
            let mut column = out.column_mut(parameter);
            column += values;
        }
        self.laps[lap].own_rows(out)
    }

    /// The rows times a matrix, worked out for a lap when asked.
    pub fn times(&self, right: DMatrix<f64>) -> RowsTimes<'_> {
        RowsTimes { rows: self, common: &self.common * &right, right }
    }

    /// Σ over laps of rowsᵀ times what `of` gives for a lap, a matrix of `columns` columns.
    pub fn transposed_times(&self, columns: usize, of: impl Fn(usize) -> DMatrix<f64>) -> DMatrix<f64> {
        let mut out = DMatrix::zeros(self.parameters, columns);
        let mut common = DMatrix::zeros(self.common.nrows(), columns);
        for (g, lap) in self.laps.iter().enumerate() {
            let matrix = of(g);
            let own = lap.own.transpose() * &matrix;
            for (&parameter, values) in lap.parameters.iter().zip(own.row_iter()) {
                let mut row = out.row_mut(parameter);
                row += values;
            }
            if lap.root != 0.0 {
                common += lap.own_rows(matrix) * lap.root;
            }
        }
        out - self.common.transpose() * common
    }

    /// rows_gᵀ v_g for the vector of each lap, parameters × laps.
    pub fn transposed_each(&self, vectors: &[DVector<f64>]) -> DMatrix<f64> {
        let mut roots = DMatrix::zeros(self.common.nrows(), vectors.len());
        for ((lap, vector), mut column) in self.laps.iter().zip(vectors).zip(roots.column_iter_mut()) {
            if lap.root != 0.0 {
                column.copy_from(&(vector * lap.root));
                lap.missing.iter().for_each(|row| column[*row] = 0.0);
            }
        }
        let mut out = self.common.transpose() * roots * -1.0;
        for (g, (lap, vector)) in self.laps.iter().zip(vectors).enumerate() {
            for (&parameter, values) in lap.parameters.iter().zip(lap.own.column_iter()) {
                out[(parameter, g)] += values.dot(vector);
            }
        }
        out
    }

    /// Σ over laps of a factor times the rows; laps are equally long.
    pub fn sum(&self, factor: impl Fn(usize) -> f64) -> DMatrix<f64> {
        let steps = self.laps.first().map_or(0, |l| l.own.nrows());
        let mut out = DMatrix::zeros(steps, self.parameters);
        let mut roots = DVector::zeros(steps);
        for (g, lap) in self.laps.iter().enumerate() {
            let factor = factor(g);
            for (&parameter, values) in lap.parameters.iter().zip(lap.own.column_iter()) {
                out.column_mut(parameter).axpy(factor, &values, 1.0);
            }
            roots.add_scalar_mut(factor * lap.root);
            lap.missing.iter().for_each(|row| roots[*row] -= factor * lap.root);
        }
        for (mut out, common) in
            out.column_iter_mut().zip(self.common.column_iter()).filter(|_| self.common.nrows() > 0)
        {
            out -= common.component_mul(&roots);
        }
        out
    }

    /// Whether every number is finite.
    pub fn is_finite(&self) -> bool {
        self.laps.iter().flat_map(|l| l.own.iter()).chain(&self.common).all(|x| x.is_finite())
    }
}

/// Rows times a matrix.
#[derive(Debug, Clone)]
pub struct RowsTimes<'a> {
    rows: &'a Rows,
    right: DMatrix<f64>,
    common: DMatrix<f64>,
}

impl RowsTimes<'_> {
    /// The product for one lap.
    pub fn block(&self, lap: usize) -> DMatrix<f64> {
        let of_lap = &self.rows.laps[lap];
        let own = &of_lap.own * self.right.select_rows(&of_lap.parameters);
        if of_lap.root == 0.0 { own } else { of_lap.own_rows(own - &self.common * of_lap.root) }
    }
}

/// Upper left corner of a matrix.
pub(super) fn corner(matrix: &DMatrix<f64>, size: usize) -> DMatrixView<'_, f64> {
    matrix.view((0, 0), (size, size))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Three laps of four rows in five parameters; the second has no third row.
    fn rows() -> Rows {
        let missing = |g: usize| if g == 1 { vec![2] } else { Vec::new() };
        let value = |g: usize, i: usize, j: usize| (1 + i + 3 * j + 5 * g) as f64 * 0.1;
        let own = |g: usize| DMatrix::from_fn(4, 2, |i, j| if missing(g).contains(&i) { 0.0 } else { value(g, i, j) });
        Rows {
            laps: (0..3)
                .map(|g| LapRows { own: own(g), parameters: vec![g, 4], root: 1.0 + g as f64, missing: missing(g) })
                .collect(),
            common: DMatrix::from_fn(4, 5, |i, j| 0.3 * i as f64 - 0.2 * j as f64),
            parameters: 5,
        }
    }

    #[test]
    fn products_are_those_of_the_rows_written_out() {
        let rows = rows();
        let right = DMatrix::from_fn(5, 3, |i, j| (i * 3 + j) as f64 - 4.0);
        let times = rows.times(right.clone());
        let vectors: Vec<DVector<f64>> = (0..3).map(|g| DVector::from_fn(4, |i, _| (g + 2 * i) as f64)).collect();
        let each = rows.transposed_each(&vectors);
        let mut product = DMatrix::zeros(5, 3);
        let mut sum = DMatrix::zeros(4, 5);
        for (g, vector) in vectors.iter().enumerate() {
            let block = rows.block(g);
            assert_eq!(block.row(2).amax() == 0.0, g == 1);
            assert!((times.block(g) - &block * &right).amax() < 1e-12);
            assert!((each.column(g) - block.transpose() * vector).amax() < 1e-12);
            product += block.transpose() * &block * &right;
            sum += &block * (g as f64 - 0.5);
        }
        assert!((rows.transposed_times(3, |g| times.block(g)) - product).amax() < 1e-10);
        assert!((rows.sum(|g| g as f64 - 0.5) - sum).amax() < 1e-12);
    }
}
