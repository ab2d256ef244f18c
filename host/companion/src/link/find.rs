//! Finds the scale: says hello on every serial port.

use std::time::Duration;

use scalewright_protocol::message::Hello;
use serialport::SerialPortType;

use super::LinkFault;
use super::client::Client;
use super::serial::SerialLine;
use crate::wording::declined;

/// How long one of the four attempts of a hello listens while searching.
const GLANCE: Duration = Duration::from_millis(300);
/// The same on a port behind USB: many boards are reset when their port is
/// opened, and their bootloader has the first two seconds (common practice).
const USB_GLANCE: Duration = Duration::from_millis(750);

/// A scale that answered.
pub struct Found {
    /// The port, still open.
    pub client: Client<SerialLine>,
    /// What it said of itself.
    pub hello: Hello,
}

/// Opens `port` and says hello.
///
/// # Errors
/// Any [`LinkFault`].
pub fn open(port: &str, first_id: u16) -> Result<Found, LinkFault> {
    let mut client = Client::new(SerialLine::open(port)?, first_id);
    let hello = client.hello()?;
    Ok(Found { client, hello })
}

/// The one scale that answers on any port.
///
/// # Errors
/// [`LinkFault::NotFound`] with what each port said, or [`LinkFault::Several`].
pub fn search(first_id: u16, on_port: &mut dyn FnMut(&str)) -> Result<Found, LinkFault> {
    let mut tried = Vec::new();
    let mut found: Vec<Found> = Vec::new();
    for (port, usb) in candidates() {
        on_port(&port);
        let patience = if usb { USB_GLANCE } else { GLANCE };
        match glance(&port, patience, first_id) {
            Ok(one) => found.push(one),
            Err(fault) => tried.push((port, fault)),
        }
    }
    match found.len() {
        0 => Err(not_found(tried)),
        1 => found.pop().ok_or_else(|| not_found(tried)),
        _ => Err(LinkFault::Several {
            found: found
                .iter()
                .map(|one| (one.client.port().into(), identity(&one.hello)))
                .collect(),
        }),
    }
}

/// What the ports said, and whether this user was let in at all: a scale may
/// well be on a port that could not be opened.
fn not_found(tried: Vec<(String, LinkFault)>) -> LinkFault {
    let shut = |fault: &LinkFault| matches!(fault, LinkFault::NoPermission { .. });
    let barred = tried.iter().filter(|(_, fault)| shut(fault)).count();
    let said = |fault: LinkFault| match fault {
        LinkFault::Refused(refusal) => declined(refusal),
        fault => fault.to_string(),
    };
    let tried = tried.into_iter().map(|(port, fault)| (port, said(fault)));
    LinkFault::NotFound {
        tried: tried.collect(),
        barred,
    }
}

fn glance(port: &str, patience: Duration, first_id: u16) -> Result<Found, LinkFault> {
    let mut client = Client::new(SerialLine::open(port)?, first_id);
    let usual = client.set_patience(patience);
    let hello = client.hello()?;
    client.set_patience(usual);
    Ok(Found { client, hello })
}

/// Ports worth asking, USB first, and whether they are behind USB.
fn candidates() -> Vec<(String, bool)> {
    let mut ports = serialport::available_ports().unwrap_or_default();
    ports.sort_by_key(|port| {
        let rank = match port.port_type {
            SerialPortType::UsbPort(_) => 0,
            SerialPortType::BluetoothPort => 2,
            _ => 1,
        };
        (rank, port.port_name.clone())
    });
    ports
        .into_iter()
        .map(|port| {
            let usb = matches!(port.port_type, SerialPortType::UsbPort(_));
            (port.port_name, usb)
        })
        .collect()
}

/// A device's identity as shown to people.
#[must_use]
pub fn identity(hello: &Hello) -> String {
    format!("{:04X}", hello.device_id)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ports_that_may_not_be_opened_are_counted() {
        let port = String::from("/dev/ttyS0");
        let shut = LinkFault::NoPermission { port: port.clone() };
        let gone = LinkFault::NoSuchPort { port: port.clone() };
        let told = |faults: &[&LinkFault]| {
            let tried = faults.iter().map(|fault| (port.clone(), (*fault).clone()));
            not_found(tried.collect()).to_string()
        };
        assert_eq!(told(&[]), "no serial port on this machine");
        assert_eq!(told(&[&gone]), "no scale answers on the only port there is");
        let some = "no scale answers on any of 2 ports";
        assert_eq!(told(&[&gone, &shut]), some);
        let all = "no scale can be looked for: this user may not use serial ports";
        assert_eq!(told(&[&shut, &shut]), all);
        let fault = not_found(vec![(port.clone(), gone), (port.clone(), shut)]);
        assert!(matches!(fault, LinkFault::NotFound { barred: 1, .. }));
    }
}
