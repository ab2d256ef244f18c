//! The USB serial port (CDC-ACM).
//!
//! Owns the USB device and its texts. The stack below it is a library with
//! checks that would panic; `panics.toml` names each with the reason why it is
//! not reached. Built without the feature `usb` there is no port at all, which
//! is how the rest of the image is shown to be free of panics.

use crate::link::Port;

/// No USB: nothing arrives, nothing is taken.
#[cfg(not(feature = "usb"))]
pub struct NoUsb;

#[cfg(not(feature = "usb"))]
impl Port for NoUsb {
    fn poll(&mut self) {}

    fn take(&mut self, _into: &mut [u8]) -> usize {
        0
    }

    fn give(&mut self, _bytes: &[u8]) -> usize {
        0
    }
}

#[cfg(feature = "usb")]
pub use real::Usb;

#[cfg(feature = "usb")]
mod real {
    use rp2040_hal::usb::UsbBus;
    use usb_device::bus::UsbBusAllocator;
    use usb_device::device::{
        StringDescriptors, UsbDevice, UsbDeviceBuilder, UsbDeviceState, UsbVidPid,
    };
    use usbd_serial::{SerialPort, USB_CLASS_CDC};

    use super::Port;

    /// Vendor and product shared by serial devices that are told apart by their
    /// text (Objective Development, "USB-IDs-for-free", CDC-ACM; from memory).
    const IDS: UsbVidPid = UsbVidPid(0x16c0, 0x27dd);

    /// USB serial port.
    pub struct Usb<'a> {
        device: UsbDevice<'a, UsbBus>,
        serial: SerialPort<'a, UsbBus>,
    }

    impl<'a> Usb<'a> {
        /// A serial port with this serial number as text. `None` when the USB
        /// controller has no room for it, which it always has.
        pub fn new(bus: &'a UsbBusAllocator<UsbBus>, number: &'a str) -> Option<Self> {
            let serial = SerialPort::new(bus);
            let texts = StringDescriptors::default()
                .manufacturer("Scalewright")
                .product("Scalewright scale")
                .serial_number(number);
            let device = UsbDeviceBuilder::new(bus, IDS)
                .strings(&[texts])
                .ok()?
                .max_packet_size_0(64)
                .ok()?
                .device_class(USB_CLASS_CDC)
                .build();
            Some(Self { device, serial })
        }
    }

    impl Port for Usb<'_> {
        fn poll(&mut self) {
            self.device.poll(&mut [&mut self.serial]);
        }

        fn take(&mut self, into: &mut [u8]) -> usize {
            self.serial.read(into).unwrap_or(0)
        }

        // A host that is still finding the device would have it all thrown away.
        fn give(&mut self, bytes: &[u8]) -> usize {
            if self.device.state() == UsbDeviceState::Configured {
                self.serial.write(bytes).unwrap_or(0)
            } else {
                0
            }
        }
    }
}
