//! The order of functions in memory: calls and jumps that stay within four
//! kilobytes take two bytes instead of four.
//!
//! Source: "AVR Instruction Set Manual", Microchip DS40002198, RCALL and RJMP:
//! 2048 words either way. The linker shortens what is near.

use std::collections::HashMap;

use super::effects::Way;
use super::program::{Function, Line, Program};

/// How far a short call reaches, bytes, less some for what stays long between.
const REACH: usize = 4000;
/// Moves tried.
const TURNS: u32 = 200_000;
/// A move that puts so many links more out of reach is taken at first with a
/// chance of 1/e.
const HEAT: f64 = 8.0;
/// Functions either way that still count as beside one.
const NEARBY: usize = 12;

/// The same numbers with every build, looking random (G. Marsaglia, "Xorshift
/// RNGs", J. Stat. Softw. 8 (2003) issue 14; 13, 7 and 17).
struct Chance(u64);

impl Chance {
    fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % limit.max(1) as u64) as usize
    }

    fn unit(&mut self) -> f64 {
        self.below(1 << 24) as f64 / f64::from(1 << 24)
    }
}

/// A call or jump between this function and another.
struct Link {
    /// Where in this one, bytes from its start.
    here: usize,
    /// The other.
    other: usize,
    /// Where in that, bytes from its start.
    there: usize,
}

/// A program's functions as far as their order goes.
struct Map {
    /// Bytes of each, its calls at their shortest.
    sizes: Vec<usize>,
    links: Vec<Vec<Link>>,
}

/// Brings functions near those that call them; about how many bytes all take then.
pub fn order(program: &mut Program) -> usize {
    let map = Map::of(program);
    let given = (0..map.sizes.len()).collect();
    let best = map.improved(given);
    // Each link is counted at both ends, and takes two bytes more where it is far.
    let bytes = map.sizes.iter().sum::<usize>() + map.far(&best);
    let mut functions: Vec<Option<Function>> = std::mem::take(&mut program.functions)
        .into_iter()
        .map(Some)
        .collect();
    program.functions = best
        .into_iter()
        .filter_map(|at| functions[at].take())
        .collect();
    bytes
}

impl Map {
    fn of(program: &Program) -> Self {
        let mut names: HashMap<&str, (usize, usize)> = HashMap::new();
        let mut calls = Vec::new();
        let mut sizes = Vec::new();
        for (at, function) in program.functions.iter().enumerate() {
            let mut place = 0;
            names.insert(&function.name, (at, 0));
            for line in &function.lines {
                let code = match line {
                    Line::Label(label) => {
                        names.insert(label, (at, place));
                        continue;
                    }
                    Line::Code(code) => code,
                };
                let leads = matches!(code.effects.way, Way::Call | Way::Jump);
                if let Some(to) = code.operands().first().filter(|_| leads) {
                    calls.push((at, place, (*to).to_string()));
                }
                place += if leads { 2 } else { code.effects.bytes.into() };
            }
            sizes.push(place);
        }
        let mut links: Vec<Vec<Link>> = sizes.iter().map(|_| Vec::new()).collect();
        for (from, here, to) in calls {
            let Some((other, there)) = names.get(to.as_str()).copied() else {
                continue;
            };
            if other != from {
                links[from].push(Link { here, other, there });
                links[other].push(Link {
                    here: there,
                    other: from,
                    there: here,
                });
            }
        }
        Self { sizes, links }
    }

    /// Moves functions about, one after the other, most of all to where more
    /// links become near; at first also where fewer do, later hardly ever. (S.
    /// Kirkpatrick, C. D. Gelatt, M. P. Vecchi, "Optimization by simulated
    /// annealing", Science 220 (1983) 671-680.)
    fn improved(&self, mut order: Vec<usize>) -> Vec<usize> {
        if order.len() < 2 {
            return order;
        }
        let mut chance = Chance(1);
        let mut count = self.far(&order);
        let mut best = (count, order.clone());
        for turn in 0..TURNS {
            let heat = HEAT * (1.0 - f64::from(turn) / f64::from(TURNS)).powi(2);
            let from = chance.below(order.len());
            let function = order.remove(from);
            let to = self.beside_another(function, &order, &mut chance);
            order.insert(to, function);
            let now = self.far(&order);
            let worse = now as f64 - count as f64;
            if worse <= 0.0 || chance.unit() < (-worse / heat).exp() {
                count = now;
                if now < best.0 {
                    best = (now, order.clone());
                }
            } else {
                order.remove(to);
                order.insert(from, function);
            }
        }
        best.1
    }

    /// A place near one of the functions that this one has to do with.
    fn beside_another(&self, function: usize, order: &[usize], chance: &mut Chance) -> usize {
        let links = &self.links[function];
        let anywhere = chance.below(order.len() + 1);
        if links.is_empty() || chance.below(4) == 0 {
            return anywhere;
        }
        let other = links[chance.below(links.len())].other;
        let place = order.iter().position(|at| *at == other).unwrap_or(anywhere);
        (place + chance.below(2 * NEARBY))
            .saturating_sub(NEARBY)
            .min(order.len())
    }

    /// Where each function starts in this order.
    fn starts(&self, order: &[usize]) -> Vec<usize> {
        let mut starts = vec![0; self.sizes.len()];
        let mut sum = 0;
        for at in order {
            starts[*at] = sum;
            sum += self.sizes[*at];
        }
        starts
    }

    /// Links that are too far for the short form, each counted at both ends.
    fn far(&self, order: &[usize]) -> usize {
        let starts = self.starts(order);
        let of = |function: usize| self.far_from(function, starts[function], &starts);
        (0..self.sizes.len()).map(of).sum()
    }

    /// Those of one function, if it started at `start`.
    fn far_from(&self, function: usize, start: usize, starts: &[usize]) -> usize {
        let is_far =
            |link: &&Link| (start + link.here).abs_diff(starts[link.other] + link.there) > REACH;
        self.links[function].iter().filter(is_far).count()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A function of about `bytes` bytes that calls others.
    fn function(name: &str, bytes: usize, calls: &[&str]) -> Function {
        let mut lines = vec![Line::new("nop"); bytes / 2];
        lines.extend(calls.iter().map(|to| Line::new(&format!("call {to}"))));
        Function::made(name, lines)
    }

    #[test]
    fn callers_come_near_and_nothing_is_lost() {
        let mut program = Program {
            rest: String::new(),
            functions: vec![
                function("a", 100, &["z", "z", "z"]),
                function("large", 9000, &[]),
                function("z", 100, &[]),
            ],
        };
        order(&mut program);
        let names: Vec<&str> = program.functions.iter().map(|f| f.name.as_str()).collect();
        let place = |name| names.iter().position(|n| *n == name).unwrap();
        assert_eq!(place("a").abs_diff(place("z")), 1, "{names:?}");
        assert_eq!(names.len(), 3);
        order(&mut Program::default());
    }
}
