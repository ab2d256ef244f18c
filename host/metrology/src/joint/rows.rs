//! Rows of numbers in blocks of eight, and the two inner loops of the solution
//! over them.
//!
//! Whole blocks need no remainders, and a compiler runs their numbers in
//! several lanes at once. A loop that begins within a block changes the
//! numbers before it in the same block as well: a triangle stored this way has
//! no meaning beside its diagonal.

/// Numbers in a block.
pub(super) const BLOCK: usize = 8;
pub(super) type Block = [f64; BLOCK];

/// Rows of one width, each filled up with noughts to whole blocks.
#[derive(Debug, Clone)]
pub(super) struct Rows {
    pub(super) stride: usize,
    pub(super) blocks: Vec<Block>,
}

impl Rows {
    /// Noughts.
    pub(super) fn new(count: usize, width: usize) -> Self {
        let stride = width.div_ceil(BLOCK);
        Self {
            stride,
            blocks: vec![[0.0; BLOCK]; count * stride],
        }
    }

    pub(super) fn row(&self, index: usize) -> &[f64] {
        self.blocks[index * self.stride..(index + 1) * self.stride].as_flattened()
    }

    pub(super) fn row_mut(&mut self, index: usize) -> &mut [f64] {
        self.blocks[index * self.stride..(index + 1) * self.stride].as_flattened_mut()
    }

    /// The rows before one, and that row.
    pub(super) fn with_those_before(&mut self, index: usize) -> (&[Block], &mut [Block]) {
        let (before, from) = self.blocks.split_at_mut(index * self.stride);
        (before, &mut from[..self.stride])
    }

    /// One row, and the rows after it.
    pub(super) fn with_those_after(&mut self, index: usize) -> (&mut [Block], &[Block]) {
        let (to, after) = self.blocks.split_at_mut((index + 1) * self.stride);
        (&mut to[index * self.stride..], after)
    }

    /// Copies the triangle above the diagonal to below it.
    pub(super) fn mirror(&mut self, width: usize) {
        let stride = self.stride * BLOCK;
        let numbers = self.blocks.as_flattened_mut();
        for i in 1..width {
            for j in 0..i {
                numbers[i * stride + j] = numbers[j * stride + i];
            }
        }
    }
}

/// Adds rows of as many blocks as `into` has, each times its factor, to `into`,
/// from the block on that holds place `from`.
pub(super) fn combine(into: &mut [Block], from: usize, rows: &[Block], factors: &[f64]) {
    let stride = into.len();
    let first = from / BLOCK;
    let (pairs, last) = into[first..].as_chunks_mut::<2>();
    let single = first + 2 * pairs.len();
    for (index, pair) in pairs.iter_mut().enumerate() {
        sum_up(pair, first + 2 * index, stride, rows, factors);
    }
    if let [last] = last {
        sum_up(std::array::from_mut(last), single, stride, rows, factors);
    }
}

/// The same for some blocks of `into`, kept at hand meanwhile.
fn sum_up<const N: usize>(
    into: &mut [Block; N],
    index: usize,
    stride: usize,
    rows: &[Block],
    factors: &[f64],
) {
    let mut sums = *into;
    for (row, factor) in rows.chunks_exact(stride).zip(factors) {
        let Some(blocks) = row[index..].first_chunk::<N>() else {
            break;
        };
        for (sum, block) in sums.iter_mut().zip(blocks) {
            for (sum, number) in sum.iter_mut().zip(block) {
                *sum += factor * number;
            }
        }
    }
    *into = sums;
}

pub(super) fn scale(row: &mut [f64], factor: f64) {
    row.iter_mut().for_each(|number| *number *= factor);
}

/// Adds one row times a factor.
pub(super) fn add(into: &mut [f64], factor: f64, row: &[f64]) {
    for (sum, number) in into.iter_mut().zip(row) {
        *sum += factor * number;
    }
}

/// Sum of products, in eight partial sums.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let (a_blocks, a_rest) = a.as_chunks::<BLOCK>();
    let (b_blocks, b_rest) = b.as_chunks::<BLOCK>();
    let mut sums = [0.0; BLOCK];
    for (a, b) in a_blocks.iter().zip(b_blocks) {
        for (sum, (a, b)) in sums.iter_mut().zip(a.iter().zip(b)) {
            *sum += a * b;
        }
    }
    let rest: f64 = a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum();
    let [a, b, c, d, e, f, g, h] = sums;
    ((a + e) + (b + f)) + ((c + g) + (d + h)) + rest
}
