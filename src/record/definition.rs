//! What a definition message of a FIT section declares: its fields, their sizes, and where the time stands.
//!
//! Given fields as they were declared; gives lengths, and the time of a data message. It decodes nothing else.

/// Number of the time field in every message of the protocol.
const TIME_FIELD: u8 = 253;
const TIME_BYTES: u8 = 4;

/// A field as a definition declares it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Field {
    pub number: u8,
    pub size: u8,
    pub base_type: u8,
}

impl Field {
    /// Whether its base type is one of the seventeen of the protocol. The flag for types longer than a byte is not
    /// looked at, since some devices leave it out.
    pub fn has_known_type(&self) -> bool {
        self.base_type & 0x1F <= 16
    }
}

/// A field that an application added, as a definition declares it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct DeveloperField {
    pub number: u8,
    pub size: u8,
    pub developer: u8,
}

/// What a definition message says about the data messages that follow under its local number.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Definition {
    /// Global message number, such as 20 for a record.
    pub message: u16,
    pub big_endian: bool,
    pub fields: Vec<Field>,
    pub developer_fields: Vec<DeveloperField>,
    /// Bytes of the native fields, without the header byte.
    pub native_bytes: usize,
    /// Bytes of a data message, without the header byte.
    pub bytes: usize,
    /// Where the time stands in a data message, counted behind the header byte.
    time_at: Option<usize>,
}

impl Definition {
    pub fn new(message: u16, big_endian: bool, fields: Vec<Field>, developer_fields: Vec<DeveloperField>) -> Self {
        let native_bytes = fields.iter().map(|f| usize::from(f.size)).sum();
        let developer_bytes: usize = developer_fields.iter().map(|f| usize::from(f.size)).sum();
        let time_at = fields
            .iter()
            .position(|f| f.number == TIME_FIELD && f.size == TIME_BYTES)
            .map(|i| fields[..i].iter().map(|f| usize::from(f.size)).sum());
        let bytes = native_bytes + developer_bytes;
        Definition { message, big_endian, fields, developer_fields, native_bytes, bytes, time_at }
    }

    /// The time of a data message, where it has one in full.
    pub fn full_time(&self, bytes: &[u8]) -> Option<u32> {
        time(bytes.get(1 + self.time_at?..)?, self.big_endian)
    }
}

/// A time of four bytes; all ones means that there is none.
fn time(bytes: &[u8], big_endian: bool) -> Option<u32> {
    let &raw = bytes.first_chunk()?;
    let time = if big_endian { u32::from_be_bytes(raw) } else { u32::from_le_bytes(raw) };
    (time != u32::MAX).then_some(time)
}
