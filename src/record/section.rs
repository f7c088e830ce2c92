//! A FIT file cut into its sections: header, data, checksum, and perhaps another header after that.
//!
//! Given the bytes of a file; gives slices of them and says where they are too short. It reads no message and
//! never trusts a stated length beyond the bytes that are there.

use super::checksum::crc16;

/// Smallest header of the protocol, bytes.
const HEADER_BYTES: usize = 12;
/// Length of the checksum that closes a section, bytes.
const CHECKSUM_BYTES: usize = 2;

/// One recording inside a file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Section<'a> {
    /// The messages, without header and checksum.
    pub messages: &'a [u8],
    /// Bytes the header promises and the file does not have, the checksum included.
    pub missing_bytes: u64,
    pub state: State,
}

/// How a section ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum State {
    Sound,
    ChecksumWrong,
    /// The file ends first, so that there is no checksum to compare.
    CutOff,
    /// The device never filled in the length; the section reaches to the next header or the end of the file.
    NotFinalised,
}

/// The sections of a file, and what belongs to none.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Sections<'a> {
    pub sections: Vec<Section<'a>>,
    pub stray_bytes: usize,
}

/// Whether the bytes begin with a FIT header.
pub(super) fn is_header(bytes: &[u8]) -> bool {
    bytes.get(8..HEADER_BYTES) == Some(b".FIT") && usize::from(bytes[0]) >= HEADER_BYTES
}

/// Cuts a file into sections.
pub(super) fn cut(bytes: &[u8]) -> Sections<'_> {
    let mut sections = Vec::new();
    let mut stray_bytes = 0;
    let mut rest = bytes;
    while !rest.is_empty() {
        if is_header(rest) {
            let (section, behind) = first_section(rest);
            sections.push(section);
            rest = behind;
        } else {
            let skipped = next_header(rest).unwrap_or(rest.len());
            stray_bytes += skipped;
            rest = &rest[skipped..];
        }
    }
    Sections { sections, stray_bytes }
}

/// The section whose header opens the bytes, and what follows it.
fn first_section(bytes: &[u8]) -> (Section<'_>, &[u8]) {
    let header_bytes = usize::from(bytes[0]);
    let promised = u32::from_le_bytes([bytes[4], bytes[5], bytes[6], bytes[7]]);
    if promised == 0 {
        return unfinalised_section(bytes, header_bytes);
    }
    // In 64 bits the sum cannot overflow.
    let whole = header_bytes as u64 + u64::from(promised) + CHECKSUM_BYTES as u64;
    let there = bytes.len() as u64;
    if there < whole {
        // The last bytes may be a torn checksum rather than data; the message reader stops at the stated end.
        let end = (header_bytes as u64 + u64::from(promised)).min(there) as usize;
        let messages = bytes.get(header_bytes..end).unwrap_or(&[]);
        return (Section { messages, missing_bytes: whole - there, state: State::CutOff }, &[]);
    }
    let whole = whole as usize;
    let state = if crc16(&bytes[..whole]) == 0 { State::Sound } else { State::ChecksumWrong };
    let messages = &bytes[header_bytes..whole - CHECKSUM_BYTES];
    (Section { messages, missing_bytes: 0, state }, &bytes[whole..])
}

/// A section without a length: it ends where another header begins or the file does.
fn unfinalised_section(bytes: &[u8], header_bytes: usize) -> (Section<'_>, &[u8]) {
    let end = bytes.get(header_bytes..).and_then(next_header).map_or(bytes.len(), |at| header_bytes + at);
    // A device that wrote a checksum but no length is thought possible; a zero residue shows it.
    let closed = end >= header_bytes + CHECKSUM_BYTES && crc16(&bytes[..end]) == 0;
    let messages = bytes.get(header_bytes..if closed { end - CHECKSUM_BYTES } else { end }).unwrap_or(&[]);
    (Section { messages, missing_bytes: 0, state: State::NotFinalised }, &bytes[end..])
}

/// Where the next header begins, if any.
fn next_header(bytes: &[u8]) -> Option<usize> {
    // Only the two sizes in use count here, so that four letters inside a text do not pass for a header.
    bytes.windows(HEADER_BYTES).position(|w| &w[8..] == b".FIT" && matches!(w[0], 12 | 14))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn section(messages: &[u8], length: u32) -> Vec<u8> {
        let mut bytes = vec![12, 0x10, 0, 0];
        bytes.extend(length.to_le_bytes());
        bytes.extend(b".FIT");
        bytes.extend(messages);
        bytes.extend(crc16(&bytes).to_le_bytes());
        bytes
    }

    #[test]
    fn sections_follow_one_another() {
        let file = [section(b"one", 3), section(b"three", 5)].concat();
        let cut = cut(&file);
        assert_eq!(cut.sections.iter().map(|s| s.messages).collect::<Vec<_>>(), [&b"one"[..], b"three"]);
        assert!(cut.sections.iter().all(|s| s.state == State::Sound));
        assert_eq!(cut.stray_bytes, 0);
    }

    #[test]
    fn a_section_without_a_length_ends_at_the_next_header() {
        let file = [section(b"one", 0), section(b"three", 5)].concat();
        let cut = cut(&file);
        assert_eq!(cut.sections[0].messages, b"one");
        assert_eq!(cut.sections[0].state, State::NotFinalised);
        assert_eq!(cut.sections[1].messages, b"three");
    }

    #[test]
    fn every_shorter_copy_says_how_much_is_missing() {
        let file = section(b"messages", 8);
        for length in HEADER_BYTES..file.len() {
            let cut = cut(&file[..length]);
            assert_eq!(cut.sections[0].missing_bytes, (file.len() - length) as u64);
            assert_eq!(cut.sections[0].state, State::CutOff);
        }
    }

    #[test]
    fn bytes_between_sections_are_counted_and_passed_over() {
        let file = [section(b"one", 3), b"noise".to_vec(), section(b"two", 3), b"end".to_vec()].concat();
        let cut = cut(&file);
        assert_eq!(cut.sections.len(), 2);
        assert_eq!(cut.stray_bytes, 8);
    }
}
