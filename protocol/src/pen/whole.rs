//! Whole messages, for whoever has room for them: serde drives the pen.
//!
//! Refuses what no message holds: floats, maps, lists of unknown length, numbers
//! above 32 bits.

use core::fmt;

use serde::Serialize;
use serde::ser::{self, Impossible};

use super::Pen;

/// The frame is full, or the value is of a kind that no message holds.
#[derive(Debug)]
pub struct PenFault;

impl fmt::Display for PenFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the message does not fit its frame")
    }
}

impl ser::StdError for PenFault {}

impl ser::Error for PenFault {
    fn custom<T: fmt::Display>(_: T) -> Self {
        Self
    }
}

type Done = Result<(), PenFault>;

impl ser::Serializer for &mut Pen<'_> {
    type Ok = ();
    type Error = PenFault;
    type SerializeSeq = Self;
    type SerializeTuple = Self;
    type SerializeTupleStruct = Self;
    type SerializeTupleVariant = Self;
    type SerializeMap = Impossible<(), PenFault>;
    type SerializeStruct = Self;
    type SerializeStructVariant = Self;

    fn serialize_bool(self, v: bool) -> Done {
        self.bool(v);
        Ok(())
    }
    fn serialize_u8(self, v: u8) -> Done {
        self.u8(v);
        Ok(())
    }
    fn serialize_u16(self, v: u16) -> Done {
        self.u16(v);
        Ok(())
    }
    fn serialize_u32(self, v: u32) -> Done {
        self.u32(v);
        Ok(())
    }
    fn serialize_i32(self, v: i32) -> Done {
        self.i32(v);
        Ok(())
    }
    fn serialize_i16(self, v: i16) -> Done {
        self.serialize_i32(i32::from(v))
    }
    fn serialize_i8(self, v: i8) -> Done {
        self.u8(v as u8);
        Ok(())
    }
    fn serialize_i64(self, _: i64) -> Done {
        Err(PenFault)
    }
    fn serialize_u64(self, _: u64) -> Done {
        Err(PenFault)
    }
    fn serialize_f32(self, _: f32) -> Done {
        Err(PenFault)
    }
    fn serialize_f64(self, _: f64) -> Done {
        Err(PenFault)
    }
    fn serialize_char(self, _: char) -> Done {
        Err(PenFault)
    }
    fn serialize_str(self, v: &str) -> Done {
        self.serialize_bytes(v.as_bytes())
    }
    fn serialize_bytes(self, v: &[u8]) -> Done {
        self.bytes(v);
        Ok(())
    }
    fn serialize_none(self) -> Done {
        self.bool(false);
        Ok(())
    }
    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Done {
        self.bool(true);
        value.serialize(self)
    }
    fn serialize_unit(self) -> Done {
        Ok(())
    }
    fn serialize_unit_struct(self, _: &'static str) -> Done {
        Ok(())
    }
    fn serialize_unit_variant(self, _: &'static str, tag: u32, _: &'static str) -> Done {
        self.u32(tag);
        Ok(())
    }
    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, _: &'static str, value: &T) -> Done {
        value.serialize(self)
    }
    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        tag: u32,
        _: &'static str,
        value: &T,
    ) -> Done {
        self.u32(tag);
        value.serialize(self)
    }
    fn serialize_seq(self, length: Option<usize>) -> Result<Self, PenFault> {
        self.u32(u32::try_from(length.ok_or(PenFault)?).map_err(|_| PenFault)?);
        Ok(self)
    }
    fn serialize_tuple(self, _: usize) -> Result<Self, PenFault> {
        Ok(self)
    }
    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Self, PenFault> {
        Ok(self)
    }
    fn serialize_tuple_variant(
        self,
        _: &'static str,
        tag: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, PenFault> {
        self.u32(tag);
        Ok(self)
    }
    fn serialize_map(self, _: Option<usize>) -> Result<Self::SerializeMap, PenFault> {
        Err(PenFault)
    }
    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Self, PenFault> {
        Ok(self)
    }
    fn serialize_struct_variant(
        self,
        _: &'static str,
        tag: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, PenFault> {
        self.u32(tag);
        Ok(self)
    }
    fn collect_str<T: fmt::Display + ?Sized>(self, _: &T) -> Done {
        Err(PenFault)
    }
    fn is_human_readable(&self) -> bool {
        false
    }
}

/// Every part of a compound is written as it comes.
macro_rules! parts {
    ($($trait:ident, $method:ident;)+) => {$(
        impl ser::$trait for &mut Pen<'_> {
            type Ok = ();
            type Error = PenFault;
            fn $method<T: Serialize + ?Sized>(&mut self, value: &T) -> Done {
                value.serialize(&mut **self)
            }
            fn end(self) -> Done {
                Ok(())
            }
        }
    )+};
}

parts! {
    SerializeSeq, serialize_element;
    SerializeTuple, serialize_element;
    SerializeTupleStruct, serialize_field;
    SerializeTupleVariant, serialize_field;
}

macro_rules! named_parts {
    ($($trait:ident;)+) => {$(
        impl ser::$trait for &mut Pen<'_> {
            type Ok = ();
            type Error = PenFault;
            fn serialize_field<T: Serialize + ?Sized>(&mut self, _: &'static str, value: &T) -> Done {
                value.serialize(&mut **self)
            }
            fn end(self) -> Done {
                Ok(())
            }
        }
    )+};
}

named_parts! {
    SerializeStruct;
    SerializeStructVariant;
}
