//! What `watch` is connected to: the keyboard, and a scale that may go and come.

use std::io::{BufRead, IsTerminal};
use std::sync::mpsc::{Receiver, channel};

use crate::inspect::Subject;
use crate::link::LinkFault;
use crate::link::find::{Found, identity};

use super::find::connect;
use super::inspect::read_subject;
use super::problem::Problem;

/// Lines typed, from a thread that ends with the program. Not read where that
/// would stop a program in the background.
pub fn typed_lines() -> Receiver<String> {
    let (sender, typed) = channel();
    if !std::io::stdin().is_terminal() || std::io::stdout().is_terminal() {
        std::thread::spawn(move || {
            for line in std::io::stdin().lock().lines().map_while(Result::ok) {
                if sender.send(line).is_err() {
                    break;
                }
            }
        });
    }
    typed
}

/// What an attempt to find a scale again led to.
pub enum Again {
    /// It is back, and this is what it is now.
    Back(Box<Found>, Box<Subject>),
    /// Another scale answers in its place; in words.
    Another(String),
    /// Nobody answers.
    Nobody,
}

/// Looks for the scale that was `lost`: on its port, and, if the user named
/// none, on all others too, since a port may come back under another number.
pub fn find_again(named: Option<&str>, lost: &Found) -> Again {
    let at_its_port = connect(Some(lost.client.port()), true);
    let again = at_its_port.or_else(|problem| match named {
        Some(_) => Err(problem),
        None => connect(None, true),
    });
    let Ok(mut found) = again else {
        return Again::Nobody;
    };
    if found.hello.device_id != lost.hello.device_id {
        return Again::Another(format!(
            "another scale, {}, answers there; waiting for {}",
            identity(&found.hello),
            identity(&lost.hello)
        ));
    }
    match read_subject(&mut found.client, &found.hello, None) {
        Ok((subject, _)) => Again::Back(Box::new(found), Box::new(subject)),
        Err(_) => Again::Nobody,
    }
}

/// What can end a step.
pub enum Trouble {
    /// The line to the scale.
    Link(LinkFault),
    /// The log.
    Log(Problem),
}

impl From<LinkFault> for Trouble {
    fn from(fault: LinkFault) -> Self {
        Self::Link(fault)
    }
}

impl From<Problem> for Trouble {
    fn from(problem: Problem) -> Self {
        Self::Log(problem)
    }
}
