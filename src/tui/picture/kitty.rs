//! Pictures for terminals with kitty's graphics protocol, as its documentation
//! tells it (<https://sw.kovidgoyal.net/kitty/graphics-protocol/>, from
//! memory).

use std::fmt::Write as _;

use miniz_oxide::deflate::compress_to_vec_zlib;

use super::Image;

/// The most bytes of one part, as the protocol has it.
const PART: usize = 4096;

/// The number that the terminal keeps our one picture under.
const NUMBER: u32 = 7_301;

/// The sequence that draws an image at the cursor, stretched over so many
/// columns and lines, in the place of the one before. The cursor stays, and the
/// terminal answers nothing.
pub fn kitty(image: &Image, columns: u16, lines: u16) -> String {
    let rgba = image.dots.iter().flat_map(|dot| {
        let [_, red, green, blue] = dot.unwrap_or(0).to_be_bytes();
        [red, green, blue, if dot.is_some() { 255 } else { 0 }]
    });
    let packed = compress_to_vec_zlib(&rgba.collect::<Vec<u8>>(), 1);
    let encoded = base64(&packed);
    let (width, height) = (image.width, image.height());
    let mut out = String::with_capacity(encoded.len() + encoded.len() / 256 + 100);
    let mut parts = encoded.as_bytes().chunks(PART).peekable();
    let mut head =
        format!("a=T,f=32,o=z,q=2,C=1,i={NUMBER},p=1,s={width},v={height},c={columns},r={lines},");
    while let Some(part) = parts.next() {
        let more = u8::from(parts.peek().is_some());
        let part = String::from_utf8_lossy(part);
        // Writing to a text cannot fail.
        let _written = write!(out, "\x1b_G{head}m={more};{part}\x1b\\");
        head.clear();
        head.push_str("q=2,");
    }
    out
}

/// The sequence that takes the picture away again.
pub fn kitty_gone() -> String {
    format!("\x1b_Ga=d,d=I,i={NUMBER},q=2\x1b\\")
}

/// RFC 4648, section 4.
pub(crate) fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let byte = |i: usize| u32::from(group.get(i).copied().unwrap_or(0));
        let bits = byte(0) << 16 | byte(1) << 8 | byte(2);
        for digit in 0..4 {
            text.push(if digit <= group.len() {
                char::from(DIGITS[(bits >> (18 - 6 * digit)) as usize & 63])
            } else {
                '='
            });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_as_in_the_rfc() {
        // Test vectors of RFC 4648, section 10.
        let vectors = [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ];
        for (text, encoded) in vectors {
            assert_eq!(base64(text.as_bytes()), encoded);
        }
        assert_eq!(base64(&[0xfb, 0xff, 0xbf]), "+/+/");
    }

    fn decoded(text: &str) -> Vec<u8> {
        let digit = |c: u8| match c {
            b'A'..=b'Z' => c - b'A',
            b'a'..=b'z' => c - b'a' + 26,
            b'0'..=b'9' => c - b'0' + 52,
            b'+' => 62,
            _ => 63,
        };
        let digits: Vec<u8> = text.bytes().filter(|c| *c != b'=').collect();
        let mut bytes = Vec::new();
        for group in digits.chunks(4) {
            let bits = group
                .iter()
                .fold(0u32, |bits, c| bits << 6 | u32::from(digit(*c)));
            let bits = bits << (6 * (4 - group.len()) + 8);
            bytes.extend(&bits.to_be_bytes()[..group.len() - 1]);
        }
        bytes
    }

    #[test]
    fn the_picture_comes_back_out_of_its_sequence() {
        let dots =
            (0..90 * 80u32).map(|n| (n % 7 != 0).then_some(n.wrapping_mul(0x9e37_79b1) >> 8));
        let image = Image {
            width: 90,
            dots: dots.collect(),
        };
        let sequence = kitty(&image, 45, 20);
        let mut packed = String::new();
        let parts: Vec<&str> = sequence.split("\x1b_G").skip(1).collect();
        assert!(parts.len() > 1);
        for (n, part) in parts.iter().enumerate() {
            let (head, rest) = part.split_once(';').unwrap();
            let last = n + 1 == parts.len();
            assert_eq!(head.contains("m=0"), last, "{head}");
            assert_eq!(head.contains("s=90,v=80,c=45,r=20"), n == 0);
            let body = rest.strip_suffix("\x1b\\").unwrap();
            assert!(body.len() <= PART && (last || body.len() % 4 == 0));
            packed.push_str(body);
        }
        let rgba = miniz_oxide::inflate::decompress_to_vec_zlib(&decoded(&packed)).unwrap();
        let found = rgba.chunks(4).map(|dot| {
            let rgb = u32::from_be_bytes([0, dot[0], dot[1], dot[2]]);
            (dot[3] > 0).then_some(rgb)
        });
        assert!(found.eq(image.dots.iter().copied()));
    }
}
