//! FIT files written byte by byte, so that tests can make faults that no encoder would.
//!
//! Given definitions and raw values; gives the bytes of a file. It shares no code with the reader.
#![allow(dead_code)]

/// Base types of the protocol.
pub mod base {
    pub const ENUM: u8 = 0x00;
    pub const SINT8: u8 = 0x01;
    pub const UINT8: u8 = 0x02;
    pub const TEXT: u8 = 0x07;
    pub const BYTE: u8 = 0x0D;
    pub const UINT16: u8 = 0x84;
    pub const SINT32: u8 = 0x85;
    pub const UINT32: u8 = 0x86;
}

/// A value to be written in the byte order of the file.
#[derive(Clone, Copy)]
pub enum Raw<'a> {
    U8(u8),
    U16(u16),
    U32(u32),
    I32(i32),
    Bytes(&'a [u8]),
}

/// The messages of one section.
pub struct Section {
    pub messages: Vec<u8>,
    big_endian: bool,
}

impl Section {
    pub fn little_endian() -> Self {
        Section { messages: Vec::new(), big_endian: false }
    }

    pub fn big_endian() -> Self {
        Section { messages: Vec::new(), big_endian: true }
    }

    /// A definition; each field is number, size, base type, each developer field number, size, index.
    pub fn define(&mut self, local: u8, message: u16, fields: &[[u8; 3]], developer: &[[u8; 3]]) {
        let flag = if developer.is_empty() { 0x40 } else { 0x60 };
        self.messages.extend([flag | local, 0, u8::from(self.big_endian)]);
        self.raw(Raw::U16(message));
        self.messages.push(fields.len() as u8);
        self.messages.extend(fields.iter().flatten());
        if !developer.is_empty() {
            self.messages.push(developer.len() as u8);
            self.messages.extend(developer.iter().flatten());
        }
    }

    pub fn data(&mut self, local: u8, values: &[Raw]) {
        self.messages.push(local);
        values.iter().for_each(|&v| self.raw(v));
    }

    /// A data message whose time is five bits in its header.
    pub fn data_with_short_time(&mut self, local: u8, offset: u8, values: &[Raw]) {
        self.messages.push(0x80 | local << 5 | offset);
        values.iter().for_each(|&v| self.raw(v));
    }

    pub fn raw(&mut self, value: Raw) {
        match (value, self.big_endian) {
            (Raw::U8(v), _) => self.messages.push(v),
            (Raw::Bytes(v), _) => self.messages.extend(v),
            (Raw::U16(v), false) => self.messages.extend(v.to_le_bytes()),
            (Raw::U16(v), true) => self.messages.extend(v.to_be_bytes()),
            (Raw::U32(v), false) => self.messages.extend(v.to_le_bytes()),
            (Raw::U32(v), true) => self.messages.extend(v.to_be_bytes()),
            (Raw::I32(v), false) => self.messages.extend(v.to_le_bytes()),
            (Raw::I32(v), true) => self.messages.extend(v.to_be_bytes()),
        }
    }

    /// A file identification of the given type; 4 is an activity.
    pub fn file_id(&mut self, kind: u8) {
        self.define(0, 0, &[[0, 1, base::ENUM], [4, 4, base::UINT32]], &[]);
        self.data(0, &[Raw::U8(kind), Raw::U32(START)]);
    }

    /// With a header of 14 bytes, its length filled in, and both checksums.
    pub fn file(&self) -> Vec<u8> {
        self.file_of_stated_length(self.messages.len() as u32)
    }

    /// The same with any length in the header.
    pub fn file_of_stated_length(&self, length: u32) -> Vec<u8> {
        let mut bytes = vec![14, 0x20, 0x54, 0x08];
        bytes.extend(length.to_le_bytes());
        bytes.extend(b".FIT");
        bytes.extend(bitwise_crc(&bytes).to_le_bytes());
        bytes.extend(&self.messages);
        bytes.extend(bitwise_crc(&bytes).to_le_bytes());
        bytes
    }
}

/// FIT time of the first second of the rides made here.
pub const START: u32 = 1_100_000_000;
/// The same in Unix time, s (the epochs are 631065600 s apart).
pub const START_UNIX_S: f64 = 1_731_065_600.0;

/// Definition of the records of [`ride`].
pub const RECORD_FIELDS: [[u8; 3]; 14] = [
    [253, 4, base::UINT32],
    [0, 4, base::SINT32],
    [1, 4, base::SINT32],
    [5, 4, base::UINT32],
    [73, 4, base::UINT32],
    [78, 4, base::UINT32],
    [7, 2, base::UINT16],
    [3, 1, base::UINT8],
    [4, 1, base::UINT8],
    [13, 1, base::SINT8],
    [9, 2, 0x83],
    [30, 1, base::UINT8],
    [39, 2, base::UINT16],
    [41, 2, base::UINT16],
];

/// The values of one record of [`ride`], second `i`.
pub fn record(i: u32) -> [Raw<'static>; 14] {
    [
        Raw::U32(START + i),
        Raw::I32(536_870_912 + 100 * i as i32),
        Raw::I32(-100 * i as i32),
        Raw::U32(1_000 * i),
        Raw::U32(10_000 + i % 500),
        Raw::U32(3_000),
        Raw::U16(200 + (i % 50) as u16),
        Raw::U8(140),
        Raw::U8(90),
        Raw::U8(21),
        Raw::U16(0),
        Raw::U8(50),
        Raw::U16(85),
        Raw::U16(1_200),
    ]
}

/// A cycling activity of one record a second with every channel, a pause, two laps and a session.
pub fn ride(mut section: Section, seconds: u32) -> Section {
    section.file_id(4);
    let event = |s: &mut Section, kind: u8, time: u32| s.data(1, &[Raw::U32(time), Raw::U8(0), Raw::U8(kind)]);
    section.define(1, 21, &[[253, 4, base::UINT32], [0, 1, base::ENUM], [1, 1, base::ENUM]], &[]);
    event(&mut section, 0, START);
    section.define(2, 20, &RECORD_FIELDS, &[]);
    for i in 0..seconds {
        if i == seconds / 2 {
            event(&mut section, 4, START + i);
            event(&mut section, 0, START + i + 1);
        }
        section.data(2, &record(i));
    }
    let end = START + seconds;
    event(&mut section, 4, end);
    section.define(3, 19, &[[253, 4, base::UINT32], [2, 4, base::UINT32], [7, 4, base::UINT32]], &[]);
    let half = seconds / 2;
    section.data(3, &[Raw::U32(START + half), Raw::U32(START), Raw::U32(half * 1000 + 250)]);
    section.data(3, &[Raw::U32(end), Raw::U32(START + half), Raw::U32((seconds - half) * 1000 - 500)]);
    let session = [[253, 4, base::UINT32], [2, 4, base::UINT32], [7, 4, base::UINT32], [5, 1, base::ENUM]];
    section.define(4, 18, &session, &[]);
    section.data(4, &[Raw::U32(end), Raw::U32(START), Raw::U32(seconds * 1000), Raw::U8(2)]);
    section
}

/// CRC-16/ARC one bit at a time, to check the table of the reader against.
pub fn bitwise_crc(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0, |crc, &byte| {
        (0..8).fold(crc ^ u16::from(byte), |crc, _| if crc & 1 == 1 { (crc >> 1) ^ 0xA001 } else { crc >> 1 })
    })
}
