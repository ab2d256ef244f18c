//! The captures' Gram matrices, one a load, in the shape the solution needs.
//!
//! A zero shares captures only with its neighbours, so that of the zeros' own
//! block two diagonals are all there is; and a load was made of some bodies
//! near some zeros, so that most of its matrix is nought. Of the matrices, laid
//! side by side in blocks, those of nothing but noughts are left out.

use nalgebra::{DMatrix, DVectorView};

use super::rows::{BLOCK, Block, Rows, add};

/// How the unknowns are laid out: zeros, then the rest, then the supports of
/// the curve. The rest and the supports together are "the others".
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Shape {
    pub(super) zeros: usize,
    pub(super) rest: usize,
    pub(super) supports: usize,
}

impl Shape {
    pub(super) fn others(&self) -> usize {
        self.rest + self.supports
    }

    pub(super) fn len(&self) -> usize {
        self.zeros + self.others()
    }
}

/// A symmetric matrix in this shape. Its rows have room for one number more,
/// a right side.
#[derive(Debug, Clone)]
pub(super) struct Folded {
    pub(super) shape: Shape,
    /// The zeros' rows over the others.
    pub(super) across: Rows,
    /// The others' rows, from the diagonal on.
    pub(super) others: Rows,
    /// The zeros' diagonal, and what stands beside it.
    pub(super) band: Rows,
}

impl Folded {
    pub(super) fn new(shape: Shape) -> Self {
        let [across, others, band] = Self::sizes(shape);
        Self {
            shape,
            across: Rows::new(across.0, across.1),
            others: Rows::new(others.0, others.1),
            band: Rows::new(band.0, band.1),
        }
    }

    /// Number and width of the rows of each part.
    fn sizes(shape: Shape) -> [(usize, usize); 3] {
        let width = shape.others() + 1;
        [
            (shape.zeros, width),
            (shape.others(), width),
            (2, shape.zeros),
        ]
    }

    fn parts(&self) -> [&[Block]; 3] {
        [&self.across, &self.others, &self.band].map(|part| part.blocks.as_slice())
    }

    fn clear(&mut self) {
        for part in [&mut self.across, &mut self.others, &mut self.band] {
            part.blocks.fill([0.0; BLOCK]);
        }
    }

    /// The place on the diagonal of an unknown.
    pub(super) fn diagonal_mut(&mut self, index: usize) -> &mut f64 {
        match index.checked_sub(self.shape.zeros) {
            Some(other) => &mut self.others.row_mut(other)[other],
            None => &mut self.band.row_mut(0)[index],
        }
    }

    /// Adds `weight` times the square of a row of factors.
    pub(super) fn add_square(&mut self, weight: f64, row: &DVectorView<'_, f64>) {
        let (zeros, others) = row.as_slice().split_at(self.shape.zeros);
        for (zero, factor) in zeros.iter().enumerate() {
            if *factor == 0.0 {
                continue;
            }
            let factor = weight * factor;
            self.band.row_mut(0)[zero] += factor * zeros[zero];
            if let Some(next) = zeros.get(zero + 1) {
                self.band.row_mut(1)[zero] += factor * next;
            }
            add(self.across.row_mut(zero), factor, others);
        }
        for (index, factor) in others.iter().enumerate() {
            if *factor != 0.0 {
                let place = &mut self.others.row_mut(index)[index..];
                add(place, weight * factor, &others[index..]);
            }
        }
    }
}

/// One Gram matrix a load, side by side.
#[derive(Debug, Clone)]
pub(super) struct Grams {
    pub(super) shape: Shape,
    groups: usize,
    /// Where the blocks of each place begin.
    first: Vec<usize>,
    /// Whose each block is.
    of: Vec<usize>,
    blocks: Vec<Block>,
}

impl Grams {
    /// From the rows of all captures, one a column, and the group of each.
    pub(super) fn new(
        shape: Shape,
        rows: &DMatrix<f64>,
        group_of: &[usize],
        groups: usize,
    ) -> Self {
        let mut sum = Folded::new(shape);
        let places = sum.parts().iter().map(|part| part.len()).sum::<usize>();
        let mut found: Vec<(usize, usize, Block)> = Vec::with_capacity(groups * places / 2);
        for group in 0..groups {
            sum.clear();
            for (row, of) in rows.column_iter().zip(group_of) {
                if *of == group {
                    sum.add_square(1.0, &row);
                }
            }
            let mut place = 0;
            for part in sum.parts() {
                for block in part {
                    if block.iter().any(|number| *number != 0.0) {
                        found.push((place, group, *block));
                    }
                    place += 1;
                }
            }
        }
        // From all places of a group to all groups of a place.
        let mut first = vec![0; places + 1];
        found.iter().for_each(|(place, ..)| first[place + 1] += 1);
        for place in 1..first.len() {
            first[place] += first[place - 1];
        }
        let mut next = first.clone();
        let mut of = vec![0; found.len()];
        let mut blocks = vec![[0.0; BLOCK]; found.len()];
        for (place, group, block) in found {
            (of[next[place]], blocks[next[place]]) = (group, block);
            next[place] += 1;
        }
        Self {
            shape,
            groups,
            first,
            of,
            blocks,
        }
    }

    /// The blocks at each place, and whose they are.
    fn places(&self) -> impl Iterator<Item = (&[usize], &[Block])> {
        self.first.windows(2).map(|bounds| {
            let range = bounds[0]..bounds[1];
            (&self.of[range.clone()], &self.blocks[range])
        })
    }

    /// The sum of all, each times its weight.
    pub(super) fn weighted(&self, weights: &[f64]) -> Folded {
        let mut sums = self.places().map(|(of, blocks)| {
            let mut sum = [0.0; BLOCK];
            for (of, block) in of.iter().zip(blocks) {
                let weight = weights[*of];
                for (sum, number) in sum.iter_mut().zip(block) {
                    *sum += weight * number;
                }
            }
            sum
        });
        let mut rows = |(count, width): (usize, usize)| {
            let stride = width.div_ceil(BLOCK);
            let blocks = sums.by_ref().take(count * stride).collect();
            Rows { stride, blocks }
        };
        let [across, others, band] = Folded::sizes(self.shape);
        Folded {
            shape: self.shape,
            across: rows(across),
            others: rows(others),
            band: rows(band),
        }
    }

    /// Sum of products of each with one matrix.
    pub(super) fn against(&self, mut matrix: Folded) -> Vec<f64> {
        // What stands beside the diagonal counts twice.
        for index in 0..self.shape.len() {
            *matrix.diagonal_mut(index) *= 0.5;
        }
        let mut sums = vec![[0.0; BLOCK]; self.groups];
        let mut places = self.places();
        for part in matrix.parts() {
            for (factors, (of, blocks)) in part.iter().zip(places.by_ref()) {
                for (of, block) in of.iter().zip(blocks) {
                    let numbers = block.iter().zip(factors);
                    for (sum, (number, factor)) in sums[*of].iter_mut().zip(numbers) {
                        *sum += number * factor;
                    }
                }
            }
        }
        let whole = |sum: &Block| 2.0 * sum.iter().sum::<f64>();
        sums.iter().map(whole).collect()
    }
}
