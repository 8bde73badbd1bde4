//! The open annotation set: code letters, their numbers in annotation files, and the words that such a file is made of.
//!
//! Source: the open waveform-database annotation format. A file is a row of little-endian words of 16 bits: 6 bits of type
//! above 10 bits of value. A type is the number of a code, or one of those that say more about the annotation before.

/// Type of a word that is followed by 32 bits of time, high half first.
pub const SKIP: u16 = 59;

/// Type of the number of the annotation before.
pub const NUM: u16 = 60;

/// Type of the subtype of the annotation before.
pub const SUB: u16 = 61;

/// Type of the channel of the annotation before.
pub const CHN: u16 = 62;

/// Type of the text of the annotation before: so many bytes, padded to an even count.
pub const AUX: u16 = 63;

/// Number in the annotation file and code letter, in numeric order.
pub const CODES: [(u8, char); 40] = [
    (1, 'N'),
    (2, 'L'),
    (3, 'R'),
    (4, 'a'),
    (5, 'V'),
    (6, 'F'),
    (7, 'J'),
    (8, 'A'),
    (9, 'S'),
    (10, 'E'),
    (11, 'j'),
    (12, '/'),
    (13, 'Q'),
    (14, '~'),
    (16, '|'),
    (18, 's'),
    (19, 'T'),
    (20, '*'),
    (21, 'D'),
    (22, '"'),
    (23, '='),
    (24, 'p'),
    (25, 'B'),
    (26, '^'),
    (27, 't'),
    (28, '+'),
    (29, 'u'),
    (30, '?'),
    (31, '!'),
    (32, '['),
    (33, ']'),
    (34, 'e'),
    (35, 'n'),
    (36, '@'),
    (37, 'x'),
    (38, 'f'),
    (39, '('),
    (40, ')'),
    (41, 'r'),
    (42, '#'),
];

/// Code letter of a number of the annotation file; `None` if the number has no meaning there.
pub fn code_of_number(number: u8) -> Option<char> {
    CODES.iter().find(|(n, _)| *n == number).map(|(_, code)| *code)
}

/// Number of a code letter in the annotation file; `None` for any other letter.
pub fn number_of_code(code: char) -> Option<u8> {
    CODES.iter().find(|(_, c)| *c == code).map(|(number, _)| *number)
}

/// True for a letter of the open code table.
pub fn is_code(code: char) -> bool {
    CODES.iter().any(|(_, c)| *c == code)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_and_numbers_are_each_there_once() {
        for (number, code) in CODES {
            assert_eq!((code_of_number(number), number_of_code(code)), (Some(code), Some(number)));
            assert!(u16::from(number) < SKIP);
        }
        assert_eq!((code_of_number(0), number_of_code('k'), is_code('k')), (None, None, false));
    }
}
