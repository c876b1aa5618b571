//! Pictures for terminals with sixel graphics: the VT330's and VT340's, as DEC's
//! "VT330/VT340 Programmer Reference Manual", volume 2, chapter 14, has them
//! (from memory).

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::Image;

/// The colours that every such terminal has today.
const COLOURS: usize = 255;

/// The lines that one row of sixels holds.
const ROW: usize = 6;

/// The sequence that draws an image at the cursor, dot by dot. What it leaves
/// out keeps what is there.
pub fn sixel(image: &Image) -> String {
    let (palette, dots) = reduced(image);
    let (width, height) = (image.width, image.height());
    let mut out = format!("\x1bP0;1q\"1;1;{width};{height}");
    for (number, colour) in palette.iter().enumerate() {
        let [_, red, green, blue] = colour.to_be_bytes();
        let [red, green, blue] = [red, green, blue].map(|c| (u32::from(c) * 100 + 127) / 255);
        // Writing to a text cannot fail.
        let _written = write!(out, "#{number};2;{red};{green};{blue}");
    }
    for rows in dots.chunks(width.max(1) * ROW) {
        let mut lines: BTreeMap<u8, Vec<u8>> = BTreeMap::new();
        for (at, colour) in rows.iter().enumerate() {
            if let Some(colour) = colour {
                let line = lines.entry(*colour).or_insert_with(|| vec![0; width]);
                line[at % width] |= 1 << (at / width);
            }
        }
        for (colour, line) in lines {
            let _written = write!(out, "#{colour}");
            run_lengths(&mut out, &line);
            out.push('$');
        }
        out.push('-');
    }
    out.push_str("\x1b\\");
    out
}

/// Runs of four and more are shorter as a number and the sixel.
fn run_lengths(out: &mut String, line: &[u8]) {
    for run in line.chunk_by(|a, b| a == b) {
        let sixel = char::from(b'?' + run[0]);
        if run.len() > 3 {
            let _written = write!(out, "!{}{sixel}", run.len());
        } else {
            out.extend(std::iter::repeat_n(sixel, run.len()));
        }
    }
}

/// The image in so few colours that a terminal has them.
fn reduced(image: &Image) -> (Vec<u32>, Vec<Option<u8>>) {
    for bits in 2..8 {
        let kept = 0xff >> bits << bits;
        let mask = kept << 16 | kept << 8 | kept;
        let mut palette: Vec<u32> = image.dots.iter().flatten().map(|c| c & mask).collect();
        palette.sort_unstable();
        palette.dedup();
        if palette.len() <= COLOURS {
            let number = |colour: u32| palette.binary_search(&(colour & mask)).unwrap_or(0) as u8;
            let dots = image.dots.iter().map(|dot| dot.map(number)).collect();
            // In the middle of what each colour stands for.
            let half = (1 << bits >> 1) * 0x01_0101;
            return (palette.iter().map(|colour| colour | half).collect(), dots);
        }
    }
    (
        vec![0],
        image.dots.iter().map(|dot| dot.map(|_| 0)).collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A reader of what the writer uses.
    fn read(sequence: &str) -> (usize, Vec<Option<[u32; 3]>>) {
        let body = sequence.strip_prefix("\x1bP0;1q\"1;1;").unwrap();
        let body = body.strip_suffix("\x1b\\").unwrap();
        let number = |text: &mut &str| {
            let end = text
                .find(|c: char| !c.is_ascii_digit())
                .unwrap_or(text.len());
            let found: usize = text[..end].parse().unwrap();
            *text = &text[end..];
            found
        };
        let mut rest = body;
        let width = number(&mut rest);
        rest = &rest[1..];
        let height = number(&mut rest);
        let mut dots = vec![None; width * height];
        let mut palette: BTreeMap<usize, [u32; 3]> = BTreeMap::new();
        let (mut colour, mut x, mut row) = (0, 0, 0);
        while let Some(c) = rest.chars().next() {
            rest = &rest[1..];
            let mut times = 1;
            let mut sixel = c;
            match c {
                '#' => {
                    colour = number(&mut rest);
                    if rest.starts_with(";2;") {
                        let mut rgb = [0; 3];
                        rest = &rest[2..];
                        for part in &mut rgb {
                            rest = &rest[1..];
                            *part = u32::try_from(number(&mut rest)).unwrap();
                        }
                        palette.insert(colour, rgb);
                    }
                    continue;
                }
                '$' => {
                    x = 0;
                    continue;
                }
                '-' => {
                    (x, row) = (0, row + 1);
                    continue;
                }
                '!' => {
                    times = number(&mut rest);
                    sixel = rest.chars().next().unwrap();
                    rest = &rest[1..];
                }
                _ => {}
            }
            let bits = u32::from(sixel) - u32::from('?');
            for _ in 0..times {
                for bit in 0..ROW {
                    if bits >> bit & 1 == 1 {
                        dots[(row * ROW + bit) * width + x] = Some(palette[&colour]);
                    }
                }
                x += 1;
            }
        }
        (width, dots)
    }

    #[test]
    fn the_picture_comes_back_out_of_its_sequence() {
        // Lines that are no whole rows of sixels, runs, gaps.
        let dots = (0..50 * 23u32).map(|n| match n / 9 % 4 {
            0 => None,
            shade => Some(0x60_3020 * shade / 2),
        });
        let image = Image {
            width: 50,
            dots: dots.collect(),
        };
        let (width, found) = read(&sixel(&image));
        assert_eq!((width, found.len()), (50, image.dots.len()));
        for (wanted, found) in image.dots.iter().zip(found) {
            assert_eq!(wanted.is_some(), found.is_some());
            if let (Some(wanted), Some(found)) = (wanted, found) {
                let [_, wanted @ ..] = wanted.to_be_bytes();
                for (wanted, found) in wanted.into_iter().zip(found) {
                    let off = f64::from(wanted) / 2.55 - f64::from(found);
                    assert!(off.abs() < 2.0, "{wanted}: {found} %");
                }
            }
        }
    }

    #[test]
    fn there_are_never_more_colours_than_terminals_have() {
        let dots = (0..100_000u32).map(|n| Some(n.wrapping_mul(0x9e37_79b1) >> 8));
        let image = Image {
            width: 250,
            dots: dots.collect(),
        };
        let (palette, dots) = reduced(&image);
        assert!(palette.len() <= COLOURS && palette.len() > 50);
        assert!(
            dots.iter()
                .flatten()
                .all(|dot| usize::from(*dot) < palette.len())
        );
        let nothing = Image {
            width: 0,
            dots: Vec::new(),
        };
        assert!(sixel(&nothing).ends_with("\x1b\\"));
    }
}
