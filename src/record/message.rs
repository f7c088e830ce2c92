//! The fields of one FIT message, decoded by `fitparser`.
//!
//! Given definitions and data messages that [`super::frame`] has told apart; gives raw field values by number.
//! The library sees one message at a time and never the developer fields, whose descriptions it cannot do
//! without; so an odd field costs at most its own message. Never used: its profile (names, units and time
//! zones would cost more than the decoding) and its accumulated fields (it adds absolute values up).

use std::collections::HashMap;

use fitparser::Value;
use fitparser::de::{FitObject, FitStreamProcessor};

use super::definition::{Definition, Field};

/// Field number under which a chosen developer field is handed to the library; native fields never use it.
pub(super) const DEVELOPER_SLOT: u8 = 252;
/// The number that the protocol keeps for an invalid field; its value is never read.
const UNREAD: u8 = 255;
/// Base type of bytes without meaning.
const BYTE: u8 = 0x0D;

/// Turns frames into field values.
pub(super) struct MessageDecoder {
    library: FitStreamProcessor,
    /// By local number: bytes of a data message to hand over, header byte included; `None` when not declared.
    lengths: [Option<usize>; 16],
}

/// A developer field chosen to be decoded with the native ones.
#[derive(Debug, Clone, Copy)]
pub(super) struct ChosenField {
    pub developer: u8,
    pub number: u8,
    pub base_type: u8,
}

impl MessageDecoder {
    pub fn new() -> Self {
        let mut library = FitStreamProcessor::new();
        // The library expects a header first. This one promises more data than any file may have, so that its
        // own idea of where the data ends never comes into play. A constant header cannot be refused.
        let header = [14, 0x20, 0, 0, 0xFF, 0xFF, 0xFF, 0x7F, b'.', b'F', b'I', b'T', 0, 0];
        let _ = library.deserialize_next(&header);
        MessageDecoder { library, lengths: [None; 16] }
    }

    /// Declares a kind of message; `chosen` is read as field [`DEVELOPER_SLOT`] where the definition has it.
    pub fn declare(&mut self, local: u8, definition: &Definition, chosen: Option<ChosenField>) {
        let mut fields: Vec<Field> = definition.fields.iter().copied().map(aligned).collect();
        let mut length = 1 + definition.native_bytes;
        if let Some(extra) = chosen.and_then(|chosen| developer_fields_up_to(definition, chosen))
            && fields.len() + extra.len() <= usize::from(u8::MAX)
        {
            length += extra.iter().map(|f| usize::from(f.size)).sum::<usize>();
            // A native field must not pass for the chosen one.
            fields.iter_mut().filter(|f| f.number == DEVELOPER_SLOT).for_each(|f| f.number = UNREAD);
            fields.extend(extra);
        }
        // Cannot be cut: a definition was read from one byte, so it has at most 255 fields.
        let mut bytes = vec![0x40 | (local & 0x0F), 0, u8::from(definition.big_endian)];
        let message = definition.message;
        bytes.extend(if definition.big_endian { message.to_be_bytes() } else { message.to_le_bytes() });
        bytes.push(fields.len() as u8);
        bytes.extend(fields.iter().flat_map(|f| [f.number, f.size, f.base_type]));
        let declared = matches!(self.library.deserialize_next(&bytes), Ok((_, FitObject::DefinitionMessage(_))));
        if let Some(slot) = self.lengths.get_mut(usize::from(local)) {
            *slot = declared.then_some(length);
        }
    }

    /// The fields of a data message that has a value; `None` when the library cannot decode it.
    pub fn fields(&mut self, local: u8, bytes: &[u8]) -> Option<HashMap<u8, Value>> {
        let length = (*self.lengths.get(usize::from(local))?)?;
        match self.library.deserialize_next(bytes.get(..length)?) {
            Ok((_, FitObject::DataMessage(message))) => Some(message.fields),
            _ => None,
        }
    }
}

/// The field with a base type that its size is a multiple of: the library complains aloud about any other.
fn aligned(field: Field) -> Field {
    let base_type = if field.size.is_multiple_of(base_bytes(field.base_type)) { field.base_type } else { BYTE };
    Field { base_type, ..field }
}

/// The developer fields up to the chosen one, as native fields of which only the last is ever read.
fn developer_fields_up_to(definition: &Definition, chosen: ChosenField) -> Option<Vec<Field>> {
    let at = definition
        .developer_fields
        .iter()
        .position(|f| f.developer == chosen.developer && f.number == chosen.number)?;
    let fields = definition.developer_fields.get(..=at)?;
    let before = fields.iter().take(at).map(|f| Field { number: UNREAD, size: f.size, base_type: BYTE });
    let last = fields.last().map(|f| Field { number: DEVELOPER_SLOT, size: f.size, base_type: chosen.base_type });
    Some(before.chain(last.map(aligned)).collect())
}

/// Bytes of one value of a base type (FIT protocol, table of base types); unknown types count as bytes.
fn base_bytes(base_type: u8) -> u8 {
    match base_type & 0x9F {
        0x83 | 0x84 | 0x8B => 2,
        0x85 | 0x86 | 0x88 | 0x8C => 4,
        0x89 | 0x8E | 0x8F | 0x90 => 8,
        _ => 1,
    }
}

/// A field as a number; NaN when it is absent, a list or a text.
pub(super) fn number(fields: &HashMap<u8, Value>, field: u8) -> f64 {
    fields.get(&field).map_or(f64::NAN, as_number)
}

/// A field that counts something, as whole seconds or a code do.
pub(super) fn count(fields: &HashMap<u8, Value>, field: u8) -> Option<u32> {
    let value = number(fields, field);
    (value >= 0.0 && value <= f64::from(u32::MAX)).then_some(value as u32)
}

/// A field that is text.
pub(super) fn text(fields: &HashMap<u8, Value>, field: u8) -> &str {
    match fields.get(&field) {
        Some(Value::String(text)) => text,
        _ => "",
    }
}

/// A raw value as a number. The library has already dropped those that the protocol calls invalid; an infinity, which
/// no sensor measures, is missing too.
pub(super) fn as_number(value: &Value) -> f64 {
    let number = match *value {
        Value::Byte(v) | Value::Enum(v) | Value::UInt8(v) | Value::UInt8z(v) => f64::from(v),
        Value::SInt8(v) => f64::from(v),
        Value::SInt16(v) => f64::from(v),
        Value::UInt16(v) | Value::UInt16z(v) => f64::from(v),
        Value::SInt32(v) => f64::from(v),
        Value::UInt32(v) | Value::UInt32z(v) => f64::from(v),
        Value::Float32(v) => f64::from(v),
        Value::Float64(v) => v,
        Value::SInt64(v) => v as f64,
        Value::UInt64(v) | Value::UInt64z(v) => v as f64,
        Value::String(_) | Value::Array(_) | Value::Timestamp(_) | Value::Invalid => f64::NAN,
    };
    if number.is_finite() { number } else { f64::NAN }
}
