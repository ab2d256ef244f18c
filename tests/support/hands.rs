//! Somebody who does what the command's lines ask for.

use std::io::{BufRead, BufReader, Read};
use std::process::Stdio;

use scalewright_bench::Weight;

use super::{Folder, command};

/// The weights as a file their owner would write.
pub fn weights_file(weights: &[Weight]) -> String {
    let mut text = String::new();
    for weight in weights {
        text.push_str(&format!(
            "[[weight]]\nid = \"{}\"\nnominal = \"{} g\"\nclass = \"M1\"\n",
            weight.id, weight.nominal_g
        ));
    }
    text
}

/// Runs the command and hands `put_on` the weights that its lines ask for.
pub fn with_hands(
    folder: &Folder,
    weights: &[Weight],
    put_on: &mut dyn FnMut(Vec<String>),
    arguments: &[&str],
) -> (i32, String, String) {
    let mut child = command(folder.path(), arguments)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    let mut all = String::new();
    for line in BufReader::new(child.stdout.take().expect("piped")).lines() {
        let line = line.expect("UTF-8");
        if line.contains("Put on: ") {
            let asked = line
                .split(|c: char| !c.is_alphanumeric())
                .filter(|word| weights.iter().any(|one| one.id == *word));
            put_on(asked.map(ToString::to_string).collect());
        } else if line.contains("Take everything off") || line.contains("take off what lies there")
        {
            put_on(Vec::new());
        }
        all.push_str(&line);
        all.push('\n');
    }
    let mut err = String::new();
    let mut errors = child.stderr.take().expect("piped");
    errors.read_to_string(&mut err).expect("UTF-8");
    let code = child.wait().expect("it ends").code().unwrap_or(-1);
    (code, all, err)
}
