//! Statements about unknowns, each uncertain or exact, solved as one problem.
//!
//! Owns weighted linear least squares with exact restraints. Guarantees: what
//! the statements leave open is named, never guessed; the covariance follows
//! from the stated deviations alone. Refuses statements that contradict each
//! other where they are exact.
//!
//! With the statements `A x = b`, weighted by their deviations, and the exact
//! ones `C x = d`: x = x0 + Z y, where C x0 = d and the columns of Z span what C
//! leaves free; y solves the least squares of `A Z y = b − A x0` by singular
//! values. Sources: C. L. Lawson, R. J. Hanson, "Solving Least Squares Problems"
//! (1974), chapter 20; NIST/SEMATECH e-Handbook of Statistical Methods, 2.3.3.2
//! (the same for weighing designs).

use std::fmt;

use nalgebra::{DMatrix, DVector, SymmetricEigen};

/// Share of the largest singular value below which a direction counts as open.
const OPEN: f64 = 1e-10;
/// Share of a unit direction above which an unknown takes part in it.
const PART: f64 = 1e-6;
/// Steps the decompositions may take.
const STEPS: usize = 10_000;

/// A sum of unknowns, each with its factor, has this value.
#[derive(Debug, Clone, PartialEq)]
pub struct Statement {
    /// Index of the unknown and its factor; an index may occur once.
    pub terms: Vec<(usize, f64)>,
    /// What they add up to.
    pub value: f64,
    /// Standard deviation of the value; 0 where it is exact.
    pub sd: f64,
}

/// Unknowns, and what is said of them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct System {
    /// What the unknowns are called.
    pub unknowns: Vec<String>,
    /// What is said of them.
    pub statements: Vec<Statement>,
}

/// Why a system has no solution.
#[derive(Debug, Clone, PartialEq)]
pub enum SystemRefusal {
    /// A number is not finite, a deviation is below zero, or an unknown does
    /// not exist.
    NotUsable {
        /// Position of the statement, from 0.
        statement: usize,
    },
    /// The statements don't determine these.
    Open {
        /// Their names.
        unknowns: Vec<String>,
    },
    /// Exact statements exclude each other.
    Contradiction,
    /// The arithmetic did not come to an end.
    NotSolved,
}

impl fmt::Display for SystemRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotUsable { statement } => {
                write!(f, "statement {} makes no sense", statement + 1)
            }
            Self::Open { unknowns } => {
                write!(f, "nothing determines {}", unknowns.join(", "))
            }
            Self::Contradiction => write!(f, "what is said to be exact excludes itself"),
            Self::NotSolved => write!(f, "the numbers are too far apart to be solved"),
        }
    }
}

impl std::error::Error for SystemRefusal {}

/// The solution of a system.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Each unknown's value.
    pub values: DVector<f64>,
    /// Their covariance, for the deviations as stated.
    pub covariance: DMatrix<f64>,
    /// Value less what the solution makes of it, for each statement.
    pub residuals: Vec<f64>,
    /// Uncertain statements beyond what the unknowns need.
    pub dof: usize,
}

impl Solution {
    /// Standard deviation of an unknown; `None` where there is no such one.
    #[must_use]
    pub fn sd(&self, unknown: usize) -> Option<f64> {
        let variance = self.covariance.get((unknown, unknown))?;
        Some(variance.max(0.0).sqrt())
    }
}

impl System {
    /// Solves it.
    ///
    /// # Errors
    /// [`SystemRefusal`].
    pub fn solve(&self) -> Result<Solution, SystemRefusal> {
        let n = self.unknowns.len();
        if let Some(statement) = self.statements.iter().position(|s| !s.is_usable(n)) {
            return Err(SystemRefusal::NotUsable { statement });
        }
        let (exact, uncertain): (Vec<&Statement>, Vec<&Statement>) =
            self.statements.iter().partition(|s| s.sd == 0.0);
        let scale = self.scale(&uncertain);
        // Columns of one length: what is open does not depend on units.
        let matrix = |list: &[&Statement]| {
            let mut matrix = DMatrix::zeros(list.len(), n);
            for (i, statement) in list.iter().enumerate() {
                let weight = if statement.sd > 0.0 {
                    1.0 / statement.sd
                } else {
                    1.0
                };
                for (j, factor) in &statement.terms {
                    matrix[(i, *j)] += factor * weight * scale[*j];
                }
            }
            matrix
        };
        let (start, free) = restrained(&matrix(&exact), &exact)?;
        let a = matrix(&uncertain);
        let said = uncertain.iter().map(|s| s.value / s.sd);
        let rest = DVector::from_iterator(uncertain.len(), said) - &a * &start;
        let (scaled, covariance) = self.fitted(&(&a * &free), &rest, &free)?;
        let values = (start + scaled).component_mul(&scale);
        let covariance = DMatrix::from_fn(n, n, |i, j| covariance[(i, j)] * scale[i] * scale[j]);
        let residuals = self.statements.iter().map(|s| s.value - s.of(&values));
        Ok(Solution {
            residuals: residuals.collect(),
            dof: uncertain.len().saturating_sub(free.ncols()),
            values,
            covariance,
        })
    }

    /// What each unknown is multiplied by, so that all columns are as long.
    fn scale(&self, uncertain: &[&Statement]) -> DVector<f64> {
        let mut squares = vec![0.0; self.unknowns.len()];
        for statement in uncertain {
            for (j, factor) in &statement.terms {
                squares[*j] += (factor / statement.sd).powi(2);
            }
        }
        let inverse = |square: f64| {
            let scale = 1.0 / square.sqrt();
            if scale.is_normal() { scale } else { 1.0 }
        };
        DVector::from_iterator(squares.len(), squares.into_iter().map(inverse))
    }

    /// The least squares of `a y = rest`, as the part `free · y` of the unknowns
    /// and its covariance.
    fn fitted(
        &self,
        a: &DMatrix<f64>,
        rest: &DVector<f64>,
        free: &DMatrix<f64>,
    ) -> Result<(DVector<f64>, DMatrix<f64>), SystemRefusal> {
        let n = self.unknowns.len();
        if free.ncols() == 0 {
            return Ok((DVector::zeros(n), DMatrix::zeros(n, n)));
        }
        // Rows of zeros keep a short system's open directions in the result.
        let rows = a.nrows().max(a.ncols());
        let tall = a.clone().resize_vertically(rows, 0.0);
        let svd = tall
            .try_svd(true, true, f64::EPSILON, STEPS)
            .ok_or(SystemRefusal::NotSolved)?;
        let (Some(u), Some(v_t)) = (svd.u, svd.v_t) else {
            return Err(SystemRefusal::NotSolved);
        };
        let least = OPEN * svd.singular_values.max();
        let open: Vec<usize> = (0..svd.singular_values.len())
            .filter(|i| svd.singular_values[*i] <= least)
            .collect();
        if !open.is_empty() {
            return Err(self.open(&open, &(free * v_t.transpose())));
        }
        let long = rest.clone().resize_vertically(rows, 0.0);
        let inverse = svd.singular_values.map(f64::recip);
        let y = v_t.tr_mul(&(u.tr_mul(&long)).component_mul(&inverse));
        let root = free * v_t.transpose() * DMatrix::from_diagonal(&inverse);
        Ok((free * y, &root * root.transpose()))
    }

    /// The unknowns that take part in these directions.
    fn open(&self, open: &[usize], directions: &DMatrix<f64>) -> SystemRefusal {
        let takes_part = |j: &usize| open.iter().any(|i| directions[(*j, *i)].abs() > PART);
        let named = (0..self.unknowns.len()).filter(takes_part);
        SystemRefusal::Open {
            unknowns: named.map(|j| self.unknowns[j].clone()).collect(),
        }
    }
}

impl Statement {
    fn is_usable(&self, unknowns: usize) -> bool {
        self.value.is_finite()
            && self.sd.is_finite()
            && self.sd >= 0.0
            && !self.terms.is_empty()
            && self
                .terms
                .iter()
                .all(|(j, factor)| *j < unknowns && factor.is_finite())
    }

    /// What this sum comes to.
    fn of(&self, values: &DVector<f64>) -> f64 {
        self.terms
            .iter()
            .map(|(j, factor)| factor * values[*j])
            .sum()
    }
}

/// A point that meets the exact statements, and the directions they leave free.
fn restrained(
    c: &DMatrix<f64>,
    exact: &[&Statement],
) -> Result<(DVector<f64>, DMatrix<f64>), SystemRefusal> {
    let n = c.ncols();
    if exact.is_empty() || n == 0 {
        return Ok((DVector::zeros(n), DMatrix::identity(n, n)));
    }
    let wanted = DVector::from_iterator(exact.len(), exact.iter().map(|s| s.value));
    let svd = c
        .clone()
        .try_svd(true, true, f64::EPSILON, STEPS)
        .ok_or(SystemRefusal::NotSolved)?;
    let least = OPEN * svd.singular_values.max();
    let inverse = svd
        .pseudo_inverse(least)
        .map_err(|_| SystemRefusal::NotSolved)?;
    let start = &inverse * &wanted;
    let off = (c * &start - &wanted).amax();
    if off > 1e-9 * (wanted.amax() + c.amax() * start.amax()) {
        return Err(SystemRefusal::Contradiction);
    }
    // The projection on what is free has eigenvalues 0 and 1.
    let projection = DMatrix::identity(n, n) - &inverse * c;
    let symmetric = (&projection + projection.transpose()) * 0.5;
    let eigen =
        SymmetricEigen::try_new(symmetric, f64::EPSILON, STEPS).ok_or(SystemRefusal::NotSolved)?;
    let free: Vec<usize> = (0..n).filter(|i| eigen.eigenvalues[*i] > 0.5).collect();
    Ok((start, eigen.eigenvectors.select_columns(&free)))
}
