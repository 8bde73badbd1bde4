//! Flags about the frames: rate, channels, width.

use super::values;
use clap::{Args, ValueEnum};
use pulsewright_core::time::FrameRate;
use pulsewright_files::{Bits, Encoding};

/// Channels, bits and rate of the frames.
#[derive(Args)]
pub struct SampleFlags {
    /// Frames a second, 100 to 48000.
    #[arg(long, value_name = "HZ", value_parser = values::frame_rate, default_value = "500", help_heading = "Output")]
    pub frame_rate: FrameRate,

    /// Channels in the order wanted, and words for groups of them; `pulsewright catalog channels` lists both.
    #[arg(long, value_name = "LIST", value_parser = values::channels, default_value = "usual", help_heading = "Output")]
    pub channels: values::Channels,

    /// Bits of a sample; in a CSV file they decide the decimals, in a record the signal format.
    #[arg(long, value_enum, default_value = "16", help_heading = "Output")]
    pub bits: SampleBitsWord,
}

/// Bits of a sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SampleBitsWord {
    /// 12-bit integers; records (format 212) and CSV.
    #[value(name = "12")]
    B12,
    /// 16-bit integers.
    #[value(name = "16")]
    B16,
    /// 24-bit integers; not EDF+.
    #[value(name = "24")]
    B24,
    /// 32-bit integers; WAV, raw and CSV.
    #[value(name = "32")]
    B32,
    /// 32-bit floats in the channel's unit; WAV and raw.
    Float,
}

impl SampleBitsWord {
    /// How a sample of this width is stored.
    pub const fn encoding(self) -> Encoding {
        match self {
            SampleBitsWord::B12 => Encoding::Integer(Bits::B12),
            SampleBitsWord::B16 => Encoding::Integer(Bits::B16),
            SampleBitsWord::B24 => Encoding::Integer(Bits::B24),
            SampleBitsWord::B32 => Encoding::Integer(Bits::B32),
            SampleBitsWord::Float => Encoding::Float,
        }
    }
}
