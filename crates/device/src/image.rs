//! Image of a rig: its wiring as bytes in flash, beside the image of a script. docs/image.md specifies the bytes.

use crate::fixed::Slope;
use crate::wiring::{MAX_OUTPUTS, OutputSource, Wiring, WiringError, WiringOutput};
use crc::{CRC_32_ISO_HDLC, Crc, NoTable};

/// The check sum of images and of the link. Without a table: a kilobyte of flash is more than the time it would save.
pub(crate) const CHECK_SUM: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

const MARK: [u8; 4] = *b"PWRI";
const VERSION: u16 = 1;
const HEADER: usize = 20;
const OUTPUT: usize = 20;
/// Bytes of the longest image.
pub const MAX_BYTES: usize = HEADER + OUTPUT * MAX_OUTPUTS;

/// Bytes that are not the image of a rig.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WiringImageError {
    /// Not an image of a rig.
    Mark,
    /// Of another version.
    Version(u16),
    /// Not as long as its header says.
    Length,
    /// Changed in transit.
    CheckSum,
    /// A source that this version does not have.
    Source(u8),
    /// A wiring that can't be.
    Wiring(WiringError),
}

impl core::fmt::Display for WiringImageError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            WiringImageError::Mark => write!(f, "not the image of a rig"),
            WiringImageError::Version(version) => write!(f, "image of a rig of version {version}, not {VERSION}"),
            WiringImageError::Length => write!(f, "the image of the rig is cut off or has more bytes than it says"),
            WiringImageError::CheckSum => write!(f, "the image of the rig was changed"),
            WiringImageError::Source(number) => write!(f, "no source has the number {number}"),
            WiringImageError::Wiring(error) => write!(f, "{error}"),
        }
    }
}

impl core::error::Error for WiringImageError {}

/// Reads the fields of an image from its front.
struct Reader<'a>(&'a [u8]);

impl Reader<'_> {
    fn take<const N: usize>(&mut self) -> Result<[u8; N], WiringImageError> {
        let (bytes, rest) = self.0.split_first_chunk().ok_or(WiringImageError::Length)?;
        self.0 = rest;
        Ok(*bytes)
    }

    fn int(&mut self) -> Result<i32, WiringImageError> {
        Ok(i32::from_le_bytes(self.take()?))
    }
}

fn check_sum(image: &[u8]) -> u32 {
    let mut sum = CHECK_SUM.digest();
    sum.update(image.get(..8).unwrap_or_default());
    sum.update(image.get(12..).unwrap_or_default());
    sum.finalize()
}

impl Wiring {
    /// The wiring of an image.
    ///
    /// # Errors
    /// [`WiringImageError`].
    pub fn of_image(image: &[u8]) -> Result<Wiring, WiringImageError> {
        let mut reader = Reader(image);
        if reader.take().map_err(|_| WiringImageError::Mark)? != MARK {
            return Err(WiringImageError::Mark);
        }
        let version = u16::from_le_bytes(reader.take()?);
        if version != VERSION {
            return Err(WiringImageError::Version(version));
        }
        let count = usize::from(u16::from_le_bytes(reader.take()?));
        let sum = u32::from_le_bytes(reader.take()?);
        if image.len() != HEADER + OUTPUT * count {
            return Err(WiringImageError::Length);
        }
        if sum != check_sum(image) {
            return Err(WiringImageError::CheckSum);
        }
        let codes = (reader.int()?, reader.int()?);
        let mut outputs = heapless::Vec::<WiringOutput, MAX_OUTPUTS>::new();
        for _ in 0..count {
            let [number, shift, _, _] = reader.take()?;
            let source = OutputSource::of_number(number).ok_or(WiringImageError::Source(number))?;
            let mantissa = reader.int()?;
            let offset = i64::from_le_bytes(reader.take()?);
            let output = WiringOutput { source, slope: Slope { mantissa, shift, offset }, rest: reader.int()? };
            outputs.push(output).map_err(|_| WiringImageError::Wiring(WiringError::Outputs))?;
        }
        Wiring::new(&outputs, codes).map_err(WiringImageError::Wiring)
    }

    /// CRC-32 of its image: two rigs with the same wiring take the same codes.
    pub fn digest(&self) -> u32 {
        CHECK_SUM.checksum(&self.image())
    }

    /// Its image.
    pub fn image(&self) -> heapless::Vec<u8, MAX_BYTES> {
        let mut image = heapless::Vec::new();
        // The longest wiring fits, so nothing is ever left out.
        let mut put = |bytes: &[u8]| image.extend_from_slice(bytes).unwrap_or(());
        put(&MARK);
        put(&VERSION.to_le_bytes());
        put(&(self.outputs().len() as u16).to_le_bytes());
        put(&[0; 4]);
        let (lowest, highest) = self.codes();
        put(&lowest.to_le_bytes());
        put(&highest.to_le_bytes());
        for output in self.outputs() {
            put(&[output.source.number(), output.slope.shift, 0, 0]);
            put(&output.slope.mantissa.to_le_bytes());
            put(&output.slope.offset.to_le_bytes());
            put(&output.rest.to_le_bytes());
        }
        let sum = check_sum(&image).to_le_bytes();
        image.iter_mut().skip(8).zip(sum).for_each(|(place, byte)| *place = byte);
        image
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wiring::LimbElectrode;
    use pulsewright_core::anatomy::PressureSite;

    fn wiring() -> Wiring {
        let output = |source, rest| WiringOutput {
            source,
            slope: Slope { mantissa: -1_234_567_890, shift: 21, offset: -77 << 24 },
            rest,
        };
        let outputs = [
            output(OutputSource::Limb(LimbElectrode::LeftLeg), -5),
            output(OutputSource::Pressure(PressureSite::Wedge), 9),
            output(OutputSource::Respiration, 0),
        ];
        Wiring::new(&outputs, (-32_768, 32_767)).unwrap()
    }

    #[test]
    fn an_image_is_read_back() {
        let image = wiring().image();
        assert_eq!(image.len(), 80);
        assert_eq!(Wiring::of_image(&image).unwrap(), wiring());
        let full = [wiring().outputs()[0]; MAX_OUTPUTS];
        let full = Wiring::new(&full, wiring().codes()).unwrap();
        assert_eq!(full.image().len(), MAX_BYTES);
        assert_eq!(Wiring::of_image(&full.image()).unwrap(), full);
    }

    #[test]
    fn any_changed_byte_and_any_cut_is_found() {
        let image = wiring().image();
        for at in 0..image.len() {
            assert!(Wiring::of_image(&image[..at]).is_err(), "cut at {at}");
            for bit in 0..8 {
                let mut changed = image.clone();
                changed[at] ^= 1 << bit;
                assert!(Wiring::of_image(&changed).is_err(), "bit {bit} of byte {at}");
            }
        }
        let mut longer = image.to_vec();
        longer.push(0);
        assert_eq!(Wiring::of_image(&longer), Err(WiringImageError::Length));
    }
}
