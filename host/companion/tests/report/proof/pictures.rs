//! The pictures of a verification, each by itself: what is where.

use super::of;
use crate::fixture::proof as fixture;
use crate::pictures::count;
use scalewright::record::comparison::BandCorner;
use scalewright::report::plots::{Room, proved};

#[test]
fn both_ways_of_a_load_differ_by_more_than_colour() {
    let proof = fixture::pottery();
    let svg = proved::errors(&proof, of(&proof, "errors"), "p", Room::Wide);
    assert_eq!(count(&svg, "circle", "after full"), 6 + 1);
    assert_eq!(count(&svg, "polygon", "falling open"), 4 + 1);
    assert_eq!(count(&svg, "polygon", "band"), 1);
    assert!(!svg.contains('✗'));
}

/// The steps lie where class III has them, at 500 e and 2000 e (OIML R 76-1:2006,
/// table 6): in the panel of 736 px from 62 px on, 1 kg and 4 kg of 6 kg.
#[test]
fn the_band_steps_where_the_class_does() {
    let proof = fixture::pottery();
    let svg = proved::errors(&proof, of(&proof, "errors"), "p", Room::Wide);
    let document = roxmltree::Document::parse(&svg).unwrap();
    let band = document
        .descendants()
        .find(|node| node.attribute("class") == Some("band"));
    let points = band.and_then(|node| node.attribute("points")).unwrap();
    let across: Vec<f64> = points
        .split(' ')
        .map(|point| point.split(',').next().unwrap().parse().unwrap())
        .collect();
    for step in [62.0 + 736.0 / 6.0, 62.0 + 736.0 * 4.0 / 6.0] {
        let near = across.iter().filter(|x| (**x - step).abs() < 0.06).count();
        assert_eq!(near, 4, "{step}: {across:?}");
    }
}

/// A table of one's own steps where it says, whatever loads were tried: at 2.5 kg
/// of 6 kg in the panel of 736 px from 62 px on.
#[test]
fn an_own_table_steps_where_it_says() {
    let mut proof = fixture::pottery();
    let corner = |load_g, permitted_g| BandCorner {
        load_g,
        permitted_g,
    };
    proof.band = vec![
        corner(0.0, 1.0),
        corner(2500.0, 1.0),
        corner(2500.001, 5.0),
        corner(6000.0, 5.0),
    ];
    let svg = proved::errors(&proof, of(&proof, "errors"), "p", Room::Wide);
    let document = roxmltree::Document::parse(&svg).unwrap();
    let band = document
        .descendants()
        .find(|node| node.attribute("class") == Some("band"));
    let points = band.and_then(|node| node.attribute("points")).unwrap();
    let step = 62.0 + 736.0 * 2500.0 / 6000.0;
    let near = points.split(' ').filter(|point| {
        let x: f64 = point.split(',').next().unwrap().parse().unwrap();
        (x - step).abs() < 0.06
    });
    assert_eq!(near.count(), 4, "{points}");
}

#[test]
fn the_pan_shows_places_signs_and_what_fails() {
    let proof = fixture::pottery();
    let svg = proved::pan(&proof, of(&proof, "eccentricity"), "p", Room::Wide);
    // Five places; too much at three, too little at two, one more each as legend.
    assert_eq!(count(&svg, "circle", "allowed open"), 5 + 1);
    assert_eq!(count(&svg, "circle", "after full"), 3 + 1);
    assert_eq!(count(&svg, "circle", "after open"), 2 + 1);
    assert_eq!(svg.matches('✗').count(), 1);
    for text in ["✗ +2.36 g", "+0.12, +0.20 g", "−0.54 g", ">far<", ">front<"] {
        assert!(svg.contains(text), "{text}");
    }
    let document = roxmltree::Document::parse(&svg).unwrap();
    let place = |text: &str| {
        let node = document
            .descendants()
            .find(|node| node.text() == Some(text))
            .unwrap();
        ["x", "y"].map(|name| node.attribute(name).unwrap().parse::<f64>().unwrap())
    };
    let ([right, up], [left, down]) = (place("✗ +2.36 g"), place("−0.54 g"));
    assert!(
        right > left && up < down,
        "far right is up and right of front left"
    );
}

#[test]
fn repeatability_leaves_the_summary_out_of_the_marks() {
    let proof = fixture::pottery();
    let svg = proved::repeated(&proof, of(&proof, "repeatability"), "p", Room::Narrow);
    assert_eq!(count(&svg, "circle", "after full"), 6 + 1);
    assert_eq!(count(&svg, "polygon", "band"), 1);
}

#[test]
fn creep_and_return_to_zero_differ_by_shape() {
    let proof = fixture::pottery();
    let svg = proved::in_time(&proof, of(&proof, "creep"), "p", Room::Wide);
    assert_eq!(count(&svg, "circle", "after full"), 5 + 1);
    assert_eq!(count(&svg, "polygon", "falling open"), 2 + 1);
    assert!(svg.contains("unloaded") && svg.contains("with 5.9 kg on the pan"));
}

/// Shares are drawn true to scale: 680 px for the whole variance.
#[test]
fn the_bars_are_divided_as_the_variance_is() {
    let mut proof = fixture::pottery();
    proof.budgets.truncate(1);
    let parts = &mut proof.budgets[0].contributions;
    parts.truncate(2);
    (parts[0].share, parts[1].share) = (0.25, 0.75);
    let svg = proved::shares(&proof, "p", Room::Wide);
    let document = roxmltree::Document::parse(&svg).unwrap();
    let widths: Vec<f64> = document
        .descendants()
        .filter(|node| {
            node.attribute("class")
                .is_some_and(|class| class.starts_with("part"))
        })
        .filter_map(|node| node.attribute("width")?.parse().ok())
        .filter(|width| *width > 30.0)
        .collect();
    assert_eq!(widths, [510.0, 170.0], "the larger first");
}

/// The curve crosses a line where the record says so, and marks stand there.
#[test]
fn the_curve_of_a_reading_crosses_where_the_record_says() {
    let proof = fixture::pottery();
    let svg = proved::relative(&proof, "p", Room::Wide);
    let told = proof.in_use.as_ref().map_or(0, |found| {
        let loads = found.minimum.iter().filter(|one| one.load_g.is_some());
        loads.count()
    });
    assert_eq!(told, 4, "0.01 % is out of reach");
    assert_eq!(count(&svg, "circle", "after full"), told + 1);
    // 1.74 g and 0.006 % are 1 % of 175.1 g, and stand rounded up.
    assert!(svg.contains(">180 g<"), "{svg}");
    let document = roxmltree::Document::parse(&svg).unwrap();
    let curve = document
        .descendants()
        .find(|node| {
            node.tag_name().name() == "polyline" && node.attribute("class") == Some("after")
        })
        .and_then(|node| node.attribute("points"))
        .unwrap();
    let points: Vec<(f64, f64)> = curve
        .split(' ')
        .map(|point| {
            let (x, y) = point.split_once(',').unwrap();
            (x.parse().unwrap(), y.parse().unwrap())
        })
        .collect();
    let height = |x: f64| {
        let after = points.iter().position(|one| one.0 >= x).unwrap().max(1);
        let (a, b) = (points[after - 1], points[after]);
        a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0)
    };
    let marks = document.descendants().filter(|node| {
        node.tag_name().name() == "circle" && node.attribute("class") == Some("after full")
    });
    for mark in marks.skip(1) {
        let at = |name: &str| mark.attribute(name).unwrap().parse::<f64>().unwrap();
        let (x, y) = (at("cx"), at("cy"));
        assert!((height(x) - y).abs() < 1.0, "{x}, {y}: {}", height(x));
    }
}
