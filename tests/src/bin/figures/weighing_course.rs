//! What a scale of figure 1 goes through: random loads, or a pour; and what is
//! noted of it.

use scalewright_bench::adc::{Signal, code_of};
use scalewright_bench::dice::{Dice, Purpose};
use scalewright_bench::faults::Spikes;
use scalewright_bench::physics::{Cell, CellSpec, Position};
use scalewright_protocol::settings::Input;

use super::scale::{Plain, Said, Scale, smoothing};

/// A rate, and a cell and interval to go with it.
#[derive(Clone, Copy, Debug)]
pub struct Make {
    /// Conversions per second.
    pub rate_sps: u16,
    /// White noise of one code at 10/s, g.
    pub noise_g: f64,
    /// Scale interval, g.
    pub d_g: f64,
}

impl Make {
    /// Noise of one code at its rate, d.
    pub fn noise_d(&self) -> f64 {
        self.noise_g * (f64::from(self.rate_sps) / 10.0).sqrt() / self.d_g
    }

    /// Fewest codes whose mean has three standard deviations within 0.3 d, of
    /// the 2^n there are.
    fn needed(&self) -> usize {
        let needed = (3.0 * self.noise_d() / LIMIT_D).powi(2).ceil() as usize;
        needed.clamp(1, 1 << smoothing(self.rate_sps))
    }

    fn period_ns(&self) -> u64 {
        1_000_000_000 / u64::from(self.rate_sps)
    }

    /// The studio's cell with this noise and slow noise to go with it. Every
    /// load lies the same way, and the curve is left straight: neither is what
    /// is looked at.
    fn cell(&self, seed: u64) -> CellSpec {
        CellSpec {
            noise_g: self.noise_g,
            slow_noise_g: self.noise_g * 0.27,
            repeatability: 0.0,
            hysteresis: 0.0,
            eccentric: (0.0, 0.0),
            ..CellSpec::studio(50_000 + seed)
        }
    }
}

/// The limit of rest, d.
const LIMIT_D: f64 = 0.3;
/// Largest load, g.
const MOST_G: f64 = 5900.0;

/// The cell as it is, without noise, and without noise and swing.
struct Three([Signal; 3]);

impl Three {
    fn new(spec: &CellSpec, seed: u64) -> Self {
        let still = CellSpec {
            noise_g: 0.0,
            slow_noise_g: 0.0,
            walk_g_per_sqrt_h: 0.0,
            ..spec.clone()
        };
        let mut calm = still.clone();
        calm.swing.fraction = 0.0;
        let signal =
            |spec: &CellSpec| Signal::new(Cell::new(spec.clone(), seed), Spikes::none(), seed);
        Self([signal(spec), signal(&still), signal(&calm)])
    }

    fn load(&mut self, at_ns: u64, load_g: f64) {
        for signal in &mut self.0 {
            signal.run_to(at_ns);
            signal.cell.set_load(load_g, Position::default());
        }
    }

    /// The code; the same without noise; and the cell at this very moment
    /// without noise and swing, counts.
    fn convert(&mut self, at_ns: u64, rate_sps: u16) -> (i32, f64, f64) {
        for signal in &mut self.0 {
            signal.run_to(at_ns);
        }
        let [real, still, calm] = &mut self.0;
        let still = still.convert(Input::A128, rate_sps);
        let now = code_of(calm.cell.output_mv_per_v(), 128.0);
        let real = real.convert(Input::A128, rate_sps);
        (real, f64::from(still), f64::from(now))
    }
}

/// What is noted of random loads.
#[derive(Clone, Debug, Default)]
pub struct Told {
    /// From each load to its mark, s.
    pub took_s: Vec<f64>,
    /// The same of the fixed mean and window.
    pub plain_s: Vec<f64>,
    /// The oracle's, with swing and without, s.
    pub oracle_s: Vec<f64>,
    /// See there.
    pub literal_s: Vec<f64>,
    /// Marks that came, were wrong, went before the next load; loads without.
    pub marks: usize,
    /// See there.
    pub wrong: usize,
    /// See there.
    pub lost: usize,
    /// See there.
    pub unmarked: usize,
    /// The same of the fixed mean and window.
    pub plain_wrong: usize,
    /// See there.
    pub plain_unmarked: usize,
    /// Changes of the indication in the last third of each load's time, and of
    /// the fixed mean rounded as it comes.
    pub changes: usize,
    /// See there.
    pub plain_changes: usize,
}

impl Told {
    /// All together, a load of each in turn, so that the first ones are of all.
    pub fn all(some: &[Self]) -> Self {
        let mut all = Self::default();
        let in_turn = |of: fn(&Self) -> &Vec<f64>| {
            let most = some.iter().map(|one| of(one).len()).max().unwrap_or(0);
            (0..most)
                .flat_map(|at| some.iter().filter_map(move |one| of(one).get(at).copied()))
                .collect()
        };
        all.took_s = in_turn(|one| &one.took_s);
        all.plain_s = in_turn(|one| &one.plain_s);
        all.oracle_s = in_turn(|one| &one.oracle_s);
        all.literal_s = in_turn(|one| &one.literal_s);
        for one in some {
            all.marks += one.marks;
            all.wrong += one.wrong;
            all.lost += one.lost;
            all.unmarked += one.unmarked;
            all.plain_wrong += one.plain_wrong;
            all.plain_unmarked += one.plain_unmarked;
            all.changes += one.changes;
            all.plain_changes += one.plain_changes;
        }
        all
    }

    /// Time within which this share of the loads had its mark, s.
    pub fn within_s(&self, share: f64) -> f64 {
        let mut sorted = self.took_s.clone();
        sorted.sort_by(f64::total_cmp);
        let at = (share * sorted.len() as f64) as usize;
        sorted.get(at).copied().unwrap_or(f64::NAN)
    }
}

/// One instant of a load: the mark and the indication, d.
type Instant = (bool, f64);

/// Marks that came during a load, those that were wrong, and those that went.
fn marks(course: &[Instant]) -> (usize, usize, usize) {
    let (mut came, mut wrong, mut went) = (0, 0, 0);
    // Until the converter has seen the load, a mark is that of the one before.
    let mut before = true;
    for (at, (stable, shown)) in course.iter().enumerate() {
        if *stable && !before {
            came += 1;
            // Steps are whole: more than one is two.
            let moves = |later: &Instant| (later.1 - shown).abs() > 1.5;
            wrong += usize::from(course[at..].iter().any(moves));
        }
        went += usize::from(before && !stable && came > 0);
        before = *stable;
    }
    (came, wrong, went)
}

/// The first mark of a load with an indication within d of its last.
fn first_right(course: &[Instant]) -> Option<usize> {
    let last = course.last()?.1;
    let right = |now: &Instant| now.0 && (now.1 - last).abs() <= 1.5;
    course.iter().position(right)
}

fn changes(course: &[Instant]) -> usize {
    let end = course.get(course.len() * 2 / 3..).unwrap_or(&[]);
    end.windows(2).filter(|two| two[0].1 != two[1].1).count()
}

/// The next load, g: half of them anywhere, half a step of 5 d to 3 kg, all
/// sizes alike.
fn next_load(dice: &mut Dice, load_g: f64, d_g: f64) -> f64 {
    if dice.happens(0.5) {
        return MOST_G * dice.between(0.0, 1.0);
    }
    let size = 5.0 * d_g * (3000.0 / (5.0 * d_g)).powf(dice.between(0.0, 1.0));
    let up = load_g + size <= MOST_G && (load_g < size || dice.happens(0.5));
    (if up { load_g + size } else { load_g - size }).clamp(0.0, MOST_G)
}

/// Loads on one scale, each for four to ten seconds.
///
/// # Errors
/// When the scale cannot be made.
pub fn steps(make: &Make, seed: u64, count: u64) -> Result<Told, String> {
    let spec = make.cell(seed);
    let mut dice = Dice::new(seed, Purpose::Operator);
    let mut cell = Three::new(&spec, seed);
    let mut scale = Scale::new(&spec, make.rate_sps, make.d_g)?;
    let mut plain = Plain::new(make.rate_sps);
    let needed = make.needed();
    let period_ns = make.period_ns();
    let zero = scale.zero_counts();
    let (mut at_ns, mut load_g) = (0u64, 0.0);
    let mut codes: Vec<f64> = Vec::new();
    let mut told = Told::default();
    // The first load is the empty pan.
    for turn in 0..=count {
        let loaded_ns = at_ns + (dice.between(0.0, 1.0) * period_ns as f64) as u64;
        if turn > 0 {
            load_g = next_load(&mut dice, load_g, make.d_g);
            cell.load(loaded_ns, load_g);
        }
        let rests_s = dice.between(4.0, 10.0);
        let conversions = (rests_s * f64::from(make.rate_sps)) as usize;
        let (mut ours, mut theirs) = (Vec::new(), Vec::new());
        let mut settled_from = 0;
        for conversion in 0..conversions {
            at_ns += period_ns;
            let (code, still, now) = cell.convert(at_ns, make.rate_sps);
            codes.push(still);
            if codes.len() > needed {
                codes.remove(0);
            }
            let mean = codes.iter().sum::<f64>() / codes.len() as f64;
            if (mean - now).abs() > LIMIT_D * scale.d_counts {
                settled_from = conversion + 1;
            }
            let Said {
                stable, shown_d, ..
            } = scale.take(at_ns, code);
            ours.push((stable, shown_d));
            let (rests, mean) = plain.take(code, scale.d_counts);
            theirs.push((rests, ((mean - zero) / scale.d_counts).round()));
        }
        if turn == 0 {
            continue;
        }
        let ends_ns = at_ns;
        let time_s = |conversion: usize| {
            let left = conversions.saturating_sub(conversion + 1) as u64;
            (ends_ns - left * period_ns).saturating_sub(loaded_ns) as f64 * 1e-9
        };
        let least = 3 + needed - 1;
        told.literal_s.push(time_s(least));
        told.oracle_s.push(time_s(settled_from.max(least)));
        for (course, times, none) in [
            (&ours, &mut told.took_s, &mut told.unmarked),
            (&theirs, &mut told.plain_s, &mut told.plain_unmarked),
        ] {
            let first = first_right(course);
            times.push(first.map_or(rests_s, time_s));
            *none += usize::from(first.is_none());
        }
        let (came, wrong, went) = marks(&ours);
        told.marks += came;
        told.wrong += wrong;
        told.lost += went;
        told.plain_wrong += marks(&theirs).1;
        told.changes += changes(&ours);
        told.plain_changes += changes(&theirs);
    }
    Ok(told)
}

/// What is noted of a pour.
#[derive(Clone, Copy, Debug, Default)]
pub struct Pour {
    /// Share of its time with a mark.
    pub marked: f64,
    /// How far the mass was behind the load, d, on average.
    pub behind_d: f64,
    /// From its end to a mark, s.
    pub mark_after_s: f64,
}

impl Pour {
    /// The means.
    pub fn all(some: &[Self]) -> Self {
        let mean = |of: fn(&Self) -> f64| some.iter().map(of).sum::<f64>() / some.len() as f64;
        Self {
            marked: mean(|one| one.marked),
            behind_d: mean(|one| one.behind_d),
            mark_after_s: mean(|one| one.mark_after_s),
        }
    }
}

/// Five seconds of rest, twelve of pouring, ten of rest. Its first second and a
/// half is left out: a load that only just began to move has hardly moved.
///
/// # Errors
/// When the scale cannot be made.
pub fn pour(make: &Make, seed: u64, d_per_s: f64) -> Result<Pour, String> {
    const PORTION_NS: u64 = 10_000_000;
    const BEGIN_NS: u64 = 5_000_000_000;
    const END_NS: u64 = BEGIN_NS + 12_000_000_000;
    const SEEN_NS: u64 = BEGIN_NS + 1_500_000_000;
    let spec = make.cell(seed);
    let mut cell = Three::new(&spec, seed);
    let mut scale = Scale::new(&spec, make.rate_sps, make.d_g)?;
    let zero = scale.zero_counts();
    let (mut at_ns, mut portion_ns) = (0u64, BEGIN_NS);
    let (mut seen, mut marked, mut behind_d) = (0usize, 0usize, 0.0);
    let mut after_s = None;
    while at_ns < END_NS + 10_000_000_000 {
        at_ns += make.period_ns();
        while portion_ns < at_ns.min(END_NS) {
            portion_ns += PORTION_NS;
            let poured_s = (portion_ns - BEGIN_NS) as f64 * 1e-9;
            cell.load(portion_ns.min(at_ns), d_per_s * make.d_g * poured_s);
        }
        let (code, _, now) = cell.convert(at_ns, make.rate_sps);
        let said = scale.take(at_ns, code);
        if (SEEN_NS..END_NS).contains(&at_ns) {
            seen += 1;
            marked += usize::from(said.stable);
            behind_d += (now - zero) / scale.d_counts - said.mass_d;
        } else if at_ns >= END_NS && said.stable && after_s.is_none() {
            after_s = Some((at_ns - END_NS) as f64 * 1e-9);
        }
    }
    Ok(Pour {
        marked: marked as f64 / seen as f64,
        behind_d: behind_d / seen as f64,
        mark_after_s: after_s.unwrap_or(10.0),
    })
}
