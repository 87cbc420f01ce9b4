//! Reads messages in the postcard format without a panic path, for the logger's side. Tests hold it against the postcard
//! crate.

use serde::de::{self, DeserializeSeed, IntoDeserializer, Visitor, value::U32Deserializer};

use crate::varint;

/// Bytes could not be read as a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReadError {
    /// They end too early.
    CutShort,
    /// A number, flag or text is malformed.
    Malformed,
    /// A variant that this version does not know, or content longer than it holds.
    Unknown,
}

impl core::fmt::Display for ReadError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::CutShort => "the message ends too early",
            Self::Malformed => "the message is malformed",
            Self::Unknown => "the message is of a kind that this version does not know",
        })
    }
}

impl core::error::Error for ReadError {}

impl de::Error for ReadError {
    fn custom<T: core::fmt::Display>(_: T) -> Self {
        Self::Unknown
    }

    fn invalid_value(_: de::Unexpected<'_>, _: &dyn de::Expected) -> Self {
        Self::Unknown
    }

    fn invalid_length(_: usize, _: &dyn de::Expected) -> Self {
        Self::Unknown
    }
}

/// The deserializer: what is still to be read.
pub(crate) struct Reader<'de>(pub(crate) &'de [u8]);

impl<'de> Reader<'de> {
    fn take(&mut self, count: usize) -> Result<&'de [u8], ReadError> {
        let (taken, rest) = self.0.split_at_checked(count).ok_or(ReadError::CutShort)?;
        self.0 = rest;
        Ok(taken)
    }

    fn byte(&mut self) -> Result<u8, ReadError> {
        let (&byte, rest) = self.0.split_first().ok_or(ReadError::CutShort)?;
        self.0 = rest;
        Ok(byte)
    }

    fn unsigned(&mut self, bits: u32) -> Result<u64, ReadError> {
        let (value, rest) = varint::read(self.0, bits).ok_or(ReadError::Malformed)?;
        self.0 = rest;
        Ok(value)
    }

    fn signed(&mut self, bits: u32) -> Result<i64, ReadError> {
        Ok(varint::unzigzag(self.unsigned(bits)?))
    }

    fn length(&mut self) -> Result<usize, ReadError> {
        usize::try_from(self.unsigned(32)?).map_err(|_| ReadError::Malformed)
    }

    fn four(&mut self) -> Result<[u8; 4], ReadError> {
        self.take(4)?.try_into().map_err(|_| ReadError::CutShort)
    }

    fn eight(&mut self) -> Result<[u8; 8], ReadError> {
        self.take(8)?.try_into().map_err(|_| ReadError::CutShort)
    }

    fn flag(&mut self) -> Result<bool, ReadError> {
        match self.byte()? {
            0 => Ok(false),
            1 => Ok(true),
            _ => Err(ReadError::Malformed),
        }
    }
}

/// What is not self-describing cannot be read without knowing its type.
macro_rules! not_on_the_wire {
    ($($method:ident)+) => {
        $(fn $method<V: Visitor<'de>>(self, _: V) -> Result<V::Value, ReadError> {
            Err(ReadError::Malformed)
        })+
    };
}

impl<'de> de::Deserializer<'de> for &mut Reader<'de> {
    type Error = ReadError;

    not_on_the_wire!(
        deserialize_any deserialize_identifier deserialize_ignored_any deserialize_map deserialize_char
        deserialize_string deserialize_bytes deserialize_byte_buf
    );

    fn is_human_readable(&self) -> bool {
        false
    }

    fn deserialize_bool<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        visitor.visit_bool(self.flag()?)
    }

    fn deserialize_i8<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        visitor.visit_i8(self.byte()? as i8)
    }

    fn deserialize_i16<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        visitor.visit_i16(self.signed(16)? as i16)
    }

    fn deserialize_i32<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        visitor.visit_i32(self.signed(32)? as i32)
    }

    fn deserialize_i64<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        visitor.visit_i64(self.signed(64)?)
    }

    fn deserialize_u8<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        visitor.visit_u8(self.byte()?)
    }

    fn deserialize_u16<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        visitor.visit_u16(self.unsigned(16)? as u16)
    }

    fn deserialize_u32<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        visitor.visit_u32(self.unsigned(32)? as u32)
    }

    fn deserialize_u64<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        visitor.visit_u64(self.unsigned(64)?)
    }

    fn deserialize_f32<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        visitor.visit_f32(f32::from_le_bytes(self.four()?))
    }

    fn deserialize_f64<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        visitor.visit_f64(f64::from_le_bytes(self.eight()?))
    }

    fn deserialize_str<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        let length = self.length()?;
        let bytes = self.take(length)?;
        visitor.visit_borrowed_str(core::str::from_utf8(bytes).map_err(|_| ReadError::Malformed)?)
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        if self.flag()? { visitor.visit_some(self) } else { visitor.visit_none() }
    }

    fn deserialize_unit<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        visitor.visit_unit()
    }

    fn deserialize_unit_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        visitor: V,
    ) -> Result<V::Value, ReadError> {
        visitor.visit_unit()
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        visitor: V,
    ) -> Result<V::Value, ReadError> {
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_seq<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, ReadError> {
        let left = self.length()?;
        visitor.visit_seq(InOrder { reader: self, left })
    }

    fn deserialize_tuple<V: Visitor<'de>>(self, length: usize, visitor: V) -> Result<V::Value, ReadError> {
        visitor.visit_seq(InOrder { reader: self, left: length })
    }

    fn deserialize_tuple_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        length: usize,
        visitor: V,
    ) -> Result<V::Value, ReadError> {
        self.deserialize_tuple(length, visitor)
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, ReadError> {
        self.deserialize_tuple(fields.len(), visitor)
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, ReadError> {
        visitor.visit_enum(self)
    }
}

/// The parts of a compound value, one after another.
struct InOrder<'a, 'de> {
    reader: &'a mut Reader<'de>,
    left: usize,
}

impl<'de> de::SeqAccess<'de> for InOrder<'_, 'de> {
    type Error = ReadError;

    fn next_element_seed<T: DeserializeSeed<'de>>(&mut self, seed: T) -> Result<Option<T::Value>, ReadError> {
        let Some(left) = self.left.checked_sub(1) else { return Ok(None) };
        self.left = left;
        seed.deserialize(&mut *self.reader).map(Some)
    }

    fn size_hint(&self) -> Option<usize> {
        Some(self.left)
    }
}

impl<'de> de::EnumAccess<'de> for &mut Reader<'de> {
    type Error = ReadError;
    type Variant = Self;

    fn variant_seed<V: DeserializeSeed<'de>>(self, seed: V) -> Result<(V::Value, Self), ReadError> {
        let index = self.unsigned(32)? as u32;
        let deserializer: U32Deserializer<ReadError> = index.into_deserializer();
        Ok((seed.deserialize(deserializer)?, self))
    }
}

impl<'de> de::VariantAccess<'de> for &mut Reader<'de> {
    type Error = ReadError;

    fn unit_variant(self) -> Result<(), ReadError> {
        Ok(())
    }

    fn newtype_variant_seed<T: DeserializeSeed<'de>>(self, seed: T) -> Result<T::Value, ReadError> {
        seed.deserialize(self)
    }

    fn tuple_variant<V: Visitor<'de>>(self, length: usize, visitor: V) -> Result<V::Value, ReadError> {
        de::Deserializer::deserialize_tuple(self, length, visitor)
    }

    fn struct_variant<V: Visitor<'de>>(
        self,
        fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, ReadError> {
        de::Deserializer::deserialize_tuple(self, fields.len(), visitor)
    }
}
