//! Courses of loads: what a plan holds, and that it is worth what it costs.

#[path = "common/cells.rs"]
mod cells;
#[path = "common/sessions.rs"]
mod sessions;

use scalewright_metrology::joint::{
    Body, Filling, Forecast, Grade, Planned, Problem, Scatter, Worth,
};
use scalewright_metrology::planning::{Course, PlanningRefusal, course};
use scalewright_metrology::tolerance::AccuracyClass;
use sessions::{E_G, MAX_G, bodies};

const GRADE: Grade = Grade {
    scatter: Scatter {
        tau: 0.03,
        own: 1e-5,
        share: 7e-5,
    },
    converter_g: 0.05,
};

fn problem(masses_g: &[f64]) -> Problem {
    Problem {
        bodies: bodies(masses_g),
        weighings: Vec::new(),
        max_g: MAX_G,
        e_g: E_G,
    }
}

fn planned(problem: &Problem) -> Course {
    course(problem, AccuracyClass::III, GRADE).expect("weights that make a course")
}

fn mass_g(problem: &Problem, load: &[usize]) -> f64 {
    load.iter().map(|body| problem.bodies[*body].mass_g).sum()
}

fn filled(problem: &mut Problem, masses_g: &[f64]) {
    for (turn, mass_g) in masses_g.iter().enumerate() {
        problem.bodies.push(Body {
            name: format!("jug {turn}"),
            mass_g: *mass_g,
            worth: Worth::Unknown,
            filling: Some(Filling { vessel: 0, turn }),
        });
    }
}

const FULL_SET: [f64; 11] = [
    2000.0, 2000.0, 1000.0, 500.0, 200.0, 200.0, 100.0, 50.0, 20.0, 20.0, 10.0,
];

#[test]
fn a_course_begins_and_ends_empty_and_keeps_to_max() {
    let problem = problem(&FULL_SET);
    let course = planned(&problem);
    assert!(course.loads.first().is_some_and(Vec::is_empty));
    assert!(course.loads.last().is_some_and(Vec::is_empty));
    for load in &course.loads {
        assert!(mass_g(&problem, load) <= MAX_G);
    }
    let top = course.loads.iter().map(|load| mass_g(&problem, load));
    assert_eq!(top.fold(0.0, f64::max), MAX_G);
    // The same load never twice in a row: nothing would move.
    assert!(course.loads.windows(2).all(|pair| pair[0] != pair[1]));
}

#[test]
fn every_weight_that_matters_is_told_apart() {
    let problem = problem(&FULL_SET);
    let course = planned(&problem);
    let forecast = Forecast::new(&problem, &course.planned(&problem), GRADE).expect("whole");
    for (index, body) in problem.bodies.iter().enumerate() {
        if body.mass_g >= 4.0 * E_G {
            let u_g = forecast.body_u_g(index);
            // 2 e off would be four deviations or more.
            assert!(u_g.is_some_and(|u| u < 0.5 * E_G), "{}: {u_g:?}", body.name);
        }
    }
}

#[test]
fn a_small_weight_goes_on_top_of_big_loads() {
    let problem = problem(&FULL_SET);
    let course = planned(&problem);
    assert!(course.additivity.len() >= 3);
    for pair in &course.additivity {
        let (base, both) = (&course.loads[pair.base], &course.loads[pair.both]);
        let added = mass_g(&problem, both) - mass_g(&problem, base);
        assert!((added - problem.bodies[pair.small].mass_g).abs() < 1e-9);
        assert!(!base.contains(&pair.small));
    }
}

/// The course against loads spread evenly, as many of them: it must be worth
/// more, or the search is for nothing.
#[test]
fn it_is_worth_more_than_even_steps() {
    let problem = problem(&FULL_SET);
    let course = planned(&problem);
    let even: Vec<Planned> = [
        &[] as &[usize],
        &[3, 6],
        &[2, 4],
        &[0, 4],
        &[0, 3],
        &[0, 2, 4],
        &[0, 1],
        &[0, 1, 3, 6],
        &[0, 1, 2, 4, 5, 6],
        &[],
    ]
    .iter()
    .cycle()
    .take(course.loads.len())
    .enumerate()
    .map(|(index, load)| Planned {
        bodies: load.to_vec(),
        at_s: 20.0 * index as f64,
    })
    .collect();
    let ours = Forecast::new(&problem, &course.planned(&problem), GRADE).expect("whole");
    let theirs = Forecast::new(&problem, &even, GRADE).expect("whole");
    let places = [100.0, 500.0, 1000.0, 2000.0, 3000.0, 4500.0, 6000.0];
    let worst = |forecast: &Forecast| {
        let ratio = |load_g: &f64| forecast.u_g(*load_g) / if *load_g > 4000.0 { 1.5 } else { 1.0 };
        places.iter().map(ratio).fold(0.0, f64::max)
    };
    println!("{} {}", worst(&ours), worst(&theirs));
    assert!(worst(&ours) < worst(&theirs));
}

#[test]
fn fillings_of_one_jug_follow_each_other() {
    let mut problem = problem(&[1000.0, 500.0, 200.0, 200.0, 100.0]);
    filled(&mut problem, &[2000.0, 4000.0]);
    let course = planned(&problem);
    let turns: Vec<usize> = course
        .loads
        .iter()
        .filter_map(|load| {
            let fillings = load.iter().filter_map(|body| problem.bodies[*body].filling);
            let turns: Vec<usize> = fillings.map(|filling| filling.turn).collect();
            assert!(turns.len() <= 1, "two fillings at once");
            turns.first().copied()
        })
        .collect();
    assert!(turns.windows(2).all(|pair| pair[0] <= pair[1]), "{turns:?}");
    assert!(turns.contains(&0) && turns.contains(&1));
    // It reaches Max, and what it promises there is less than e.
    let forecast = Forecast::new(&problem, &course.planned(&problem), GRADE).expect("whole");
    assert!(forecast.u_g(MAX_G) < 0.5 * E_G, "{}", forecast.u_g(MAX_G));
}

#[test]
fn without_the_jug_the_far_range_is_not_supported_and_said_to_be_so() {
    let mut problem = problem(&[1000.0, 500.0, 200.0, 200.0, 100.0]);
    let of = |problem: &Problem| {
        let course = planned(problem);
        Forecast::new(problem, &course.planned(problem), GRADE).expect("whole")
    };
    let poor = of(&problem).u_g(MAX_G);
    filled(&mut problem, &[2000.0, 4000.0]);
    let good = of(&problem).u_g(MAX_G);
    assert!(poor > 10.0 * good, "{poor} {good}");
}

#[test]
fn what_cannot_be_planned_is_refused() {
    let refusal = |problem: &Problem| course(problem, AccuracyClass::III, GRADE).err();
    assert_eq!(refusal(&problem(&[])), Some(PlanningRefusal::NothingKnown));
    assert_eq!(
        refusal(&problem(&[7000.0])),
        Some(PlanningRefusal::NothingKnown)
    );
    let mut odd = problem(&[f64::NAN]);
    assert_eq!(refusal(&odd), Some(PlanningRefusal::NotUsable));
    odd = problem(&[1000.0]);
    odd.e_g = -1.0;
    assert_eq!(refusal(&odd), Some(PlanningRefusal::NotUsable));
    let mut jug_alone = problem(&[]);
    filled(&mut jug_alone, &[2000.0]);
    assert_eq!(refusal(&jug_alone), Some(PlanningRefusal::NothingKnown));
}
