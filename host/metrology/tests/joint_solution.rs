//! The joint solution: what it finds, what it names, what it refuses.

#[path = "common/cells.rs"]
mod cells;
#[path = "common/sessions.rs"]
mod sessions;

use cells::Dice;
use scalewright_metrology::joint::{Joint, JointRefusal, Problem, Suspect, Worth, judge};
use sessions::{E_G, MAX_G, Truth, bodies, codes, session};

// 0 to 6: two of 2 kg, then 1 kg, 500 g, 200 g, 200 g, 100 g.
const SET_G: [f64; 7] = [2000.0, 2000.0, 1000.0, 500.0, 200.0, 200.0, 100.0];

const COURSE: [&[usize]; 20] = [
    &[],
    &[0, 1, 2, 3, 4, 5, 6],
    &[],
    &[6],
    &[3],
    &[2],
    &[3, 4, 5, 6],
    &[2, 3],
    &[0],
    &[1],
    &[2, 3, 4, 5, 6],
    &[0, 2],
    &[1, 2, 3],
    &[0, 1],
    &[0, 1, 2],
    &[0, 1, 2, 3, 4, 5, 6],
    &[0, 1],
    &[0],
    &[],
    &[2],
];

fn quiet(masses_g: &[f64]) -> Truth {
    Truth {
        masses_g: masses_g.to_vec(),
        share: 3e-5,
        own_g: 0.05,
    }
}

fn planted(body: usize, off_g: f64, seed: u64) -> Problem {
    let mut masses = SET_G;
    masses[body] += off_g;
    session(&bodies(&SET_G), &COURSE, &quiet(&masses), &mut Dice(seed))
}

#[test]
fn without_any_error_the_truth_comes_back() {
    let truth = Truth {
        masses_g: SET_G.to_vec(),
        share: 0.0,
        own_g: 0.0,
    };
    let problem = session(&bodies(&SET_G), &COURSE, &truth, &mut Dice(1));
    let joint = Joint::solve(&problem).expect("a full session");
    for step in 1..=12 {
        let load_g = MAX_G * f64::from(step) / 12.0;
        let found = joint.curve(codes(load_g));
        let off = (found.value - load_g).abs();
        // A hundredth of e: the spline between the loads is not the cubic.
        assert!(
            off < 0.01 * E_G && off < 3.0 * found.u,
            "{load_g}: {found:?}"
        );
    }
    assert_eq!(joint.curve(0.0).value, 0.0);
}

#[test]
fn a_weight_two_e_off_is_named_and_measured() {
    // Bodies 4 and 5 are never apart, so that nothing can tell which is off.
    for (seed, body) in [0, 1, 2, 3, 6, 0, 1, 2, 3, 6].into_iter().enumerate() {
        let off_g = if seed % 2 == 0 { 2.0 * E_G } else { -2.0 * E_G };
        let judged = judge(&planted(body, off_g, seed as u64)).expect("a full session");
        assert_eq!(judged.wrong, [Suspect::Body(body)], "seed {seed}");
        let found = judged.off(Suspect::Body(body)).expect("it is there");
        assert!(
            (found.value - off_g).abs() < 4.0 * found.u,
            "{seed}: {found:?}"
        );
        assert!(found.u < 0.5 * E_G);
        // What is in doubt is told from the others all the same.
        let alone = judged.joint.alone_u_g(body).expect("told apart");
        assert!(alone < 0.5 * E_G, "{seed}: {alone}");
    }
}

#[test]
fn of_two_weights_never_apart_neither_is_accused() {
    let judged = judge(&planted(4, 2.0 * E_G, 1)).expect("a full session");
    assert_eq!(judged.wrong, []);
    let named: Vec<Suspect> = judged.open.iter().map(|one| one.suspect).collect();
    assert!(named.contains(&Suspect::Body(4)) && named.contains(&Suspect::Body(5)));
    let settling = judged.settling.expect("one of them alone settles it");
    assert_ne!(settling.contains(&4), settling.contains(&5), "{settling:?}");
}

#[test]
fn a_wrong_capture_is_named_and_loses_its_say() {
    let mut problem = planted(0, 0.0, 5);
    // Somebody's finger on the pan: 5 e too much at one load.
    problem.weighings[11].counts += codes(5.0 * E_G);
    let judged = judge(&problem).expect("a full session");
    assert_eq!(judged.wrong, [Suspect::Capture(11)]);
    let read = judged.off(Suspect::Capture(11)).expect("it is there").value;
    assert!((read - 5.0 * E_G).abs() < E_G, "{read}");
    // Without being hidden: plainly solved, the same capture pulls the curve.
    let plain = Joint::solve(&problem).expect("a full session");
    let off = |joint: &Joint| (joint.curve(codes(3000.0)).value - 3000.0).abs();
    assert!(off(&judged.joint) < 0.3 && off(&plain) > 2.0 * off(&judged.joint));
}

/// A weight that was on the pan in one capture only: it or the capture.
#[test]
fn what_cannot_be_told_apart_is_said_with_the_capture_that_would() {
    let course: Vec<&[usize]> = COURSE
        .iter()
        .copied()
        .filter(|load| !load.contains(&2) || load == &[2])
        .take(12)
        .chain([&[0usize, 1] as &[usize], &[0], &[]])
        .collect();
    let alone = course.iter().filter(|load| load.contains(&2)).count();
    assert_eq!(alone, 1);
    let mut masses = SET_G;
    masses[2] += 3.0 * E_G;
    let problem = session(&bodies(&SET_G), &course, &quiet(&masses), &mut Dice(3));
    let judged = judge(&problem).expect("enough captures");
    let capture = course.iter().position(|load| load == &[2]).expect("there");
    assert_eq!(judged.wrong, []);
    let named: Vec<Suspect> = judged.open.iter().map(|one| one.suspect).collect();
    assert!(named.contains(&Suspect::Body(2)), "{named:?}");
    assert!(named.contains(&Suspect::Capture(capture)), "{named:?}");
    let settling = judged.settling.expect("another look at W3 settles it");
    assert!(settling.contains(&2), "{settling:?}");
}

#[test]
fn what_is_open_is_named_with_a_capture_that_closes_it() {
    let mut unknown = bodies(&SET_G);
    unknown[0].worth = Worth::Unknown;
    unknown[0].name = "jug".into();
    unknown[2].worth = Worth::Unknown;
    unknown[2].name = "stone".into();
    let truth = quiet(&SET_G);
    // Jug and stone only ever together.
    let course: [&[usize]; 7] = [&[], &[6], &[3], &[1], &[0, 2], &[0, 2, 3], &[]];
    let refusal = Joint::solve(&session(&unknown, &course, &truth, &mut Dice(1)))
        .expect_err("two unknowns, one sum");
    let JointRefusal::Open { unknowns, capture } = refusal else {
        panic!("{refusal}");
    };
    assert_eq!(unknowns, ["jug", "stone"]);
    assert_eq!(capture, Some(vec![0]));
    // No known weight at all: nothing says what a code weighs.
    let course: [&[usize]; 5] = [&[], &[0], &[2], &[0, 2], &[]];
    let refusal =
        Joint::solve(&session(&unknown, &course, &truth, &mut Dice(1))).expect_err("nothing known");
    let JointRefusal::Open { unknowns, .. } = refusal else {
        panic!("{refusal}");
    };
    assert!(
        unknowns.iter().any(|name| name.contains("steep")),
        "{unknowns:?}"
    );
}

#[test]
fn captures_at_one_load_leave_the_bend_open() {
    let course: [&[usize]; 5] = [&[], &[0], &[], &[0], &[]];
    let problem = session(&bodies(&SET_G), &course, &quiet(&SET_G), &mut Dice(1));
    let refusal = Joint::solve(&problem).expect_err("one load");
    let JointRefusal::Open { unknowns, capture } = refusal else {
        panic!("{refusal}");
    };
    assert_eq!(unknowns.len(), 2, "{unknowns:?}");
    let capture = capture.expect("any other load closes it");
    assert!(!capture.contains(&0) || capture.len() > 1, "{capture:?}");
}

#[test]
fn nonsense_is_refused() {
    let good = planted(0, 0.0, 1);
    let refused = |change: &dyn Fn(&mut Problem)| {
        let mut problem = good.clone();
        change(&mut problem);
        Joint::solve(&problem).expect_err("nonsense")
    };
    assert_eq!(refused(&|p| p.max_g = f64::NAN), JointRefusal::Scale);
    assert_eq!(refused(&|p| p.e_g = 0.0), JointRefusal::Scale);
    let weighing = |index| JointRefusal::Weighing { index };
    assert_eq!(
        refused(&|p| p.weighings[3].counts = f64::INFINITY),
        weighing(3)
    );
    assert_eq!(refused(&|p| p.weighings[3].at_s = 0.0), weighing(3));
    assert_eq!(refused(&|p| p.weighings[3].bodies = vec![99]), weighing(3));
    assert_eq!(
        refused(&|p| p.weighings[3].bodies = vec![1, 1]),
        weighing(3)
    );
    assert_eq!(refused(&|p| p.weighings[3].sd_counts = -1.0), weighing(3));
    assert!(matches!(
        refused(&|p| p.bodies[1].mass_g = -1.0),
        JointRefusal::Body { .. }
    ));
    assert!(matches!(
        refused(&|p| p.weighings.retain(|w| !w.bodies.is_empty())),
        JointRefusal::NoZero { sitting: 0 }
    ));
    assert!(matches!(
        refused(&|p| {
            p.weighings.truncate(10);
            p.weighings.iter_mut().skip(4).for_each(|w| w.sitting = 1);
        }),
        JointRefusal::NoZero { sitting: 1 }
    ));
    assert_eq!(
        refused(&|p| p.weighings.retain(|w| w.bodies.is_empty())),
        JointRefusal::NoLoads
    );
    assert_eq!(
        refused(&|p| p.weighings.iter_mut().for_each(|w| w.counts *= -1.0)),
        JointRefusal::NoLoads
    );
}

/// The rule of [`Worth::Within`]: 95 % limits of weights, curve and a jug hold
/// the truth about as often as they say. 300 sessions, every place counted.
#[test]
fn stated_limits_hold_the_truth() {
    let mut bodies = bodies(&SET_G);
    bodies.push(scalewright_metrology::joint::Body {
        name: "jug".into(),
        mass_g: 2500.0,
        worth: Worth::Unknown,
        filling: None,
    });
    let mut course = COURSE.to_vec();
    course.extend([&[7usize] as &[usize], &[1, 3], &[7, 0], &[]]);
    let (mut curve, mut weights, mut jug) = ((0, 0), (0, 0), (0, 0));
    for seed in 0..300 {
        let mut dice = Dice(1000 + seed);
        let mut masses: Vec<f64> = SET_G
            .iter()
            .map(|mass| mass * (1.0 + 0.5e-4 * (2.0 * dice.even() - 1.0)))
            .collect();
        masses.push(2500.0 + 40.0 * dice.normal());
        let truth = Truth {
            masses_g: masses.clone(),
            share: 1e-4 * dice.even(),
            own_g: 0.05,
        };
        let joint = Joint::solve(&session(&bodies, &course, &truth, &mut dice)).expect("full");
        let count = |of: &mut (i32, i32), inside: bool| {
            of.0 += i32::from(inside);
            of.1 += 1;
        };
        for step in 1..=12 {
            let load_g = MAX_G * f64::from(step) / 12.0;
            let found = joint.curve(codes(load_g));
            count(&mut curve, (found.low..=found.high).contains(&load_g));
        }
        for (body, mass) in masses.iter().enumerate() {
            let found = joint.mass(body).expect("there");
            let of = if body == 7 { &mut jug } else { &mut weights };
            count(of, (found.low..=found.high).contains(mass));
        }
    }
    for (name, (inside, of), least, most) in [
        ("curve", curve, 0.93, 0.98),
        ("weights", weights, 0.93, 0.98),
        // 300 jugs: four deviations of a share of 0.95 are 0.05.
        ("jug", jug, 0.90, 0.995),
    ] {
        let share = f64::from(inside) / f64::from(of);
        println!("{name}: {share:.4}");
        assert!((least..=most).contains(&share), "{name}: {share}");
    }
}
