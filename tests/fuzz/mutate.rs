//! Changes to an input: bytes, numbers, lines, lengths; splices of two; checksums mended.
//!
//! Given inputs that were good for something and a seeded generator; gives another. The same seed gives the same.

use crate::targets::Kind;
use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

pub type Random = Xoshiro256PlusPlus;

/// Largest input made.
const MOST_BYTES: usize = 400_000;

/// Numbers at the ends of types and of sense.
const ODD_NUMBERS: [&str; 26] = [
    "0",
    "-0",
    "1",
    "-1",
    "2",
    "0.5",
    "1e-300",
    "1e300",
    "-1e300",
    "1e400",
    "nan",
    "inf",
    "-inf",
    "1e9",
    "4294967295",
    "4294967296",
    "9223372036854775807",
    "9223372036854775808",
    "18446744073709551616",
    "0x10",
    "1_000",
    "1,5",
    "",
    "1979-05-27T07:32:00Z",
    "9999-12-31T23:59:59Z",
    "-9999999999999",
];
const ODD_WORDS: [&str; 24] = [
    "\"", "'", "\"\"\"", "[", "]", "{", "}", "[[run]]", "=", ",", ";", "\n", "\r\n", "\r", "\t", "\0", "\u{feff}", "#",
    "💥", "\u{202e}", "true", "[]", "..", "é",
];
const ODD_WORDS_32: [u32; 12] =
    [0, 1, 2, 0x7f, 0xff, 0x7fff, 0xffff, 0x7fff_ffff, 0x8000_0000, 0xffff_fffe, 0xffff_ffff, 0x1000_0000];

pub struct Mutator {
    pub random: Random,
    pub kind: Kind,
}

impl Mutator {
    fn below(&mut self, n: usize) -> usize {
        if n == 0 { 0 } else { self.random.random_range(0..n) }
    }

    fn chance(&mut self, one_in: usize) -> bool {
        self.below(one_in) == 0
    }

    fn pick<'s>(&mut self, words: &[&'s str]) -> &'s str {
        words[self.below(words.len())]
    }

    /// One of the inputs, changed once or a few times.
    pub fn changed(&mut self, kept: &[Vec<u8>]) -> Vec<u8> {
        let mut input = kept[self.below(kept.len())].clone();
        let changes = if self.chance(8) { 1 + self.below(40) } else { 1 + self.below(4) };
        for _ in 0..changes {
            let is_fit = self.kind == Kind::Fit || (self.kind == Kind::Ride && input.get(10..12) == Some(b"IT"));
            match self.below(if is_fit { 10 } else { 9 }) {
                0 => self.flip(&mut input),
                1 => self.overwrite(&mut input),
                2 => self.remove(&mut input),
                3 => self.repeat(&mut input),
                4 => self.splice(&mut input, kept),
                5 if self.chance(4) => self.cut(&mut input),
                _ if is_fit => self.fit(&mut input),
                6 => self.line(&mut input),
                7 => self.word(&mut input),
                _ => self.number(&mut input),
            }
            input.truncate(MOST_BYTES);
        }
        self.mend_mostly(&mut input);
        input
    }

    /// Mends length and checksums of a FIT file four times in five.
    pub fn mend_mostly(&mut self, input: &mut [u8]) {
        let start = usize::from(self.kind == Kind::Ride);
        if input.get(start + 8..start + 12) == Some(b".FIT") && !self.chance(5) {
            mend(&mut input[start..]);
        }
    }

    fn flip(&mut self, input: &mut [u8]) {
        let at = self.below(input.len());
        if let Some(byte) = input.get_mut(at) {
            *byte ^= 1 << self.below(8);
        }
    }

    fn overwrite(&mut self, input: &mut [u8]) {
        let at = self.below(input.len());
        let odd = ODD_WORDS_32[self.below(ODD_WORDS_32.len())];
        let bytes = if self.chance(2) { odd.to_le_bytes() } else { odd.to_be_bytes() };
        let width = 1 << self.below(3);
        input.iter_mut().skip(at).zip(bytes).take(width).for_each(|(old, new)| *old = new);
    }

    fn span(&mut self, length: usize) -> std::ops::Range<usize> {
        let from = self.below(length);
        let longest = if self.chance(3) { length } else { 40 };
        from..(from + 1 + self.below(longest)).min(length)
    }

    fn remove(&mut self, input: &mut Vec<u8>) {
        let span = self.span(input.len());
        input.drain(span);
    }

    fn repeat(&mut self, input: &mut Vec<u8>) {
        let piece = input[self.span(input.len())].to_vec();
        let times = if self.chance(10) { 200 } else { 1 + self.below(3) };
        let at = self.below(input.len());
        let room = MOST_BYTES.saturating_sub(input.len());
        let many = piece.repeat(times.min(1 + room / piece.len().max(1)));
        input.splice(at..at, many);
    }

    fn splice(&mut self, input: &mut Vec<u8>, kept: &[Vec<u8>]) {
        let other = &kept[self.below(kept.len())];
        let piece = other[self.span(other.len())].to_vec();
        let over = self.span(input.len());
        let into = if self.chance(2) { over } else { over.start..over.start };
        input.splice(into, piece);
    }

    fn cut(&mut self, input: &mut Vec<u8>) {
        let length = self.below(input.len());
        input.truncate(length);
    }

    /// A line repeated, removed or put elsewhere.
    fn line(&mut self, input: &mut Vec<u8>) {
        let mut lines: Vec<&[u8]> = input.split(|b| *b == b'\n').collect();
        let (from, to) = (self.below(lines.len()), self.below(lines.len()));
        match self.below(3) {
            0 => lines.swap(from, to),
            1 => lines.insert(to, lines[from]),
            _ => {
                lines.remove(from);
            }
        }
        *input = lines.join(&b'\n');
    }

    /// A mark or word where another kind of thing is expected.
    fn word(&mut self, input: &mut Vec<u8>) {
        let at = self.below(input.len());
        let word = self.pick(&ODD_WORDS);
        let times = if self.chance(20) { 3000 } else { 1 };
        input.splice(at..at, word.repeat(times).into_bytes());
    }

    /// A number replaced by an odd one or by one near it.
    fn number(&mut self, input: &mut Vec<u8>) {
        let is_part = |b: &u8| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'+');
        let from = self.below(input.len());
        let Some(start) = input.iter().skip(from).position(is_part).map(|i| i + from) else { return };
        let length = input[start..].iter().take_while(|b| is_part(b)).count();
        let old = std::str::from_utf8(&input[start..start + length]).ok().and_then(|t| t.parse::<f64>().ok());
        let new = match (self.below(3), old) {
            (0, Some(old)) => format!("{}", old * [0.0, -1.0, 0.001, 10.0, 1000.0, 1e6][self.below(6)]),
            (1, Some(old)) => format!("{}", old + [-1.0, 1.0, 0.1, 1e-9, 86_400.0][self.below(5)]),
            _ => self.pick(&ODD_NUMBERS).to_string(),
        };
        input.splice(start..start + length, new.into_bytes());
    }

    /// A definition or a length of a FIT file.
    fn fit(&mut self, input: &mut [u8]) {
        let start = usize::from(self.kind == Kind::Ride);
        let is_definition =
            |w: &[u8]| w[0] & 0xD0 == 0x40 && w[1] == 0 && w[2] <= 1 && w[5] > 0 && w[5] < 40 && w[4] <= 1;
        let definitions: Vec<usize> =
            input.windows(6).enumerate().skip(start + 12).filter(|(_, w)| is_definition(w)).map(|(i, _)| i).collect();
        if definitions.is_empty() || self.chance(6) {
            let odd = ODD_WORDS_32[self.below(ODD_WORDS_32.len())].to_le_bytes();
            input.iter_mut().skip(start + 4).zip(odd).for_each(|(old, new)| *old = new);
            return;
        }
        let at = definitions[self.below(definitions.len())];
        let count = usize::from(input[at + 5]);
        let place = match self.below(8) {
            0 => at,
            1 => at + 2,
            2 => at + 3,
            3 => at + 5,
            // The number, size or type of one of its fields.
            _ => at + 6 + self.below(3 * count),
        };
        let odd = [0, 1, 2, 3, 4, 7, 8, 13, 20, 0x83, 0x84, 0x85, 0x86, 0x88, 0x8F, 253, 255][self.below(17)];
        if let Some(byte) = input.get_mut(place) {
            *byte = if self.chance(4) { self.random.random() } else { odd };
        }
    }
}

/// Fills in length and both checksums, so that what was changed is looked at.
fn mend(bytes: &mut [u8]) {
    let header = usize::from(bytes[0]);
    let whole = bytes.len();
    if !matches!(header, 12 | 14) || whole < header + 2 {
        return;
    }
    let length = ((whole - header - 2) as u32).to_le_bytes();
    bytes[4..8].copy_from_slice(&length);
    if header == 14 {
        let crc = loopwright::record::crc16(&bytes[..12]).to_le_bytes();
        bytes[12..14].copy_from_slice(&crc);
    }
    let crc = loopwright::record::crc16(&bytes[..whole - 2]).to_le_bytes();
    bytes[whole - 2..].copy_from_slice(&crc);
}
