use proptest::prelude::*;

use super::*;

fn grams(text: &str) -> Vec<(Option<f64>, f64, usize)> {
    let read = parse(text).unwrap_or_else(|fault| panic!("{text:?}: {fault}"));
    let rows = read.rows.into_iter();
    rows.map(|row| (row.load_g, row.reading_g, row.line))
        .collect()
}

#[test]
fn columns_are_found_by_words_or_by_place() {
    let same = vec![(Some(1000.0), 1000.4, 2), (Some(2000.0), 2000.9, 3)];
    for text in [
        "load (g);reading (g)\n1000;1000.4\n2000;2000.9\n",
        "Nr;Reading [g];Load [kg]\r\n1;1000.4;1\r\n2;2000.9;2\r\n",
        "load,reading,unit\n1000,1000.4,g\n2000,2000.9,g\n",
        "test load\tindication\n1 kg\t1000.4 g\n2 kg\t2000.9 g\n",
        "\u{feff}# a remark\n1000;1000,4;g\n2000;2000,9;g\n",
        "load;shown (kg)\n1,0;1,0004\n2,0;2,0009\n",
        "load,shown\n\"1,0 kg\",\"1,000.4 g\"\n\"2,0 kg\",\"2,000.9 g\"\n",
    ] {
        // The last one mixes the signs and is refused instead.
        if text.contains("\"1,0 kg\"") {
            let fault = parse(text).expect_err("two signs");
            assert_eq!(fault.line, Some(2), "{fault}");
            continue;
        }
        assert_eq!(grams(text), same, "{text}");
    }
}

#[test]
fn weights_may_stand_for_a_load() {
    let read = parse("weights;reading (g)\nW1+W5;2010.2\nW2 ; 500,0\n");
    assert!(read.is_err(), "two decimal signs");
    let read = parse("load;reading (g)\nW1 + W5;2010.2\n0;0.0\n").expect("readings");
    assert_eq!(read.rows[0].weights, ["W1", "W5"]);
    assert_eq!(
        (read.rows[0].load_g, read.rows[1].load_g),
        (None, Some(0.0))
    );
}

#[test]
fn repeats_are_lines_or_columns() {
    let by_column = grams("load;reading 1 (g);reading 2 (g)\n100 g;100.1;100.2\n");
    assert_eq!(
        by_column,
        [(Some(100.0), 100.1, 2), (Some(100.0), 100.2, 2)]
    );
    let by_line = parse("load;reading (g)\n100;100.1\n100;100.2\n").expect("readings");
    assert_eq!((by_line.rows.len(), by_line.flags.len()), (2, 0));
}

/// Each fault has its line and says what to do.
#[test]
fn what_can_be_read_in_two_ways_is_refused() {
    for (text, line, what) in [
        ("", None, "nothing in it"),
        ("1000\n2000\n", Some(1), "only one column"),
        (
            "a;b\n1;2\n",
            Some(1),
            "called \"load\" and none \"reading\"",
        ),
        ("load;c\n1;2\n", Some(1), "called \"reading\""),
        ("load;load;reading\n1;2;3\n", Some(1), "two columns"),
        ("load;reading\n1000;1000.4\n", Some(2), "has no unit"),
        (
            "load (g);reading (g)\n500;500.5\n600;600,5\n",
            Some(3),
            "another decimal sign",
        ),
        (
            "load (g);reading (g)\n1.500;1.501\n",
            Some(2),
            "in two ways",
        ),
        (
            "load (g);reading (g)\n1,500;1,501\n",
            Some(2),
            "in two ways",
        ),
        (
            "load,reading (g)\n500,5,500,6\n",
            Some(2),
            "4 cells stand in 2 columns",
        ),
        ("500,5,500,6\n", Some(1), "4 columns without a heading"),
        (
            "load (g);reading (g)\n500;500 kg\n",
            Some(2),
            "but its column or row is in g",
        ),
        (
            "load (g);reading (g)\n500;0.5003\n",
            Some(2),
            "a factor of 1000 apart",
        ),
        (
            "load (g);reading (g)\n453.6;1.0\n",
            Some(2),
            "grams in a pound apart",
        ),
        (
            "load (g);reading (g)\n500;\"500\n",
            Some(2),
            "quotation mark",
        ),
        ("load (g);reading (g)\n-5;5\n", Some(2), "below zero"),
        ("load (g);reading (g)\n1.2.3;5\n", Some(2), "is no number"),
        ("load (g);reading (g)\n;\n", None, "no line has both"),
        (
            "load (g);reading (g)\n5;9e300\n",
            Some(2),
            "more than any scale",
        ),
    ] {
        let fault = parse(text).expect_err(text);
        assert_eq!(fault.line, line, "{text:?}: {fault}");
        assert!(fault.to_string().contains(what), "{text:?}: {fault}");
        assert!(!fault.try_this.is_empty());
    }
}

#[test]
fn the_whole_file_tells_the_decimal_sign() {
    // "2,001" alone could be 2001; "0,500" can't.
    let text = "load (kg);reading (kg)\n2,000;2,001\n0,500;0,501\n";
    assert_eq!(grams(text)[0], (Some(2000.0), 2001.0, 2));
    let text = "load (g);reading (g)\n2,000;2,001.5\n500;500.5\n";
    assert_eq!(grams(text)[0], (Some(2000.0), 2001.5, 2));
    // Where commas part columns a point can only part decimals.
    assert_eq!(grams("load (kg),reading (kg)\n2.000,2.001\n")[0].1, 2001.0);
    assert_eq!(grams("load (g);reading (g)\n1'000;1 000,5\n")[0].1, 1000.5);
    assert_eq!(
        grams("load (g);reading (g)\n\u{2212}0;\u{2212}0.5\n")[0].1,
        -0.5
    );
    assert_eq!(
        grams("load (g);reading (g)\n1.0E+03;1.0004E3\n")[0].1,
        1000.4
    );
}

#[test]
fn doubtful_lines_are_flagged_with_their_number() {
    let read = parse(
        "load (g);reading (g)\n100;100.1\n200;200.1\n100;100.1\n300;\n;400\n\
         500;ERR\n600;600 stone\n700;250.1\n800;800.1\n900;900.1\n900;900.4\n900;900.8\n",
    )
    .expect("readings");
    let said: Vec<(usize, bool, &str)> = (read.flags.iter())
        .map(|flag| (flag.line, flag.left_out, flag.what.as_str()))
        .collect();
    assert_eq!(
        said,
        [
            (4, true, "it is line 2 once more, and counts once"),
            (5, true, "there is no reading"),
            (6, true, "there is no load"),
            (7, true, "the reading \"ERR\" is no number"),
            (
                8,
                true,
                "the reading \"stone\" in \"600 stone\" is no mass unit"
            ),
            (
                9,
                true,
                "a reading of 250.1 g does not belong to a load of 700 g"
            ),
            (
                11,
                false,
                "the readings of this load keep rising from 900.1 g to 900.8 g (line 13)"
            ),
        ]
    );
    assert_eq!(read.rows.len(), 6);
}

#[test]
fn the_interval_shows_in_the_digits() {
    let step = |text: &str| parse(text).expect("readings").step_g;
    assert!((step("load (g);reading (g)\n1;1.02\n2;2.1\n") - 0.01).abs() < 1e-12);
    let fives = "load (g);reading (kg)\n100;0.100\n200;0.205\n300;0.300\n400;0.395\n500;0.505\n";
    assert!(
        (step(fives) - 1.0).abs() < 1e-9,
        "two different errors are too few"
    );
    let fives = format!("{fives}600;0.610\n");
    assert!((step(&fives) - 5.0).abs() < 1e-9);
    // What is its round load tells nothing of d.
    let right = "load (g);reading (g)\n100;100.0\n200;200.0\n300;300.0\n400;400.0\n";
    assert!((step(right) - 0.1).abs() < 1e-12);
}

proptest! {
    #[test]
    fn no_text_breaks_it(text in "(?s).{0,300}") {
        let _ = parse(&text);
    }

    #[test]
    fn no_table_breaks_it(text in "(load|reading|unit|weights)?[;,\t]?(load|reading)?( \\(k?g\\))?\n([0-9.,;'\"\t +eE\u{2212}gkW-]{0,20}\n){0,8}") {
        if let Ok(read) = parse(&text) {
            prop_assert!(!read.rows.is_empty());
            prop_assert!(read.step_g > 0.0 && read.rows.iter().all(|row| row.reading_g.is_finite()));
        }
    }

    /// What is written with either sign is read as it was.
    #[test]
    fn a_table_is_read_as_it_was_written(
        values in prop::collection::vec((10u32..600_000, -300i32..300), 1..12),
        comma: bool,
    ) {
        let number = |hundredths: i64| {
            let text = format!("{}.{:02}", hundredths / 100, hundredths % 100);
            if comma { text.replace('.', ",") } else { text }
        };
        let mut text = String::from("nr;load (g);reading (g)\n");
        for (nr, (load, off)) in values.iter().enumerate() {
            // Far from the ratios that count as a wrong unit.
            let load = i64::from(*load) + 30_000;
            text += &format!("{nr};{};{}\n", number(load), number(load + i64::from(*off)));
        }
        let read = parse(&text).expect("readings");
        prop_assert_eq!(read.rows.len(), values.len());
        for (row, (load, off)) in read.rows.iter().zip(&values) {
            let load_g = (f64::from(*load) + 30_000.0) / 100.0;
            prop_assert!((row.load_g.unwrap_or(0.0) - load_g).abs() < 1e-9);
            prop_assert!((row.reading_g - load_g - f64::from(*off) / 100.0).abs() < 1e-9);
        }
    }
}
