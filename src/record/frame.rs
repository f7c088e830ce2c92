//! The messages of one FIT section told apart: where each begins and ends, and its time.
//!
//! Given the bytes of a section; gives one slice per message, in order, without decoding its fields. It stops
//! where the bytes no longer make sense and never reads past a slice. Having the frames here means that a
//! message nobody can decode is passed over instead of ending the file.

use super::definition::{Definition, DeveloperField, Field};
use super::recovery::sound_place;

/// A time further ahead of the last than this, or behind it, is absurd, s.
const LONGEST_STEP_S: u32 = 86_400;
const LONGEST_CORRECTION_S: u32 = 60;
/// Bytes looked at behind a message whose time is absurd.
const NEARBY_BYTES: usize = 4096;
/// Absurd times looked into in one section, so that a file full of them is still read in no time.
const MOST_DOUBTS: usize = 1000;

/// One message.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Frame<'a> {
    Definition { local: u8 },
    Data { local: u8, time: Option<u32>, bytes: &'a [u8] },
}

/// Why no further message can be told apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Break {
    /// The last message is longer than what is left.
    Cut { missing_bytes: usize },
    /// A message of a kind that was never declared, or a declaration that makes no sense: its length is unknown.
    Undeclared,
}

/// Walks through the messages of one section.
pub(super) struct Frames<'a> {
    rest: &'a [u8],
    definitions: [Option<Definition>; 16],
    /// The last full time seen, which short times continue.
    clock: Option<u32>,
    /// The first time seen; one damaged message cannot spoil it later, as it can the last.
    first_time: Option<u32>,
    /// Bytes passed over because they made no sense.
    lost_bytes: usize,
    doubts: usize,
    /// Whether definitions have kept to the form so far, which makes one that does not a sign of damage.
    definitions_in_form: bool,
}

impl<'a> Frames<'a> {
    pub fn new(messages: &'a [u8]) -> Self {
        Frames {
            rest: messages,
            definitions: Default::default(),
            clock: None,
            first_time: None,
            lost_bytes: 0,
            doubts: 0,
            definitions_in_form: true,
        }
    }

    /// The definition in force for a local number.
    pub fn definition(&self, local: u8) -> Option<&Definition> {
        self.definitions.get(usize::from(local)).and_then(Option::as_ref)
    }

    /// The next message; `None` at the end.
    pub fn next(&mut self) -> Option<Result<Frame<'a>, Break>> {
        let &header = self.rest.first()?;
        // Bit 7: data with a short time; bit 6: definition; else plain data.
        Some(if header & 0x80 != 0 {
            self.data((header >> 5) & 0x03, Some(u32::from(header & 0x1F)))
        } else if header & 0x40 != 0 {
            self.definition_message(header)
        } else {
            self.data(header & 0x0F, None)
        })
    }

    /// Bytes passed over because they made no sense.
    pub fn lost_bytes(&self) -> usize {
        self.lost_bytes
    }

    /// Goes on behind a break, at the next place where messages can be told apart again; gives whether there is
    /// one. The bytes up to there are lost.
    pub fn resume(&mut self) -> bool {
        let place = sound_place(self.rest, &self.definitions, self.first_time);
        if let Some(skipped) = place {
            self.pass_over(skipped);
        }
        place.is_some()
    }

    /// Gives up all that is left.
    pub fn abandon(&mut self) {
        self.pass_over(self.rest.len());
    }

    fn pass_over(&mut self, bytes: usize) {
        self.lost_bytes += bytes;
        self.rest = self.rest.get(bytes..).unwrap_or(&[]);
        self.clock = None;
    }

    /// Bytes to go on behind, after a message of the given length: not its own length when its time is absurd and
    /// another place nearby is sound, because then bytes are missing inside it.
    fn step(&mut self, length: usize, full_time: Option<u32>) -> usize {
        let (Some(time), Some(clock)) = (full_time, self.clock) else { return length };
        let absurd = time.saturating_add(LONGEST_CORRECTION_S) < clock || time.saturating_sub(clock) > LONGEST_STEP_S;
        if !absurd || self.doubts == MOST_DOUBTS {
            return length;
        }
        self.doubts += 1;
        let nearby = self.rest.get(..NEARBY_BYTES).unwrap_or(self.rest);
        let step = sound_place(nearby, &self.definitions, self.first_time).unwrap_or(length);
        self.lost_bytes += if step == length { 0 } else { step };
        step
    }

    fn data(&mut self, local: u8, short_time: Option<u32>) -> Result<Frame<'a>, Break> {
        let Some(definition) = self.definitions.get(usize::from(local)).and_then(Option::as_ref) else {
            return Err(Break::Undeclared);
        };
        let length = 1 + definition.bytes;
        let Some(bytes) = self.rest.get(..length) else {
            return Err(Break::Cut { missing_bytes: length - self.rest.len() });
        };
        let full_time = definition.full_time(bytes);
        self.rest = self.rest.get(self.step(length, full_time)..).unwrap_or(&[]);
        let time = full_time.or_else(|| Some(continued_time(self.clock?, short_time?)));
        self.clock = time.or(self.clock);
        self.first_time = self.first_time.or(time);
        Ok(Frame::Data { local, time, bytes })
    }

    fn definition_message(&mut self, header: u8) -> Result<Frame<'a>, Break> {
        let short = |length: usize| Break::Cut { missing_bytes: length.saturating_sub(self.rest.len()).max(1) };
        let &[_, _, architecture, low, high, count, ..] = self.rest else {
            return Err(short(6));
        };
        let big_endian = architecture == 1;
        let message = if big_endian { u16::from_be_bytes([low, high]) } else { u16::from_le_bytes([low, high]) };
        let mut length = 6 + 3 * usize::from(count);
        let declared = self.rest.get(6..length).ok_or(short(length))?;
        let fields: Vec<Field> = declared
            .as_chunks()
            .0
            .iter()
            .map(|&[number, size, base_type]| Field { number, size, base_type: base_type & 0x9F })
            .collect();
        let mut developer_fields = Vec::new();
        if header & 0x20 != 0 {
            let &count = self.rest.get(length).ok_or(short(length + 1))?;
            let start = length + 1;
            length = start + 3 * usize::from(count);
            let declared = self.rest.get(start..length).ok_or(short(length))?;
            developer_fields.extend(declared.as_chunks().0.iter().map(|&[number, size, developer]| DeveloperField {
                number,
                size,
                developer,
            }));
        }
        let in_form = self.rest[1] == 0 && architecture <= 1 && fields.iter().all(Field::has_known_type);
        if !in_form && self.definitions_in_form && self.definitions.iter().any(Option::is_some) {
            return Err(Break::Undeclared);
        }
        self.definitions_in_form &= in_form;
        self.rest = &self.rest[length..];
        let local = header & 0x0F;
        if let Some(slot) = self.definitions.get_mut(usize::from(local)) {
            *slot = Some(Definition::new(message, big_endian, fields, developer_fields));
        }
        Ok(Frame::Definition { local })
    }
}

/// The full time that five bits stand for: the first moment not before `last` that ends on them.
///
/// t = (last ∧ ¬31) + offset, and 32 more when offset < (last ∧ 31) (FIT protocol, compressed timestamp header).
fn continued_time(last: u32, offset: u32) -> u32 {
    let rolled = if offset < (last & 31) { 32 } else { 0 };
    (last & !31).wrapping_add(offset).wrapping_add(rolled)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_times_roll_over_as_in_the_protocol_example() {
        // FIT protocol description: offsets 1D 02 05 01 12 after 3B give 3D 42 45 61 72.
        let mut last = 0x3B;
        for (offset, expected) in [(0x1D, 0x3D), (0x02, 0x42), (0x05, 0x45), (0x01, 0x61), (0x12, 0x72)] {
            last = continued_time(last, offset);
            assert_eq!(last, expected);
        }
    }

    #[test]
    fn a_message_without_a_declaration_ends_the_section() {
        let mut frames = Frames::new(&[0x03, 1, 2, 3]);
        assert_eq!(frames.next(), Some(Err(Break::Undeclared)));
    }

    #[test]
    fn a_cut_message_says_how_many_bytes_are_missing() {
        // Definition of local 0: message 20, one field of four bytes; then a data message with two of them.
        let mut frames = Frames::new(&[0x40, 0, 0, 20, 0, 1, 253, 4, 0x86, 0x00, 1, 2]);
        assert_eq!(frames.next(), Some(Ok(Frame::Definition { local: 0 })));
        assert_eq!(frames.next(), Some(Err(Break::Cut { missing_bytes: 2 })));
    }
}
