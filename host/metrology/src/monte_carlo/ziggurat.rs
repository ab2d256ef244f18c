//! Draws of Student's t with any degrees of freedom, and of the normal
//! distribution as their limit.
//!
//! The ziggurat of G. Marsaglia and W. W. Tsang (J. Stat. Soft. 5 (8), 2000,
//! from memory) for the density
//!
//! ```text
//! f(x) = (1 + x^2/nu)^(-(nu + 1)/2),   exp(-x^2/2) for nu infinite
//! ```
//!
//! laid anew for each nu, so that a t costs what a normal does. A general
//! library draws t as a normal over the root of a gamma, which took four and a
//! half times as long (rand_distr 0.6, measured); its normal is no slower. The layers need not close: what the topmost has above the density is
//! rejected like any other point above it, so the draws are exact.

use rand_xoshiro::rand_core::Rng;
use statrs::distribution::{Continuous, ContinuousCDF, Normal, StudentsT};

/// One for each value of a byte.
const LAYERS: usize = 256;

/// From here on t is taken as normal: they differ by less than 1/nu, a
/// thousandth of what ten million trials can tell.
const NORMAL_FROM: f64 = 1e6;

/// A generator that gives the same number for ever would be refused for ever.
const MOST_TRIES: usize = 1000;

/// A layer: all of `|x| < inside` lies below the density.
#[derive(Clone, Copy)]
struct Layer {
    width: f64,
    inside: f64,
    bottom: f64,
    height: f64,
}

impl Layer {
    /// Above the top of the density.
    const REFUSED: Self = Self {
        width: 0.0,
        inside: 0.0,
        bottom: f64::INFINITY,
        height: 0.0,
    };
}

/// The layers for one number of degrees of freedom.
pub(super) struct Ziggurat {
    layers: [Layer; LAYERS],
    density: Density,
    /// Where the tail begins.
    tail: f64,
    /// Slope of the tail's envelope over ln x.
    slope: f64,
}

#[derive(Clone, Copy)]
struct Density {
    /// `None` is normal.
    nu: Option<f64>,
}

impl Density {
    fn log(self, x: f64) -> f64 {
        match self.nu {
            Some(nu) => -0.5 * (nu + 1.0) * (x * x / nu).ln_1p(),
            None => -0.5 * x * x,
        }
    }

    fn at(self, x: f64) -> f64 {
        self.log(x).exp()
    }

    /// The x above zero with that density.
    fn inverse(self, f: f64) -> f64 {
        let square = match self.nu {
            Some(nu) => nu * (-2.0 / (nu + 1.0) * f.ln()).exp_m1(),
            None => -2.0 * f.ln(),
        };
        square.max(0.0).sqrt()
    }

    /// Area beyond `x`, in the measure of f; `None` where the library has none.
    fn beyond(self, x: f64) -> Option<f64> {
        match self.nu {
            Some(nu) => {
                let student = StudentsT::new(0.0, 1.0, nu).ok()?;
                Some(student.sf(x) / student.pdf(0.0))
            }
            None => {
                let normal = Normal::new(0.0, 1.0).ok()?;
                Some(normal.sf(x) / normal.pdf(0.0))
            }
        }
    }
}

impl Ziggurat {
    /// Layers for `dof` degrees of freedom, one or more; infinite is normal.
    /// `None` outside.
    pub(super) fn new(dof: f64) -> Option<Self> {
        if dof.is_nan() || dof < 1.0 {
            return None;
        }
        let density = Density {
            nu: (dof < NORMAL_FROM).then_some(dof),
        };
        let tail = tail(density)?;
        let mut layers = [Layer::REFUSED; LAYERS];
        climb(density, tail, |index, layer| {
            if let Some(slot) = layers.get_mut(index) {
                *slot = layer;
            }
        })?;
        let square = tail * tail;
        let slope = match density.nu {
            Some(nu) => (nu + 1.0) * square / (nu + square) - 1.0,
            None => square - 1.0,
        };
        Some(Self {
            layers,
            density,
            tail,
            slope,
        })
    }

    /// One draw.
    pub(super) fn draw(&self, rng: &mut impl Rng) -> f64 {
        let bits = rng.next_u64();
        self.place(bits, rng)
    }

    /// A draw from 64 bits; one in a hundred needs more from `rng`.
    #[inline]
    pub(super) fn place(&self, bits: u64, rng: &mut impl Rng) -> f64 {
        // The byte below chooses the layer, the 53 bits above the place in it.
        let layer = &self.layers[usize::from(bits as u8)];
        let x = signed(bits) * layer.width;
        if x.abs() < layer.inside {
            x
        } else {
            self.seldom(bits, rng)
        }
    }

    /// The rest of a draw that did not lie inside.
    #[cold]
    #[inline(never)]
    fn seldom(&self, first: u64, rng: &mut impl Rng) -> f64 {
        let mut bits = first;
        for _ in 0..MOST_TRIES {
            let index = usize::from(bits as u8);
            let layer = &self.layers[index];
            let x = signed(bits) * layer.width;
            if x.abs() < layer.inside {
                return x;
            }
            if index == 0 {
                return self.far(rng).copysign(x);
            }
            let y = layer.bottom + layer.height * unit(rng);
            if y < self.density.at(x) {
                return x;
            }
            bits = rng.next_u64();
        }
        0.0
    }

    /// A draw from the tail. Over y = ln x its density is concave, so an
    /// exponential through the tail's beginning, with the slope there, lies
    /// nowhere below it.
    fn far(&self, rng: &mut impl Rng) -> f64 {
        for _ in 0..MOST_TRIES {
            let out = -unit(rng).ln() / self.slope;
            let x = self.tail * out.exp();
            let density = out + self.density.log(x) - self.density.log(self.tail);
            if unit(rng).ln() < density + self.slope * out {
                return x;
            }
        }
        self.tail
    }
}

/// From -1 to 1, of the upper 53 bits.
#[inline]
fn signed(bits: u64) -> f64 {
    ((bits as i64) >> 11) as f64 * (1.0 / (1u64 << 52) as f64)
}

/// Above 0, at most 1.
fn unit(rng: &mut impl Rng) -> f64 {
    ((rng.next_u64() >> 11) + 1) as f64 * (1.0 / (1u64 << 53) as f64)
}

/// Bound of the search for the tail; a tenth of it is the most it takes.
const MOST_STEPS: usize = 200;

/// Part of the layers that lies above the density; 0.7 % for the normal.
const ABOVE: f64 = 1.007;

/// Where the tail begins so that the layers just pass the top.
fn tail(density: Density) -> Option<f64> {
    // Beginning further out leaves less to each layer. Near enough by areas:
    let layer = ABOVE * density.beyond(0.0)? / LAYERS as f64;
    let area = |log: f64| {
        let x = log.exp();
        Some(x * density.at(x) + density.beyond(x)?)
    };
    // (Cauchy begins at 327.)
    let (mut low, mut high) = (0.0, 1e3f64.ln());
    while high - low > 1e-3 {
        let middle = 0.5 * (low + high);
        if area(middle)? > layer {
            low = middle;
        } else {
            high = middle;
        }
    }
    // The rest by laying, in steps until the layers pass the top, then halving.
    let step = 2e-3;
    for _ in 0..MOST_STEPS {
        if overshoot(density, low.exp())? >= 0.0 {
            break;
        }
        (low, high) = (low - step, low);
    }
    for _ in 0..MOST_STEPS {
        if overshoot(density, high.exp())? < 0.0 {
            break;
        }
        (low, high) = (high, high + step);
    }
    for _ in 0..MOST_STEPS {
        // What lies above the top is refused: a quarter of the last layer.
        if overshoot(density, low.exp())? < 5e-3 {
            break;
        }
        let middle = 0.5 * (low + high);
        if overshoot(density, middle.exp())? < 0.0 {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(low.exp())
}

/// By how much the topmost layer passes the top of the density.
fn overshoot(density: Density, tail: f64) -> Option<f64> {
    let mut top = f64::INFINITY;
    climb(density, tail, |index, layer| {
        if index == LAYERS - 1 {
            top = layer.bottom + layer.height;
        }
    })?;
    Some(top - 1.0)
}

/// Calls with each layer from below; stops early when the top is passed.
fn climb(density: Density, tail: f64, mut each: impl FnMut(usize, Layer)) -> Option<()> {
    let mut bottom = density.at(tail);
    let area = tail * bottom + density.beyond(tail)?;
    each(
        0,
        Layer {
            width: area / bottom,
            inside: tail,
            bottom: 0.0,
            height: bottom,
        },
    );
    let mut width = tail;
    for index in 1..LAYERS {
        let height = area / width;
        let top = bottom + height;
        let inside = if top < 1.0 { density.inverse(top) } else { 0.0 };
        each(
            index,
            Layer {
                width,
                inside,
                bottom,
                height,
            },
        );
        (bottom, width) = (top, inside);
        if inside == 0.0 && index < LAYERS - 1 {
            break;
        }
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::monte_carlo::generator;

    const DRAWS: usize = 400_000;

    /// Largest distance of a sample from the library's distribution function,
    /// by the root of its size (A. Kolmogorov): 1.95 is passed once in a
    /// thousand times.
    fn distance(dof: f64, seed: u64) -> f64 {
        let (ziggurat, mut rng) = (Ziggurat::new(dof).expect("a shape"), generator(seed));
        let mut drawn: Vec<f64> = (0..DRAWS).map(|_| ziggurat.draw(&mut rng)).collect();
        drawn.sort_unstable_by(f64::total_cmp);
        let below = |x: f64| match ziggurat.density.nu {
            Some(nu) => StudentsT::new(0.0, 1.0, nu).expect("a t").cdf(x),
            None => Normal::new(0.0, 1.0).expect("a normal").cdf(x),
        };
        let n = DRAWS as f64;
        let far = |(rank, x): (usize, &f64)| {
            let at = below(*x);
            f64::max(
                (at - rank as f64 / n).abs(),
                ((rank + 1) as f64 / n - at).abs(),
            )
        };
        drawn.iter().enumerate().map(far).fold(0.0, f64::max) * n.sqrt()
    }

    #[test]
    fn draws_follow_the_library_s_distribution() {
        for (seed, dof) in [1.0, 1.7, 2.0, 4.0, 9.0, 50.0, 1e3, f64::INFINITY]
            .into_iter()
            .enumerate()
        {
            let found = distance(dof, seed as u64);
            assert!(found < 1.95, "{dof} degrees of freedom: {found}");
        }
        // The test can fail: another number of degrees of freedom is seen.
        let (ziggurat, mut rng) = (Ziggurat::new(9.0).expect("a shape"), generator(1));
        let beyond = (0..DRAWS).filter(|_| ziggurat.draw(&mut rng).abs() > 2.0);
        let (n, found) = (DRAWS as f64, beyond.count() as f64);
        let off = |dof: f64| {
            let p = 2.0 * StudentsT::new(0.0, 1.0, dof).expect("a t").sf(2.0);
            (found - n * p) / (n * p * (1.0 - p)).sqrt()
        };
        assert!(off(9.0).abs() < 3.5 && off(10.0) > 3.5 && off(8.0) < -3.5);
    }

    #[test]
    fn the_far_tail_is_right() {
        // Beyond one and a half times the beginning of the tail: drawn there only.
        for dof in [1.0, 3.0, 9.0] {
            let (ziggurat, mut rng) = (Ziggurat::new(dof).expect("a shape"), generator(7));
            let limit = 1.5 * ziggurat.tail;
            let student = StudentsT::new(0.0, 1.0, dof).expect("a t");
            let p = student.sf(limit) / student.sf(ziggurat.tail);
            let n = 100_000;
            let found = (0..n).filter(|_| ziggurat.far(&mut rng) > limit).count() as f64;
            let (n, sd) = (f64::from(n), (f64::from(n) * p * (1.0 - p)).sqrt());
            assert!(
                (found - n * p).abs() < 4.0 * sd,
                "{dof}: {found} of {}",
                n * p
            );
        }
    }

    #[test]
    fn layers_close_and_odd_numbers_are_refused() {
        for dof in [1.0, 1.01, 2.5, 7.0, 123.4, 5e4, 9.9e5, 1e300, f64::INFINITY] {
            let ziggurat = Ziggurat::new(dof).expect("a shape");
            let over = overshoot(ziggurat.density, ziggurat.tail).expect("areas");
            assert!((0.0..5e-3).contains(&over), "{dof}: {over}");
        }
        for dof in [0.99, 0.0, -1.0, f64::NAN, f64::NEG_INFINITY] {
            assert!(Ziggurat::new(dof).is_none());
        }
    }
}
