//! Which unknown stands where.

use super::gram::Shape;
use super::history::CREEP_S;

/// Where each kind of unknown stands in a row: zeros, bodies, loop, creep,
/// parabola, supports. The solution eliminates them in this order.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Layout {
    pub(super) supports: usize,
    pub(super) bodies: usize,
    pub(super) zeros: usize,
    /// Whether the loop's width is among the unknowns.
    pub(super) with_loop: bool,
    pub(super) with_creep: bool,
}

impl Layout {
    pub(super) fn zero(&self, index: usize) -> usize {
        index
    }

    pub(super) fn body(&self, index: usize) -> usize {
        self.zeros + index
    }

    pub(super) fn width(&self) -> Option<usize> {
        self.with_loop.then_some(self.zeros + self.bodies)
    }

    pub(super) fn creep(&self, index: usize) -> Option<usize> {
        let first = self.zeros + self.bodies + usize::from(self.with_loop);
        self.with_creep.then_some(first + index)
    }

    pub(super) fn parabola(&self, power: usize) -> usize {
        self.first_support() - 2 + power
    }

    pub(super) fn first_support(&self) -> usize {
        self.zeros
            + self.bodies
            + usize::from(self.with_loop)
            + if self.with_creep { CREEP_S.len() } else { 0 }
            + 2
    }

    pub(super) fn len(&self) -> usize {
        self.first_support() + self.supports
    }

    pub(super) fn shape(&self) -> Shape {
        Shape {
            zeros: self.zeros,
            rest: self.first_support() - self.zeros,
            supports: self.supports,
        }
    }
}
