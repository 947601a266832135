//! Colour coding declared in the HEVC stream (ITU-T H.265, 7.3.2.2 and E.2.1).
//!
//! Phones often declare it only here and not in the container, and the decoder skips it.

/// Colour coding of a stream; codes of ITU-T H.273.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct StreamColours {
    /// Whether samples use the full range, instead of 16 to 235.
    pub full_range: bool,
    /// Code of the transfer curve (2: unspecified).
    pub transfer: u16,
    /// Code of the matrix (2: unspecified).
    pub matrix: u16,
}

/// The standard's default for an undeclared colour coding.
const UNSPECIFIED: StreamColours = StreamColours { full_range: false, transfer: 2, matrix: 2 };

/// Reads the colour coding from a sequence parameter set (a NAL unit with its header). `None` where it is damaged or uses
/// references between pictures as no still does.
pub(super) fn stream_colours(sps: &[u8]) -> Option<StreamColours> {
    let payload = without_emulation_prevention(sps.get(2..)?);
    let mut bits = Bits { bytes: &payload, at: 0 };
    skip_to_vui(&mut bits)?;
    if !bits.flag()? {
        return Some(UNSPECIFIED);
    }
    if bits.flag()? && bits.read(8)? == 255 {
        bits.skip(32)?; // sample aspect ratio
    }
    if bits.flag()? {
        bits.skip(1)?; // overscan
    }
    if !bits.flag()? {
        return Some(UNSPECIFIED);
    }
    bits.skip(3)?; // video format
    let full_range = bits.flag()?;
    if !bits.flag()? {
        return Some(StreamColours { full_range, ..UNSPECIFIED });
    }
    bits.skip(8)?; // primaries
    let (transfer, matrix) = (bits.read(8)? as u16, bits.read(8)? as u16);
    Some(StreamColours { full_range, transfer, matrix })
}

fn skip_to_vui(bits: &mut Bits) -> Option<()> {
    bits.skip(4)?;
    let sub_layers = bits.read(3)?;
    bits.skip(1)?;
    skip_profile(bits, sub_layers)?;
    bits.exp_golomb()?; // id
    if bits.exp_golomb()? == 3 {
        bits.skip(1)?; // separate colour planes
    }
    bits.exp_golombs(2)?; // width, height
    if bits.flag()? {
        bits.exp_golombs(4)?; // conformance window
    }
    bits.exp_golombs(2)?; // bit depths
    let order_bits = bits.exp_golomb()?.checked_add(4)?;
    let orderings = if bits.flag()? { sub_layers + 1 } else { 1 };
    bits.exp_golombs(3 * orderings)?;
    bits.exp_golombs(6)?; // block sizes and transform depths
    if bits.flag()? && bits.flag()? {
        skip_scaling_lists(bits)?;
    }
    bits.skip(2)?; // asymmetric partitions, adaptive offset
    if bits.flag()? {
        bits.skip(8)?; // PCM depths
        bits.exp_golombs(2)?;
        bits.skip(1)?;
    }
    skip_reference_sets(bits)?;
    if bits.flag()? {
        let count = bits.exp_golomb()?;
        bits.skip(count.min(33).checked_mul(order_bits.checked_add(1)?)?)?;
    }
    bits.skip(2) // temporal prediction, intra smoothing
}

fn skip_profile(bits: &mut Bits, sub_layers: u32) -> Option<()> {
    const PROFILE: u32 = 88;
    const LEVEL: u32 = 8;
    bits.skip(PROFILE + LEVEL)?;
    let mut rest = 0;
    for _ in 0..sub_layers {
        rest += if bits.flag()? { PROFILE } else { 0 };
        rest += if bits.flag()? { LEVEL } else { 0 };
    }
    let padding = if sub_layers > 0 { 2 * (8 - sub_layers) } else { 0 };
    bits.skip(padding + rest)
}

fn skip_scaling_lists(bits: &mut Bits) -> Option<()> {
    for size in 0..4u32 {
        for _ in (0..6).step_by(if size == 3 { 3 } else { 1 }) {
            if bits.flag()? {
                let base = u32::from(size > 1);
                bits.exp_golombs(base + 64.min(1 << (4 + 2 * size)))?;
            } else {
                bits.exp_golomb()?;
            }
        }
    }
    Some(())
}

fn skip_reference_sets(bits: &mut Bits) -> Option<()> {
    for i in 0..bits.exp_golomb()?.min(65) {
        if i > 0 && bits.flag()? {
            return None;
        }
        let pictures = bits.exp_golomb()?.checked_add(bits.exp_golomb()?)?;
        for _ in 0..pictures {
            bits.exp_golomb()?;
            bits.skip(1)?;
        }
    }
    Some(())
}

/// The payload without the bytes that keep start codes out of it.
fn without_emulation_prevention(nal: &[u8]) -> Vec<u8> {
    let mut out = Vec::with_capacity(nal.len());
    let mut zeros = 0;
    for &byte in nal {
        if zeros >= 2 && byte == 3 {
            zeros = 0;
            continue;
        }
        zeros = if byte == 0 { zeros + 1 } else { 0 };
        out.push(byte);
    }
    out
}

/// A reader of bits from the most significant; `None` past the end.
struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Bits<'_> {
    fn flag(&mut self) -> Option<bool> {
        let byte = self.bytes.get(self.at / 8)?;
        let bit = byte >> (7 - self.at % 8) & 1;
        self.at += 1;
        Some(bit == 1)
    }

    fn read(&mut self, count: u32) -> Option<u32> {
        (0..count).try_fold(0, |value, _| Some(value << 1 | u32::from(self.flag()?)))
    }

    fn skip(&mut self, count: u32) -> Option<()> {
        self.at += count as usize;
        (self.at <= 8 * self.bytes.len()).then_some(())
    }

    /// An Exp-Golomb code (signed codes have the same length).
    fn exp_golomb(&mut self) -> Option<u32> {
        let mut zeros = 0;
        while !self.flag()? {
            zeros += 1;
        }
        (zeros < 32).then_some(())?;
        Some((1u32 << zeros) - 1 + self.read(zeros)?)
    }

    fn exp_golombs(&mut self, count: u32) -> Option<()> {
        (0..count).try_for_each(|_| self.exp_golomb().map(drop))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The shortest parameter set of a still, with the given bits from `vui_parameters_present_flag` on.
    fn sps(vui: &str) -> Vec<u8> {
        let ue = |n: u32| {
            let code = format!("{:b}", n + 1);
            format!("{}{code}", "0".repeat(code.len() - 1))
        };
        let mut bits = format!("0000{}1{}", "000", "01".repeat(48));
        for n in [0, 1, 4032, 3024] {
            bits += &ue(n);
        }
        bits += "0"; // no conformance window
        for n in [0, 0, 4] {
            bits += &ue(n);
        }
        bits += "1";
        for n in [0, 0, 0, 0, 3, 0, 3, 0, 0] {
            bits += &ue(n);
        }
        bits += "0110"; // scaling lists, partitions, offset, PCM
        bits += &ue(0);
        bits += "011";
        bits += vui;
        bits += "1";
        let bytes = bits
            .as_bytes()
            .chunks(8)
            .map(|c| u8::from_str_radix(&format!("{:0<8}", std::str::from_utf8(c).unwrap()), 2).unwrap());
        [0x42, 0x01].into_iter().chain(bytes).collect()
    }

    #[test]
    fn declared_colours_are_read() {
        // Present; no aspect, no overscan; signal type: format 5, full range, description 12, 13, 6.
        let vui = ["1001", "101", "1", "1", "00001100", "00001101", "00000110"].concat();
        assert_eq!(
            stream_colours(&sps(&vui)),
            Some(StreamColours { full_range: true, transfer: 13, matrix: 6 })
        );
        assert_eq!(stream_colours(&sps("100110110")).map(|c| c.full_range), Some(true));
        assert_eq!(stream_colours(&sps("0")), Some(UNSPECIFIED));
        assert_eq!(stream_colours(&sps("1000")), Some(UNSPECIFIED));
    }

    #[test]
    fn damage_is_none() {
        let whole = sps("100110111000011000000110100000110");
        for keep in 0..whole.len() - 5 {
            assert_eq!(stream_colours(&whole[..keep]), None, "cut at {keep}");
        }
        assert_eq!(stream_colours(&[0; 400]), None);
        assert!(stream_colours(&[0xff; 400]).is_none_or(|c| c.full_range));
    }
}
