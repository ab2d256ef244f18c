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
            Err(LinkFault::Refused(refusal)) => tried.push((port, declined(refusal))),
            Err(fault) => tried.push((port, fault.to_string())),
        }
    }
    match found.len() {
        0 => Err(LinkFault::NotFound { tried }),
        1 => found.pop().ok_or(LinkFault::NotFound { tried }),
        _ => Err(LinkFault::Several {
            found: found
                .iter()
                .map(|one| (one.client.port().into(), identity(&one.hello)))
                .collect(),
        }),
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
