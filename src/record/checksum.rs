//! The checksum of FIT files: CRC-16/ARC.
//!
//! Given bytes; gives sixteen bits. It never decides whether a wrong checksum matters.

use crc::{CRC_16_ARC, Crc};

const ARC: Crc<u16> = Crc::<u16>::new(&CRC_16_ARC);

/// CRC-16/ARC of the bytes. Over data followed by its own checksum, low byte first, it is zero.
///
/// ```
/// assert_eq!(loopwright::record::crc16(b"123456789"), 0xBB3D);
/// ```
pub fn crc16(bytes: &[u8]) -> u16 {
    ARC.checksum(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_check_value_of_the_catalogue_comes_out() {
        // CRC-16/ARC check value of "123456789" in the public catalogue of parametrised CRC algorithms.
        assert_eq!(crc16(b"123456789"), 0xBB3D);
    }

    #[test]
    fn the_published_example_headers_have_their_checksums() {
        // FIT protocol description: first twelve bytes of two headers and the checksums printed with them.
        let first = [0x0E, 0x20, 0xE2, 0x52, 0, 0, 0, 0, b'.', b'F', b'I', b'T'];
        let second = [0x0E, 0x10, 0x5D, 0x08, 0, 0, 0, 0, b'.', b'F', b'I', b'T'];
        assert_eq!(crc16(&first), 0x7ADC);
        assert_eq!(crc16(&second), 0xFE96);
    }

    #[test]
    fn data_with_its_own_checksum_leaves_nothing() {
        let mut bytes = b"a loop closes".to_vec();
        let crc = crc16(&bytes);
        bytes.extend(crc.to_le_bytes());
        assert_eq!(crc16(&bytes), 0);
    }
}
