//! Writes messages in the postcard format without a panic path: every byte goes through a checked `push`.
//!
//! The format is postcard's wire format 1: fixed little-endian floats, varint integers with zig-zag for signed ones,
//! lengths before sequences, the variant's number before its content. Tests hold it against the postcard crate.

use serde::Serialize;
use serde::ser;

use crate::varint;

/// A message could not be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WriteError {
    /// The output has no room.
    Full,
    /// The value is of a kind that never travels (a map, a sequence of unknown length, a formatted string).
    NotOnTheWire,
}

impl core::fmt::Display for WriteError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Full => "the message does not fit the buffer",
            Self::NotOnTheWire => "the value has no form on the wire",
        })
    }
}

impl core::error::Error for WriteError {}

impl ser::Error for WriteError {
    fn custom<T: core::fmt::Display>(_: T) -> Self {
        Self::NotOnTheWire
    }
}

/// Where bytes go.
pub(crate) trait Sink {
    fn push(&mut self, byte: u8) -> Result<(), WriteError>;
}

/// Bytes into a slice, as they are.
pub(crate) struct SliceSink<'a> {
    out: &'a mut [u8],
    pub(crate) used: usize,
}

impl<'a> SliceSink<'a> {
    pub(crate) fn new(out: &'a mut [u8]) -> Self {
        Self { out, used: 0 }
    }
}

impl Sink for SliceSink<'_> {
    fn push(&mut self, byte: u8) -> Result<(), WriteError> {
        *self.out.get_mut(self.used).ok_or(WriteError::Full)? = byte;
        self.used = self.used.saturating_add(1);
        Ok(())
    }
}

/// The serializer.
pub(crate) struct Writer<'a, S>(pub(crate) &'a mut S);

impl<S: Sink> Writer<'_, S> {
    fn unsigned(self, value: u64) -> Result<(), WriteError> {
        varint::write(value, |byte| self.0.push(byte))
    }

    fn signed(self, value: i64) -> Result<(), WriteError> {
        self.unsigned(varint::zigzag(value))
    }

    fn bytes(self, bytes: &[u8]) -> Result<(), WriteError> {
        bytes.iter().try_for_each(|&byte| self.0.push(byte))
    }

    fn again(&mut self) -> Writer<'_, S> {
        Writer(self.0)
    }
}

impl<S: Sink> ser::Serializer for Writer<'_, S> {
    type Ok = ();
    type Error = WriteError;
    type SerializeSeq = Self;
    type SerializeTuple = Self;
    type SerializeTupleStruct = Self;
    type SerializeTupleVariant = Self;
    type SerializeMap = ser::Impossible<(), WriteError>;
    type SerializeStruct = Self;
    type SerializeStructVariant = Self;

    fn is_human_readable(&self) -> bool {
        false
    }

    fn serialize_bool(self, v: bool) -> Result<(), WriteError> {
        self.0.push(u8::from(v))
    }

    fn serialize_i8(self, v: i8) -> Result<(), WriteError> {
        self.0.push(v as u8)
    }

    fn serialize_i16(self, v: i16) -> Result<(), WriteError> {
        self.signed(v.into())
    }

    fn serialize_i32(self, v: i32) -> Result<(), WriteError> {
        self.signed(v.into())
    }

    fn serialize_i64(self, v: i64) -> Result<(), WriteError> {
        self.signed(v)
    }

    fn serialize_u8(self, v: u8) -> Result<(), WriteError> {
        self.0.push(v)
    }

    fn serialize_u16(self, v: u16) -> Result<(), WriteError> {
        self.unsigned(v.into())
    }

    fn serialize_u32(self, v: u32) -> Result<(), WriteError> {
        self.unsigned(v.into())
    }

    fn serialize_u64(self, v: u64) -> Result<(), WriteError> {
        self.unsigned(v)
    }

    fn serialize_f32(self, v: f32) -> Result<(), WriteError> {
        self.bytes(&v.to_le_bytes())
    }

    fn serialize_f64(self, v: f64) -> Result<(), WriteError> {
        self.bytes(&v.to_le_bytes())
    }

    fn serialize_char(self, _: char) -> Result<(), WriteError> {
        Err(WriteError::NotOnTheWire)
    }

    fn serialize_str(self, v: &str) -> Result<(), WriteError> {
        self.serialize_bytes(v.as_bytes())
    }

    fn serialize_bytes(mut self, v: &[u8]) -> Result<(), WriteError> {
        self.again().unsigned(v.len() as u64)?;
        self.bytes(v)
    }

    fn serialize_none(self) -> Result<(), WriteError> {
        self.0.push(0)
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Result<(), WriteError> {
        self.0.push(1)?;
        value.serialize(self)
    }

    fn serialize_unit(self) -> Result<(), WriteError> {
        Ok(())
    }

    fn serialize_unit_struct(self, _: &'static str) -> Result<(), WriteError> {
        Ok(())
    }

    fn serialize_unit_variant(self, _: &'static str, index: u32, _: &'static str) -> Result<(), WriteError> {
        self.unsigned(index.into())
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        value: &T,
    ) -> Result<(), WriteError> {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        mut self,
        _: &'static str,
        index: u32,
        _: &'static str,
        value: &T,
    ) -> Result<(), WriteError> {
        self.again().unsigned(index.into())?;
        value.serialize(self)
    }

    fn serialize_seq(mut self, length: Option<usize>) -> Result<Self, WriteError> {
        self.again().unsigned(length.ok_or(WriteError::NotOnTheWire)? as u64)?;
        Ok(self)
    }

    fn serialize_tuple(self, _: usize) -> Result<Self, WriteError> {
        Ok(self)
    }

    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Self, WriteError> {
        Ok(self)
    }

    fn serialize_tuple_variant(
        mut self,
        _: &'static str,
        index: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, WriteError> {
        self.again().unsigned(index.into())?;
        Ok(self)
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Self::SerializeMap, WriteError> {
        Err(WriteError::NotOnTheWire)
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Self, WriteError> {
        Ok(self)
    }

    fn serialize_struct_variant(
        mut self,
        _: &'static str,
        index: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, WriteError> {
        self.again().unsigned(index.into())?;
        Ok(self)
    }

    fn collect_str<T: core::fmt::Display + ?Sized>(self, _: &T) -> Result<(), WriteError> {
        Err(WriteError::NotOnTheWire)
    }
}

/// All compound kinds are written alike: their parts one after another.
macro_rules! in_order {
    ($($trait:ident :: $method:ident $(($key:ty))?),+ $(,)?) => {
        $(impl<S: Sink> ser::$trait for Writer<'_, S> {
            type Ok = ();
            type Error = WriteError;

            fn $method<T: Serialize + ?Sized>(&mut self, $(_: $key,)? value: &T) -> Result<(), WriteError> {
                value.serialize(self.again())
            }

            fn end(self) -> Result<(), WriteError> {
                Ok(())
            }
        })+
    };
}

in_order!(
    SerializeSeq::serialize_element,
    SerializeTuple::serialize_element,
    SerializeTupleStruct::serialize_field,
    SerializeTupleVariant::serialize_field,
    SerializeStruct::serialize_field(&'static str),
    SerializeStructVariant::serialize_field(&'static str),
);

#[cfg(test)]
mod tests {
    extern crate std;

    use proptest::prelude::*;
    use serde::Deserialize;

    use super::*;
    use crate::reader::Reader;

    /// One of everything that serde derives, so that a field added to a message later is already proven.
    #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
    struct Everything {
        signed: (i8, i16, i32, i64),
        unsigned: (u8, u16, u32, u64),
        floats: (f32, f64),
        flag: bool,
        maybe: Option<Variants>,
        list: heapless::Vec<Variants, 4>,
        array: [u16; 3],
        text: heapless::String<8>,
    }

    #[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
    struct Wrapped(u32);

    #[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
    enum Variants {
        Unit,
        New(Wrapped),
        Tuple(i16, bool),
        Struct { a: u64, b: () },
    }

    fn variants() -> impl Strategy<Value = Variants> {
        prop_oneof![
            Just(Variants::Unit),
            any::<u32>().prop_map(|n| Variants::New(Wrapped(n))),
            any::<(i16, bool)>().prop_map(|(a, b)| Variants::Tuple(a, b)),
            any::<u64>().prop_map(|a| Variants::Struct { a, b: () }),
        ]
    }

    prop_compose! {
        fn everything()(
            signed: (i8, i16, i32, i64), unsigned: (u8, u16, u32, u64), floats: (f32, f64), flag: bool,
            maybe in proptest::option::of(variants()), list in proptest::collection::vec(variants(), 0..4),
            array: [u16; 3], text in "[a-zäß]{0,4}",
        ) -> Everything {
            let list = heapless::Vec::from_slice(&list).unwrap();
            Everything { signed, unsigned, floats, flag, maybe, list, array, text: text.as_str().try_into().unwrap() }
        }
    }

    fn write(value: &Everything) -> std::vec::Vec<u8> {
        let mut out = [0; 256];
        let mut sink = SliceSink::new(&mut out);
        value.serialize(Writer(&mut sink)).unwrap();
        let used = sink.used;
        out.get(..used).unwrap().to_vec()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4000))]

        #[test]
        fn everything_is_postcard(value in everything()) {
            let ours = write(&value);
            let mut theirs = [0; 256];
            let theirs = postcard::to_slice(&value, &mut theirs).unwrap();
            prop_assert_eq!(&ours, &*theirs);
            let mut reader = Reader(theirs);
            prop_assert_eq!(Everything::deserialize(&mut reader).unwrap(), value);
            prop_assert!(reader.0.is_empty());
        }

        /// One byte changed: read alike, or refused alike.
        #[test]
        fn nearly_everything_is_postcard(
            value in everything(), at in any::<prop::sample::Index>(), byte in prop_oneof![0_u8..4, any::<u8>()],
        ) {
            let mut bytes = write(&value);
            let at = at.index(bytes.len());
            *bytes.get_mut(at).unwrap() = byte;
            let mut reader = Reader(&bytes);
            let ours = Everything::deserialize(&mut reader).ok().map(|value| (write(&value), reader.0.len()));
            let theirs = postcard::take_from_bytes::<Everything>(&bytes)
                .ok().map(|(value, rest)| (write(&value), rest.len()));
            prop_assert_eq!(ours, theirs);
        }
    }
}
